package notify

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"html"
	"net/url"
	"slices"
	"strings"
	"unicode"
)

// stub is shown instead of a secret.
const stub = "…"

const (
	leastSecret = 4 // bytes: less is no secret, and would blank out every text
	// longSecret is hidden inside a longer word too.
	longSecret    = 8
	mostTextRunes = 500 // of an error: a server may answer with anything
)

// secrets are what must not be seen in an error, in each form in which a server or a
// library may repeat it.
type secrets []string

// add adds a text with the forms that encodings give it.
func (s *secrets) add(texts ...string) {
	for _, t := range texts {
		s.addForms(t)
		if plain, err := url.PathUnescape(t); err == nil {
			s.addForms(plain)
		}
		if plain, err := url.QueryUnescape(t); err == nil {
			s.addForms(plain)
		}
	}
	slices.SortFunc(*s, func(a, b string) int { return len(b) - len(a) }) // a part never before its whole
}

func (s *secrets) addForms(t string) {
	quoted, _ := json.Marshal(t) // a string always fits
	for _, form := range []string{
		t, url.PathEscape(t), url.QueryEscape(t), strings.Trim(string(quoted), `"`), html.EscapeString(t),
		base64.StdEncoding.EncodeToString([]byte(t)), base64.RawURLEncoding.EncodeToString([]byte(t)),
	} {
		if len(form) >= leastSecret && !slices.Contains(*s, form) {
			*s = append(*s, form)
		}
	}
}

// addURL adds all of an address but its scheme and host.
func (s *secrets) addURL(address string) {
	u, err := url.Parse(address)
	if err != nil {
		s.add(address)
		return
	}
	if u.User != nil {
		password, _ := u.User.Password()
		s.add(u.User.Username(), password, u.User.String())
	}
	s.add(u.RequestURI())
	for part := range strings.FieldsFuncSeq(u.EscapedPath()+"&"+u.RawQuery, func(r rune) bool { return strings.ContainsRune("/&=;+", r) }) {
		if !strings.Contains(u.Host, part) {
			s.add(part)
		}
	}
}

// hide replaces every secret in a text.
func (s secrets) hide(text string) string {
	for _, secret := range s {
		text = replaceWord(text, secret)
	}
	return text
}

// longest returns the length of the longest secret.
func (s secrets) longest() (n int) {
	for _, secret := range s {
		n = max(n, len(secret))
	}
	return n
}

// replaceWord leaves a short secret alone within a longer word.
func replaceWord(text, secret string) string {
	if len(secret) >= longSecret {
		return strings.ReplaceAll(text, secret, stub)
	}
	var out strings.Builder
	for {
		before, after, found := strings.Cut(text, secret)
		out.WriteString(before)
		if !found {
			return out.String()
		}
		if joined(before, true) || joined(after, false) {
			out.WriteString(secret)
		} else {
			out.WriteString(stub)
		}
		text = after
	}
}

// joined reports whether a text goes on with a letter or a digit at its end or, if
// not end, at its beginning.
func joined(text string, end bool) bool {
	runes := []rune(text)
	if len(runes) == 0 {
		return false
	}
	r := runes[0]
	if end {
		r = runes[len(runes)-1]
	}
	return unicode.IsLetter(r) || unicode.IsDigit(r)
}

// discreet is an error whose text contains no secret. It does not give away the
// error below, which does.
type discreet struct {
	text    string
	refused bool
}

// Error returns the text for the log.
func (d *discreet) Error() string { return d.text }

// Is reports whether the message was refused.
func (d *discreet) Is(target error) bool { return d.refused && target == ErrRefused }

// from returns an error without secrets on one line of bounded length, nil for nil.
func (s secrets) from(err error) error {
	if err == nil {
		return nil
	}
	text := strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s.hide(err.Error()))
	if runes := []rune(text); len(runes) > mostTextRunes {
		text = string(runes[:mostTextRunes]) + stub
	}
	return &discreet{text, errors.Is(err, ErrRefused)}
}
