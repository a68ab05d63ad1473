package config

import (
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"strings"
	"text/template"
	"time"
)

// Notify lists the ways by which notices reach people, besides the broker and the
// page.
type Notify struct {
	QuietHours string `yaml:"quiet_hours"` // local time, such as 20:00-06:00; dangers are sent all the same
	DailyRound string `yaml:"daily_round"` // local time of a daily message about all bays, such as 06:30
	// Whose bays it is about. With site, one agent of those that send one sends it for all.
	DailyRoundFor string    `yaml:"daily_round_for" accept:"site or agent" default:"site"`
	Mail          []Mail    `yaml:"mail"`
	Webhooks      []Webhook `yaml:"webhooks"`
}

// Mail sends notices by SMTP.
type Mail struct {
	Server       string   `yaml:"server" required:"yes"`                                      // host:port
	Security     string   `yaml:"security" accept:"starttls, tls or none" default:"starttls"` // none only within a trusted network
	From         string   `yaml:"from" required:"yes"`
	To           []string `yaml:"to" required:"yes"`
	Username     string   `yaml:"username"`      // left out: none
	PasswordFile string   `yaml:"password_file"` // file with the password, read for each message
	CAFile       string   `yaml:"ca_file"`       // PEM; left out, the system's certificate authorities
}

// Webhook sends notices by HTTP, such as to a push or chat server of the site.
type Webhook struct {
	Name    string   `yaml:"name" required:"yes"` // as site; used in metrics and logs
	URL     string   `yaml:"url" required:"yes"`  // http:// or https://
	Method  string   `yaml:"method" accept:"POST or PUT" default:"POST"`
	Headers []Header `yaml:"headers"`
	Body    string   `yaml:"body"` // Go text/template over the fields of a notice; left out, JSON
	CAFile  string   `yaml:"ca_file"`
}

// Header is one header of a webhook's request. Its text is a template too.
type Header struct {
	Name      string `yaml:"name" required:"yes"`
	Value     string `yaml:"value"`
	ValueFile string `yaml:"value_file"` // file with a secret value, read for each message
}

const maxWays = 16

// noticeCheck checks how notices reach people.
type noticeCheck struct{ *checker }

func (c noticeCheck) notify(n *Notify) {
	if n == nil {
		return
	}
	c.fields("notify", n)
	c.quietHours(n.QuietHours)
	c.clock("notify.daily_round", n.DailyRound)
	if len(n.Mail)+len(n.Webhooks) > maxWays {
		c.reject("notify", say("has-too-many-ways-at-most", maxWays))
		return
	}
	for i := range n.Mail {
		c.mail(&n.Mail[i], fmt.Sprintf("notify.mail[%d].", i))
	}
	names := map[string]bool{}
	for i := range n.Webhooks {
		at := fmt.Sprintf("notify.webhooks[%d].", i)
		c.webhook(&n.Webhooks[i], at)
		if name := n.Webhooks[i].Name; names[name] && name != "" {
			c.reject(at+"name", say("is-taken-by-another-webhook"))
		}
		names[n.Webhooks[i].Name] = true
	}
}

func (c noticeCheck) quietHours(text string) {
	const field = "notify.quiet_hours"
	if !c.present(field) {
		return
	}
	from, to, ok := strings.Cut(text, "-")
	if !ok || !isClock(from) || !isClock(to) || from == to {
		c.reject(field, say("must-be-two-different-times-of-day"))
	}
}

func (c noticeCheck) clock(field, text string) {
	if c.present(field) && !isClock(text) {
		c.reject(field, say("must-be-a-time-of-day-in"))
	}
}

func isClock(s string) bool {
	_, err := time.Parse("15:04", s)
	return err == nil && len(s) == len("15:04")
}

func (c noticeCheck) mail(m *Mail, at string) {
	rule := say("must-be-host-port-such-as-mail")
	if !c.missing(at+"server", rule) && !c.bad[at+"server"] {
		if host, port, err := net.SplitHostPort(m.Server); err != nil || host == "" || !isPort(port, 1) {
			if strings.Contains(m.Server, "@") {
				c.texts[at+"server"] = quoted(ShownAddress(m.Server))
			}
			c.reject(at+"server", rule)
		}
	}
	c.fields(strings.TrimSuffix(at, "."), m)
	c.address(at+"from", m.From)
	if !c.missing(at+"to", say("must-be-a-list-of-mail-addresses")) && len(m.To) == 0 {
		c.reject(at+"to", say("must-be-a-list-of-mail-addresses"))
	}
	for i, to := range m.To {
		c.address(fmt.Sprintf("%sto[%d]", at, i), to)
	}
	c.nonEmpty(at+"username", m.Username)
	c.nonEmpty(at+"password_file", m.PasswordFile)
	c.nonEmpty(at+"ca_file", m.CAFile)
	if m.PasswordFile != "" && m.Username == "" {
		c.reject(at+"password_file", say("must-come-with-a-username"))
	}
	if m.Security == "none" && m.Username != "" {
		c.reject(at+"security", say("must-be-starttls-or-tls-where-a"))
	}
}

func (c noticeCheck) address(field, text string) {
	rule := say("must-be-a-mail-address-such-as")
	if c.missing(field, rule) || c.bad[field] {
		return
	}
	if a, err := mail.ParseAddress(text); err != nil || a.Address != text {
		c.reject(field, rule)
	}
}

func (c noticeCheck) webhook(h *Webhook, at string) {
	c.name(at+"name", h.Name)
	rule := say("must-be-http-host-path-or-https")
	if !c.missing(at+"url", rule) && !isHook(h.URL) {
		c.texts[at+"url"] = hidden // without a scheme, all of it may be a token
		if strings.Contains(h.URL, "://") {
			c.texts[at+"url"] = quoted(ShownAddress(h.URL))
		}
		c.reject(at+"url", rule)
	}
	c.fields(strings.TrimSuffix(at, "."), h)
	c.template(at+"body", h.Body)
	c.nonEmpty(at+"ca_file", h.CAFile)
	for i := range h.Headers {
		c.header(&h.Headers[i], fmt.Sprintf("%sheaders[%d].", at, i))
	}
}

func isHook(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "http" || u.Scheme == "https") && u.Hostname() != "" && u.User == nil && u.Fragment == ""
}

func (c noticeCheck) header(h *Header, at string) {
	rule := say("must-be-the-name-of-a-header")
	if !c.missing(at+"name", rule) && !isHeader(h.Name) {
		c.reject(at+"name", rule)
	}
	if (h.Value == "") == (h.ValueFile == "") {
		c.complain(c.line(at+"name"), strings.TrimSuffix(at, "."), "", say("must-have-either-value-or-value-file"))
	}
	c.template(at+"value", h.Value)
}

func isHeader(s string) bool {
	for _, r := range s {
		if r != '-' && (r < '0' || r > '9') && (r < 'A' || r > 'Z') && (r < 'a' || r > 'z') {
			return false
		}
	}
	return s != "" && len(s) <= 64
}

// template reports a faulty template at the start instead of at the first notice.
func (c noticeCheck) template(field, text string) {
	if text == "" {
		return
	}
	funcs := template.FuncMap{"json": func(any) string { return "" }}
	if _, err := template.New("").Funcs(funcs).Parse(text); err != nil {
		c.texts[field] = hidden // it may contain a token
		c.reject(field, say("is-no-template", strings.TrimPrefix(err.Error(), "template: ")))
	}
}
