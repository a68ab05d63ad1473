package assembly

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/order"
	"bayward/agent/web"
	"bayward/mqtt"
	"bayward/mqtt/broker"
)

// connect creates the broker's client, which connects only once it runs.
func (a *Agent) connect(ctx context.Context) error {
	m := a.Config.MQTT
	if m == nil {
		return nil
	}
	mqtt.LogTo(a.Log)
	brokers := append([]string{m.Broker}, m.Fallback...)
	if m.Embedded != "" {
		var err error
		a.embedded, err = broker.Start(ctx, broker.Options{Listen: m.Embedded, Agents: []string{m.ClientID}, Log: a.Log})
		if err != nil {
			return err
		}
		brokers = []string{a.embedded.URL()}
	}
	o := a.brokerOptions(m)
	o.Brokers, o.People = brokers, signers(a.Config.People, a.Log)
	o.PageProof = web.PageProof(a.Config.Site, a.Config.Agent, o.Page, a.people())
	if a.yard != nil {
		o.Follow = a.yard
	}
	if n := a.Config.Notify; a.forSite() {
		o.DailyRound = n.DailyRound
	}
	var err error
	a.client, err = mqtt.New(o)
	return err
}

func (a *Agent) brokerOptions(m *config.MQTT) mqtt.Options {
	q := m.QoS
	o := mqtt.Options{
		ClientID: m.ClientID, Username: m.Username, PasswordFile: m.PasswordFile,
		CAFile: m.CAFile, CertFile: m.CertFile, KeyFile: m.KeyFile,
		KeepAlive: time.Duration(m.KeepAliveS) * time.Second, MaxInFlight: m.MaxInFlight,
		QoS: mqtt.QoS{
			Status: byte(q.Status), State: byte(q.State), Event: byte(q.Event),
			Notice: byte(q.Notice), Command: byte(q.Command), Response: byte(q.Response),
		},
		Topics: mqtt.Topics{Site: a.Config.Site, Agent: a.Config.Agent}, Page: a.pageAddress(), Version: a.Version, BootID: a.BootID, Epoch: a.epoch,
		Outbox: outbox{a.Book}, Log: a.Log, Now: func() mqtt.Wall { return wallOf(a.Wall()) },
		// The client runs only once the loop is ready to take orders.
		Submit: func(ctx context.Context, name string, o order.Order) (bay.Event, error) {
			return a.Submit(ctx, name, o)
		},
	}
	if a.OrderWall != nil {
		o.OrderNow = func() mqtt.Wall { return wallOf(a.OrderWall()) }
	}
	if o.Username != "" && o.PasswordFile == "" {
		o.PasswordFile = credential("mqtt-password")
	}
	if o.CertFile != "" && o.KeyFile == "" {
		o.KeyFile = credential("mqtt-key")
	}
	for i := range a.Config.Bays {
		o.Bays = append(o.Bays, a.Config.Bays[i].Name)
	}
	return o
}

// sinceNow returns a clock that starts now. Brokers live in real time, even where bays
// are faster.
func sinceNow() func() time.Duration {
	began := time.Now()
	return func() time.Duration { return time.Since(began) }
}

// pageAddress is where people reach the page, "" if the configuration does not say.
func (a *Agent) pageAddress() string {
	if a.Config.HTTP.URL == "" && a.Invented {
		return "http://" + a.Address()
	}
	return a.Config.HTTP.URL
}

// epoch is that of the record: "" without one.
func (a *Agent) epoch() string {
	if a.Book == nil {
		return ""
	}
	return a.Book.Epoch()
}

// credential returns the file of a secret that systemd passes to the service
// (LoadCredential=, SetCredentialEncrypted=), or "".
func credential(name string) string {
	dir := os.Getenv("CREDENTIALS_DIRECTORY")
	if dir == "" {
		return ""
	}
	path := filepath.Join(dir, name)
	if _, err := os.Stat(path); err != nil { //nolint:gosec // the directory is systemd's
		return ""
	}
	return path
}

// signers reads the keys of the people who may give orders by MQTT. They have the
// same rights as on the page. An unreadable key takes the right only from its
// owner.
func signers(people []config.Person, log *slog.Logger) []mqtt.Person {
	var out []mqtt.Person
	for _, p := range people {
		if p.MQTTKeyFile == "" {
			continue
		}
		key, err := mqtt.ReadKey(p.MQTTKeyFile)
		if err != nil {
			log.Error("signed orders from this person are refused", "person", p.Name, "err", err)
			continue
		}
		out = append(out, mqtt.Person{Name: p.Name, Key: key, Right: order.ParseRight(p.Role)})
	}
	return out
}
