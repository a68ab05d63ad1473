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
	return &Mail{opt: o, host: host, port: n, tls: config}, nil
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
	client, err := m.client()
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

func (m *Mail) client() (*mail.Client, error) {
	policy := map[string]mail.TLSPolicy{"starttls": mail.TLSMandatory, "tls": mail.NoTLS, "none": mail.NoTLS}[m.opt.Security]
	options := []mail.Option{
		mail.WithPort(m.port), mail.WithTimeout(sendFor), mail.WithTLSPolicy(policy), mail.WithTLSConfig(m.tls), mail.WithoutNoop(),
	}
	if m.opt.Security == "tls" {
		options = append(options, mail.WithSSL())
	}
	if m.opt.Username != "" {
		password, err := os.ReadFile(m.opt.PasswordFile)
		if err != nil {
			return nil, fmt.Errorf("read the mail password: %w", err)
		}
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(m.opt.Username),
			mail.WithPassword(strings.TrimSpace(string(password))))
	}
	return mail.NewClient(m.host, options...)
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
