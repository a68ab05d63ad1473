// Command fleet writes everything that goes onto the Pis and servers of a fleet, from
// one file.
//
// It reads the file, checks the configuration of every agent as the agent does, and
// replaces a folder as a whole. Keys and certificates that are in the folder stay; a
// certificate that ends soon is made again. README.md has the file's keys.
package main

import (
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"bayward/agent/config"
)

const usage = `usage: go run ./deploy/fleet FLEET.yaml FOLDER

Checks the file of a fleet and writes into FOLDER what goes onto each Pi and
server. FOLDER is replaced as a whole; keys and certificates that are in it are
kept, and certificates that end soon are made again. Nothing is written while
the file has a fault. deploy/fleet/README.md describes both.

FOLDER has the keys of the fleet: keep it where only those may read it who may
do everything.

Exit code 0: written. 1: a folder or file cannot be used. 2: wrong use, or the
file has a fault.
`

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr, time.Now())) }

// run is the program; now is the time by which certificates begin and end.
func run(args []string, stdout, stderr io.Writer, now time.Time) int {
	if len(args) == 1 && (args[0] == "--help" || args[0] == "-h") {
		_, _ = io.WriteString(stdout, usage)
		return 0
	}
	if len(args) != 2 {
		_, _ = io.WriteString(stderr, usage)
		return 2
	}
	o, err := newOutput(args[1], now)
	if err == nil {
		err = o.make(args[0])
	}
	if faults, ok := errors.AsType[*config.Error](err); ok {
		_, _ = fmt.Fprintln(stderr, faults)
		return 2
	}
	if err != nil {
		_, _ = fmt.Fprintf(stderr, "fleet: %v\n", err)
		return 1
	}
	for _, line := range o.news {
		_, _ = fmt.Fprintln(stdout, line)
	}
	_, _ = fmt.Fprintf(stdout, "%s: %d files\n", args[1], len(o.files))
	return 0
}

// make makes the output of a fleet's file.
func (o *output) make(path string) error {
	release, err := o.lock()
	if err != nil {
		return err
	}
	defer release()
	p, err := read(path, o)
	if err != nil {
		return err
	}
	o.renewDays = p.Certificates.RenewDays
	if err := p.fill(o); err != nil {
		return err
	}
	return o.write()
}

// fill adds every file.
func (p *plan) fill(o *output) error {
	pages, err := o.open("authority/pages", p.Certificates.limits(), p.Certificates.PageDays)
	if err != nil {
		return err
	}
	machines, err := o.open("authority/machines", &x509.Certificate{Subject: pkix.Name{CommonName: "bayward machines"}}, p.Certificates.MachineDays)
	if err != nil {
		return err
	}
	for i := range p.configs {
		if err := errors.Join(p.pi(o, &p.configs[i], pages, machines), p.card(o, &p.configs[i]), p.configs[i].sheets(o)); err != nil {
			return err
		}
	}
	return errors.Join(p.brokerFiles(o, machines), p.prometheusFiles(o), p.alertmanagerFiles(o), p.logFiles(o, machines), p.inventoryFile(o))
}
