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

// Run makes the hash.
func (pinCmd) Run(p *program) error {
	_, _ = fmt.Fprintln(p.stderr, p.voice.Say("usage.pin-prompt"))
	line, err := bufio.NewReader(io.LimitReader(p.stdin, 1<<10)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return failed("pin-read", err)
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
