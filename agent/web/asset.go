package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"fmt"
	"net/http"
	"path"
	"strings"
	"sync"
	"time"
)

// packed is one embedded file as it is sent.
type packed struct {
	plain, gzip []byte // gzip is nil where it would not be smaller
	tag         string
}

func pack(name string) packed {
	data, err := files.ReadFile(name)
	if err != nil {
		return packed{} // embedded: every test would show a fault
	}
	p := packed{plain: data, tag: fmt.Sprintf("%x", sha256.Sum256(data))[:16]}
	var out bytes.Buffer
	z, _ := gzip.NewWriterLevel(&out, gzip.BestCompression) // a level that exists
	if _, err := z.Write(data); err == nil && z.Close() == nil && out.Len() < len(data) {
		p.gzip = out.Bytes()
	}
	return p
}

// asset serves one embedded file, which never changes while the program runs. It is
// packed for the first who asks for it.
func asset(name string) http.HandlerFunc {
	load := sync.OnceValue(func() packed { return pack(name) })
	return func(w http.ResponseWriter, r *http.Request) {
		p, h := load(), w.Header()
		h.Set("Cache-Control", "max-age=300")
		h.Set("Vary", "Accept-Encoding")
		data, tag := p.plain, p.tag
		if accepts := r.Header.Get("Accept-Encoding"); p.gzip != nil && strings.Contains(accepts, "gzip") && !strings.Contains(accepts, "gzip;q=0") {
			data, tag = p.gzip, p.tag+"-gzip"
			h.Set("Content-Encoding", "gzip")
		}
		h.Set("Etag", `"`+tag+`"`)
		http.ServeContent(w, r, path.Base(name), time.Time{}, bytes.NewReader(data))
	}
}
