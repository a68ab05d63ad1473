package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"bayward/agent/usage"
	"bayward/agent/web"
)

type pinCmd struct{}

// Help is the long text of --help.
func (pinCmd) Help() string {
	return `Reads a PIN or passphrase from standard input, one line, and prints the hash for pin_hash in the configuration. ` +
		`Six or more characters; a passphrase of several words is best. The PIN itself is kept nowhere.`
}

// Run makes the hash.
func (pinCmd) Run(p *program) error {
	_, _ = fmt.Fprintln(p.stderr, "Type the PIN or passphrase, then press return; it is shown as you type.")
	line, err := bufio.NewReader(io.LimitReader(p.stdin, 1<<10)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("read the PIN: %w", err)
	}
	hash, err := web.HashPIN(strings.TrimRight(line, "\r\n"))
	if errors.Is(err, web.ErrPIN) {
		return usage.Error(err)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(p.stdout, hash)
	return err
}
