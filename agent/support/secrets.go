package support

import (
	"bytes"
	"cmp"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"bayward/agent/config"
)

const (
	hidden = "(hidden)"
	// leastSecret is the length below which a text may stand in any sentence: hiding it
	// would leave nothing to read. A password as short as that is guessed, not found.
	leastSecret = 4
	mostSecret  = 64 << 10 // bytes of a file with a secret
	// leastToken is the length from which a part of a path may be a token: words are shorter.
	leastToken = 12
)

// Secrets are texts that leave no machine.
type Secrets struct{ all [][]byte }

// SecretsOf returns those of a configuration: what it has itself, and what is in the files
// that it names. A file that cannot be read has told nobody anything.
func SecretsOf(cfg *config.Config) *Secrets {
	var texts []string
	for i := range cfg.People {
		texts = append(texts, cfg.People[i].PINHash)
	}
	texts = append(texts, cfg.HTTP.WallKey)
	credentials, _ := filepath.Glob("/etc/credstore/bayward.*") // that the service gets without a setting
	for _, path := range credentials {
		texts = append(texts, content(path))
	}
	if m := cfg.MQTT; m != nil {
		texts = append(texts, content(m.PasswordFile))
		for _, address := range append([]string{m.Broker}, m.Fallback...) {
			texts = append(texts, ofAddress(address, false)...)
		}
	}
	if n := cfg.Notify; n != nil {
		texts = append(texts, ofNotify(n)...)
	}
	return NewSecrets(texts...)
}

func ofNotify(n *config.Notify) (texts []string) {
	for i := range n.Mail {
		texts = append(texts, content(n.Mail[i].PasswordFile))
	}
	for i := range n.Webhooks {
		h := &n.Webhooks[i]
		texts = append(texts, ofAddress(h.URL, true)...)
		long := []string{h.Body}
		for _, one := range h.Headers {
			long = append(long, one.Value, content(one.ValueFile))
		}
		for _, text := range long { // a token may be written without what stands around it
			texts = append(append(texts, text), tokens.FindAllString(text, -1)...)
		}
	}
	return texts
}

// ofAddress returns what may be secret of an address: a user's password, and of a webhook
// also its path and query.
func ofAddress(address string, path bool) (texts []string) {
	u, err := url.Parse(address)
	if err != nil {
		return []string{address}
	}
	if word, ok := u.User.Password(); ok {
		texts = append(texts, word)
	}
	if path {
		texts = append(texts, strings.TrimPrefix(u.EscapedPath(), "/"), u.RawQuery)
		for segment := range strings.SplitSeq(u.Path, "/") {
			if len(segment) >= leastToken {
				texts = append(texts, segment)
			}
		}
		for _, values := range u.Query() {
			texts = append(texts, values...)
		}
	}
	return texts
}

// content is that of a file with a secret, "" if it cannot be read.
func content(path string) string {
	if path == "" {
		return ""
	}
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer func() { _ = f.Close() }()
	text, _ := io.ReadAll(io.LimitReader(f, mostSecret))
	return strings.TrimSpace(string(text))
}

// NewSecrets returns the secrets in all the spellings in which programs write them.
func NewSecrets(texts ...string) *Secrets {
	s := &Secrets{}
	for _, text := range texts {
		if len(text) < leastSecret {
			continue
		}
		quoted, _ := json.Marshal(text)
		for _, spelling := range []string{
			text, strings.Trim(string(quoted), `"`), url.QueryEscape(text), url.PathEscape(text),
			base64.StdEncoding.EncodeToString([]byte(text)), base64.RawURLEncoding.EncodeToString([]byte(text)),
		} {
			s.all = append(s.all, []byte(spelling))
		}
	}
	// The longest first: a secret may contain another.
	slices.SortFunc(s.all, func(a, b []byte) int {
		return cmp.Or(cmp.Compare(len(b), len(a)), bytes.Compare(a, b))
	})
	s.all = slices.CompactFunc(s.all, bytes.Equal)
	return s
}

// tokens are runs of leastToken or more of what tokens are made of (RFC 6750, section 2.1).
var tokens = regexp.MustCompile(`[A-Za-z0-9._~+/=-]{12,}`)

var (
	privateKeys = regexp.MustCompile(`(?s)-----BEGIN [A-Z ]*PRIVATE KEY-----.*?(-----END [A-Z ]*PRIVATE KEY-----|\z)`)
	pinHashes   = regexp.MustCompile(`\$2[abxy]?\$[0-9]{2}\$[./A-Za-z0-9]{53}`) // bcrypt
)

// Hide returns the text without the secrets, private keys and hashes of PINs.
func (s *Secrets) Hide(text []byte) []byte {
	text = privateKeys.ReplaceAll(text, []byte(hidden))
	text = pinHashes.ReplaceAll(text, []byte(hidden))
	for _, secret := range s.all {
		text = bytes.ReplaceAll(text, secret, []byte(hidden))
	}
	return text
}
