package support

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"time"
)

// mostBytes bounds a part: what a mail takes, several times.
const mostBytes = 16 << 20

// Part is one file of a bundle.
type Part struct {
	Name string // within the bundle
	Make func(ctx context.Context, w io.Writer) error
}

// Write writes a gzip-compressed tar file of the parts, dated at, with a list of their
// SHA-256 sums as sha256sum reads it. No part has any of the secrets, a private key or the
// hash of a PIN. What cannot be made is missing, with the reason in its place: a bundle is
// wanted when things are broken. An error is one of w, or of the context.
func Write(ctx context.Context, w io.Writer, parts []Part, s *Secrets, at time.Time) error {
	zipped := gzip.NewWriter(w)
	files := tar.NewWriter(zipped)
	var sums bytes.Buffer
	add := func(name string, data []byte) error {
		head := &tar.Header{Name: "bayward-support/" + name, Mode: 0o600, Size: int64(len(data)), ModTime: at, Format: tar.FormatPAX}
		if err := files.WriteHeader(head); err != nil {
			return err
		}
		_, err := files.Write(data)
		return err
	}
	for _, p := range parts {
		name, data := made(ctx, p, s)
		if err := ctx.Err(); err != nil {
			return err
		}
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(data), name)
		if err := add(name, data); err != nil {
			return err
		}
	}
	if err := add("SHA256SUMS", sums.Bytes()); err != nil {
		return err
	}
	if err := files.Close(); err != nil {
		return err
	}
	return zipped.Close()
}

// made makes a part, or says why it could not be made.
func made(ctx context.Context, p Part, s *Secrets) (name string, data []byte) {
	out := &bounded{most: mostBytes}
	err := p.Make(ctx, out)
	data = s.Hide(out.Bytes())
	if out.cut {
		data = fmt.Appendf(data, "\n(cut after %d bytes)\n", mostBytes)
	}
	if err == nil {
		return p.Name, data
	}
	return p.Name + ".incomplete", append(data, s.Hide(fmt.Appendf(nil, "\n(incomplete: %v)\n", err))...)
}

// bounded keeps the first bytes, and takes the rest without keeping it.
type bounded struct {
	bytes.Buffer

	most int
	cut  bool
}

func (b *bounded) Write(p []byte) (int, error) {
	room := b.most - b.Len()
	b.cut = b.cut || len(p) > room
	_, err := b.Buffer.Write(p[:min(len(p), room)])
	return len(p), err
}
