package assembly

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/usage"
	"bayward/agent/web"
	"bayward/mqtt"
)

// Refusals returns why an agent would not start with a configuration that was read
// without a complaint: everything but parts that are not there, and what another program
// holds at the moment. Both the agent and the check of a file ask it, so they agree. If
// the file is for another machine, what depends on the machine is left out.
func Refusals(ctx context.Context, cfg *config.Config, elsewhere bool) error {
	a := &Agent{Parts: Parts{
		Config: cfg, Log: slog.New(slog.DiscardHandler),
		Wall: func() (time.Time, bool) { return time.Now(), false },
	}}
	errs := []error{a.refusesPage(ctx, elsewhere), a.refusesBroker()}
	if !elsewhere { // a way to send notices reads its file of authorities
		errs = append(errs, a.buildNotices(), refusesRecord(ctx, cfg.Logbook.Path))
	}
	return usage.Error(errors.Join(errs...))
}

func (a *Agent) refusesPage(ctx context.Context, elsewhere bool) error {
	h := &a.Config.HTTP
	host, _, err := net.SplitHostPort(h.Listen)
	if err != nil {
		return fmt.Errorf("http.listen: %w", err)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) && len(a.Config.People) == 0 && h.WebConfigFile == "" {
		return a.refusesOpen()
	}
	if elsewhere {
		return nil
	}
	if err := web.CheckFile(h.WebConfigFile); err != nil {
		return fmt.Errorf("http.web_config_file: %w", err)
	}
	l, err := web.Listen(ctx, net.JoinHostPort(host, "0")) // whether the address is of this machine
	if err != nil {
		return fmt.Errorf("http.listen: %w", err)
	}
	return l.Close()
}

// refusesBroker makes the client, which opens nothing before it runs.
func (a *Agent) refusesBroker() error {
	m := a.Config.MQTT
	if m == nil {
		return nil
	}
	o := a.brokerOptions(m)
	o.Brokers, o.People = append([]string{m.Broker}, m.Fallback...), signers(a.Config.People, a.Log)
	if m.Embedded != "" {
		o.Brokers = []string{"tcp://" + m.Embedded}
	}
	if o.KeyFile == "" && os.Getenv("CREDENTIALS_DIRECTORY") == "" {
		o.CertFile = "" // the service has its key as a credential, whoever checks has not
	}
	_, err := mqtt.New(o)
	return err
}

// refusesRecord looks at a logbook that is there already. One that is damaged is set
// aside, and without a folder the agent runs without a record.
func refusesRecord(ctx context.Context, path string) error {
	book, err := logbook.OpenReadOnly(ctx, path)
	if errors.Is(err, logbook.ErrNewer) || errors.Is(err, logbook.ErrForeign) {
		return err
	}
	if err != nil {
		return nil //nolint:nilerr // the agent runs
	}
	return book.Close()
}
