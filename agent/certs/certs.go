// Package certs reads until when the certificates last that a configuration names. A
// certificate that ends takes the page or the broker's connection with it, years after
// somebody installed it.
package certs

import (
	"context"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"bayward/agent/config"
)

// File is a file of certificates.
type File struct {
	Field string // of the configuration that leads to it
	Use   string // such as page: one of a fixed few, for metrics
	Path  string
	// Authority marks a list of certificates each of which is trusted: one that has ended
	// does no harm beside its successor.
	Authority bool
}

// Files returns the files of certificates that a configuration names, itself or in its
// web configuration file. Files that several servers share are listed for each.
func Files(cfg *config.Config) (all []File) {
	add := func(f File) {
		if f.Path != "" {
			all = append(all, f)
		}
	}
	add(File{"http.web_config_file", "page", cfg.HTTP.CertFile(), false})
	if m := cfg.MQTT; m != nil {
		add(File{"mqtt.cert_file", "broker-client", m.CertFile, false})
		add(File{"mqtt.ca_file", "broker-authority", m.CAFile, true})
	}
	if n := cfg.Notify; n != nil {
		for i := range n.Mail {
			add(File{fmt.Sprintf("notify.mail[%d].ca_file", i), "mail-authority", n.Mail[i].CAFile, true})
		}
		for i := range n.Webhooks {
			add(File{fmt.Sprintf("notify.webhooks[%d].ca_file", i), "webhook-authority", n.Webhooks[i].CAFile, true})
		}
	}
	return all
}

// Ends returns when the file is no longer good for its use: with the first certificate of
// a chain that ends, or the last of a list of authorities.
func (f File) Ends() (ends time.Time, err error) {
	text, err := os.ReadFile(f.Path)
	if err != nil {
		return ends, err
	}
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if block.Type != "CERTIFICATE" {
			continue
		}
		c, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			return ends, fmt.Errorf("%s: %w", f.Path, err)
		}
		if ends.IsZero() || c.NotAfter.After(ends) == f.Authority {
			ends = c.NotAfter
		}
	}
	if ends.IsZero() {
		return ends, fmt.Errorf("%s: no PEM certificate in it", f.Path)
	}
	return ends, nil
}

// Every is how often Watch reads the files.
const Every = time.Hour

// Watch knows until when the files last. Its zero value knows none.
type Watch struct {
	files []File
	log   *slog.Logger

	mu   sync.Mutex           // guards the map
	ends map[string]time.Time // by use: the first of several
}

// NewWatch returns a watch that has not read yet.
func NewWatch(files []File, log *slog.Logger) *Watch { return &Watch{files: files, log: log} }

// Run reads the files at once and then every hour, until ctx ends. A disk that hangs
// holds up nobody else.
func (w *Watch) Run(ctx context.Context) error {
	tick := time.NewTicker(Every)
	defer tick.Stop()
	for {
		w.read()
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// read leaves out what cannot be read: the connection that needs it says so.
func (w *Watch) read() {
	ends := map[string]time.Time{}
	for _, f := range w.files {
		at, err := f.Ends()
		if err != nil {
			w.log.Warn("a certificate cannot be read", "field", f.Field, "err", err)
			continue
		}
		if old, found := ends[f.Use]; !found || at.Before(old) {
			ends[f.Use] = at
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ends = ends
}

// Ends calls f with the end of each use that has been read.
func (w *Watch) Ends(f func(use string, at time.Time)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for use, at := range w.ends {
		f(use, at)
	}
}
