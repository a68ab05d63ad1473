package config

import (
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
)

// hidden is shown instead of a secret.
const hidden = "(hidden)"

// JSON returns the whole configuration, defaults included, under the names used in
// the file. It hides what is secret or may be: PIN hashes, and of a webhook all but
// its host, because its path, its body and its headers may contain a token.
func (c *Config) JSON() ([]byte, error) {
	shown := *c
	shown.Limits = Limits{}
	for _, l := range c.LimitsSet() {
		shown.Limits[l.Key] = l.Value
	}
	shown.People = slices.Clone(c.People)
	for i := range shown.People {
		shown.People[i].PINHash = hidden
	}
	if c.HTTP.WallKey != "" {
		shown.HTTP.WallKey = hidden
	}
	if c.MQTT != nil {
		shown.MQTT = c.MQTT.shown()
	}
	if c.Notify != nil {
		shown.Notify = c.Notify.shown()
	}
	return yaml.MarshalWithOptions(&shown, yaml.JSON())
}

func (m *MQTT) shown() *MQTT {
	out := *m
	out.Broker, out.Fallback = ShownAddress(m.Broker), slices.Clone(m.Fallback)
	for i, address := range m.Fallback {
		out.Fallback[i] = ShownAddress(address)
	}
	return &out
}

func (n *Notify) shown() *Notify {
	out := *n
	out.Webhooks = slices.Clone(n.Webhooks)
	for i := range out.Webhooks {
		h := &out.Webhooks[i]
		h.URL, h.Headers = ShownAddress(h.URL), slices.Clone(h.Headers)
		if h.Body != "" {
			h.Body = hidden
		}
		for j := range h.Headers {
			if h.Headers[j].Value != "" {
				h.Headers[j].Value = hidden
			}
		}
	}
	return &out
}

var hostForm = regexp.MustCompile(`^[\pL\pN._:\[\]-]*$`)

// ShownAddress returns what messages show of a URL: scheme and host. A user, a path
// and a query may be secrets, so each is only a "…". Of what is no URL, only a host
// and its port are shown.
func ShownAddress(text string) string {
	scheme, rest, ok := strings.Cut(text, "://")
	if !ok {
		scheme, rest = "", text
	} else {
		scheme += "://"
	}
	host, tail := rest, ""
	if i := strings.IndexAny(rest, `/?#\`); i >= 0 {
		host, tail = rest[:i], rest[i:]
	}
	if strings.Contains(tail, "@") || scheme == "" && tail != "" || !hostForm.MatchString(scheme[:max(0, len(scheme)-len("://"))]) {
		return hidden // part of a password may be in front of a slash
	}
	if i := strings.LastIndexByte(host, '@'); i >= 0 {
		host, scheme = host[i:], scheme+"…"
	}
	if !hostForm.MatchString(strings.TrimPrefix(host, "@")) {
		return hidden
	}
	if tail != "" && tail != "/" {
		tail = "/…"
	}
	return scheme + host + tail
}
