package config

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/config/exampletest"
)

// TestCommentedPeopleAndNoticesLoad: the people and notices of the example are
// accepted.
func TestCommentedPeopleAndNoticesLoad(t *testing.T) {
	text := exampletest.Example(t)
	from, to := strings.Index(text, "# people:"), strings.Index(text, "# Limits, all optional")
	require.Greater(t, to, from)
	open := regexp.MustCompile(`(?m)^# (people:|notify:|  .*)$`).ReplaceAllString(text[from:to], "$1")
	c, err := Parse("example", []byte(text[:from]+open+text[to:]))
	require.NoError(t, err)
	require.Equal(t, "visit", c.People[0].Role)
	require.Equal(t, []string{"technician@yard.example"}, c.Notify.Mail[0].To)
	require.Equal(t, "POST", c.Notify.Webhooks[0].Method)
	require.Equal(t, "{{.Bay}}: {{.Title}}", c.Notify.Webhooks[0].Headers[0].Value)
	require.Equal(t, "06:30", c.Notify.DailyRound)
}

func TestBadPeopleAndNotices(t *testing.T) {
	const hash = "$2a$11$iY8GzQJPoDx1o0XnUHnPHOAcJ0hCMgkmxgWMFdXZZ0cL1f3G9L3sK"
	for _, row := range []struct{ name, add, want string }{
		{"a PIN in the file", "people: [{name: A, role: visit, pin_hash: 'secret-99'}]", "f:22: field people[0].pin_hash: must be a bcrypt hash with a cost of 10 to 14, as `bayward pin` prints it; never the PIN itself"},
		{"a cheap hash", "people: [{name: A, role: visit, pin_hash: '" + strings.Replace(hash, "$11$", "$04$", 1) + "'}]", "f:22: field people[0].pin_hash: must be a bcrypt hash"},
		{"unknown role", "people: [{name: A, role: admin, pin_hash: '" + hash + "'}]", `f:22: field people[0].role: value "admin" is not accepted: must be look, visit or release`},
		{"no role", "people: [{name: A, pin_hash: '" + hash + "'}]", "f:22: field people[0].role: is missing"},
		{"same name", "people:\n  - {name: A, role: look, pin_hash: '" + hash + "'}\n  - {name: A, role: visit, pin_hash: '" + hash + "'}", `f:24: field people[1].name: value "A" is not accepted: is taken by the person in line 23`},
		{"a colon cannot be sent", "people: [{name: 'A:B', role: look, pin_hash: '" + hash + "'}]", "and without a colon"},
		{"language", "language: xx", `f:22: field language: value "xx" is not accepted: must be en`},
		{"quiet hours", "notify: {quiet_hours: 22-6}", `f:22: field notify.quiet_hours: value "22-6" is not accepted: must be two different times of day, such as 20:00-06:00`},
		{"round", "notify: {daily_round: '25:00'}", `f:22: field notify.daily_round: value "25:00" is not accepted: must be a time of day in quotes`},
		{"mail server", "notify: {mail: [{server: mail, from: a@b.example, to: [c@d.example]}]}", "must be host:port"},
		{"mail to nobody", "notify: {mail: [{server: 'm:25', from: a@b.example, to: []}]}", "must be a list of mail addresses"},
		{"mail address", "notify: {mail: [{server: 'm:25', from: 'x <a@b.example>', to: [c@d.example]}]}", "must be a mail address"},
		{"password in the clear", "notify: {mail: [{server: 'm:25', security: none, username: u, from: a@b.example, to: [c@d.example]}]}", "must be starttls or tls where a password is sent"},
		{"hook with a password", "notify: {webhooks: [{name: a, url: 'http://u:secret@h/'}]}", `value "http://…@h/" is not accepted`},
		{"hook of another kind", "notify: {webhooks: [{name: a, url: 'ftp://h/secret?secret'}]}", `value "ftp://h/…" is not accepted`},
		{"hook that is only a token", "notify: {webhooks: [{name: a, url: secret}]}", `value (hidden) is not accepted`},
		{"hook with a slash in its password", "notify: {webhooks: [{name: a, url: 'http://u:sec/secret@h/'}]}", `value "(hidden)" is not accepted`},
		{"header with a token", "notify: {webhooks: [{name: a, url: 'http://h/', headers: [{name: X, value: 'secret {{'}]}]}", `value (hidden) is not accepted: is no template`},
		{"mail server with a password", "notify: {mail: [{server: 'u:secret@m:25', from: a@b.example, to: [c@d.example]}]}", `value "…@m:25" is not accepted`},
		{"broker with a token", "mqtt: {broker: 'ws://b/secret'}", `value "ws://b/…" is not accepted`},
		{"broker without a scheme", "mqtt: {broker: 'u:secret@b:1883'}", `value "…@b:1883" is not accepted`},
		{"hook body", "notify: {webhooks: [{name: a, url: 'http://h/', body: '{{.Text'}]}", "is no template"},
		{"hook header twice", "notify: {webhooks: [{name: a, url: 'http://h/', headers: [{name: X, value: a, value_file: /b}]}]}", "must have either value or value_file"},
		{"hook header name", "notify: {webhooks: [{name: a, url: 'http://h/', headers: [{name: 'X Y', value: a}]}]}", "must be the name of a header"},
		{"two hooks of one name", "notify: {webhooks: [{name: a, url: 'http://h/'}, {name: a, url: 'http://h/'}]}", "is taken by another webhook"},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := Parse("f", []byte(small+row.add+"\n"))
			require.ErrorContains(t, err, row.want)
			inEveryLanguage(t, err)
			require.NotContains(t, err.Error(), "secret")
		})
	}
}
