package notify

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"

	"github.com/wneessen/go-mail"
)

// MailOptions configure one mail server and the recipients.
type MailOptions struct {
	Server       string // host:port
	Security     string // "starttls", "tls" or "none"
	From         string
	To           []string
	Username     string // "" for none
	PasswordFile string // read for each message
	CAFile       string // PEM; "" means the system's roots
}

// Mail sends messages by SMTP.
type Mail struct {
	opt  MailOptions
	host string
	port int
	tls  *tls.Config
	// connect makes the connection below SMTP.
	connect func(ctx context.Context, network, address string) (net.Conn, error)
}

// NewMail checks what can be checked without the server.
func NewMail(o MailOptions) (*Mail, error) {
	host, port, err := net.SplitHostPort(o.Server)
	if err != nil {
		return nil, fmt.Errorf("mail server %s: %w", o.Server, err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		return nil, fmt.Errorf("mail server %s: %w", o.Server, err)
	}
	config, err := trust(o.CAFile)
	if err != nil {
		return nil, fmt.Errorf("mail server %s: %w", o.Server, err)
	}
	config.ServerName = host
	return &Mail{opt: o, host: host, port: n, tls: config, connect: (&net.Dialer{Timeout: sendFor}).DialContext}, nil
}

// trust reads the certificates of a site's own authority.
func trust(caFile string) (*tls.Config, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if caFile == "" {
		return config, nil
	}
	pem, err := os.ReadFile(caFile)
	if err != nil {
		return nil, fmt.Errorf("ca_file: %w", err)
	}
	config.RootCAs = x509.NewCertPool()
	if !config.RootCAs.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("ca_file %s: no certificate in it", caFile)
	}
	return config, nil
}

// Name implements Way.
func (m *Mail) Name() string { return "mail " + m.opt.Server }

// Send implements Way. A server's permanent refusal (5xx to the message) is final;
// a wrong password is tried again, because the file may be fixed.
func (m *Mail) Send(ctx context.Context, n *Message) error {
	password, err := m.password()
	if err != nil {
		return err
	}
	var hidden secrets
	hidden.add(password, "\x00"+m.opt.Username+"\x00"+password) // as PLAIN sends it
	return hidden.from(m.send(ctx, n, password))
}

// password returns "" where there is no user.
func (m *Mail) password() (string, error) {
	if m.opt.Username == "" {
		return "", nil
	}
	text, err := os.ReadFile(m.opt.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("read the mail password: %w", err)
	}
	return strings.TrimSpace(string(text)), nil
}

func (m *Mail) send(ctx context.Context, n *Message, password string) error {
	client, err := m.client(password)
	if err != nil {
		return err
	}
	msg, err := m.compose(n)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrRefused, err)
	}
	err = client.DialAndSendWithContext(ctx, msg)
	if sent, ok := errors.AsType[*mail.SendError](err); ok && !sent.IsTemp() && sent.ErrorCode() >= 500 {
		return fmt.Errorf("%w: %w", ErrRefused, err)
	}
	return err
}

func (m *Mail) client(password string) (*mail.Client, error) {
	// With "tls" the connection is encrypted from the start, which the library sees.
	policy := map[string]mail.TLSPolicy{"starttls": mail.TLSMandatory, "tls": mail.TLSOpportunistic, "none": mail.NoTLS}[m.opt.Security]
	options := []mail.Option{
		mail.WithPort(m.port), mail.WithTimeout(sendFor), mail.WithTLSPolicy(policy), mail.WithTLSConfig(m.tls), mail.WithoutNoop(),
		mail.WithDialContextFunc(m.dial),
	}
	if m.opt.Username != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(m.opt.Username),
			mail.WithPassword(password))
	}
	return mail.NewClient(m.host, options...)
}

// mostReplies is how much a mail server may say in one session, in bytes. The library
// reads a line of any length.
const mostReplies = 64 << 10

// dial connects to a server that may not say too much.
func (m *Mail) dial(ctx context.Context, network, address string) (net.Conn, error) {
	c, err := m.connect(ctx, network, address)
	if err != nil {
		return nil, err
	}
	if m.opt.Security != "tls" {
		return &terse{Conn: c}, nil
	}
	secure := tls.Client(&terse{Conn: c}, m.tls)
	if err := secure.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return secure, nil
}

// terse is a connection that ends when the other side has said too much.
type terse struct {
	net.Conn
	said int
}

var errTalks = errors.New("the mail server says too much")

// Read implements net.Conn.
func (t *terse) Read(p []byte) (int, error) {
	if t.said >= mostReplies {
		return 0, errTalks
	}
	n, err := t.Conn.Read(p[:min(len(p), mostReplies-t.said)])
	t.said += n
	return n, err
}

func (m *Mail) compose(n *Message) (*mail.Msg, error) {
	msg := mail.NewMsg(mail.WithNoDefaultUserAgent())
	if err := msg.From(m.opt.From); err != nil {
		return nil, err
	}
	if err := msg.To(m.opt.To...); err != nil {
		return nil, err
	}
	msg.Subject(strings.Join(strings.Fields(n.Title), " "))
	msg.SetDate()
	msg.SetMessageID()
	if n.Danger {
		msg.SetImportance(mail.ImportanceHigh)
	}
	msg.SetBodyString(mail.TypeTextPlain, plainText(n))
	return msg, nil
}

func plainText(n *Message) string {
	var b strings.Builder
	for _, part := range []string{n.Text, n.WhatToDo, n.Cautions} {
		if part != "" {
			b.WriteString(part + "\n\n")
		}
	}
	b.WriteString("-- \n" + n.Site + " / " + n.Agent + "\n")
	return b.String()
}

var _ Way = (*Mail)(nil)
