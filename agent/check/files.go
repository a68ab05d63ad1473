package check

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"

	"bayward/agent/certs"
	"bayward/agent/config"
	"bayward/agent/words"
)

// MissingFiles warns of files and folders of this machine that a configuration names and
// that cannot be used. The agent starts without them: it tries again at each connection
// or message, refuses the orders that a key would sign, or records nothing.
func MissingFiles(cfg *config.Config, v words.Voice) (out []config.Warning) {
	warn := func(field, name string, values ...any) {
		out = append(out, config.Warning{
			Field: field, Says: v.Say("unwise."+name, values...), Do: v.Say("unwise." + name + ".do"), Basis: v.Say("unwise.basis.own"),
		})
	}
	file := func(field, path string) {
		if path == "" {
			return
		}
		if err := readable(path); err != nil {
			warn(field, "file", path, err)
		}
	}
	if m := cfg.MQTT; m != nil {
		file("mqtt.password_file", m.PasswordFile)
		file("mqtt.ca_file", m.CAFile)
		file("mqtt.cert_file", m.CertFile)
		file("mqtt.key_file", m.KeyFile)
	}
	for i := range cfg.People {
		file(fmt.Sprintf("people[%d].mqtt_key_file", i), cfg.People[i].MQTTKeyFile)
	}
	if n := cfg.Notify; n != nil {
		for i := range n.Mail {
			file(fmt.Sprintf("notify.mail[%d].password_file", i), n.Mail[i].PasswordFile)
		}
		for i := range n.Webhooks {
			for j := range n.Webhooks[i].Headers {
				file(fmt.Sprintf("notify.webhooks[%d].headers[%d].value_file", i, j), n.Webhooks[i].Headers[j].ValueFile)
			}
		}
	}
	if dir, err := folder(cfg.Logbook.Path); err != nil {
		warn("logbook.path", "folder", dir, err)
	}
	return out
}

// EndingCertificates warns of certificates of this machine that end within a month, as
// the alert does. What cannot be read as one is left to MissingFiles and to whoever needs
// it.
func EndingCertificates(cfg *config.Config, v words.Voice, now time.Time) (out []config.Warning) {
	for _, f := range certs.Files(cfg) {
		at, err := f.Ends()
		if err != nil || at.Sub(now) >= endsSoon {
			continue
		}
		name := "unwise.cert.ends"
		if at.Before(now) {
			name = "unwise.cert.ended"
		}
		out = append(out, config.Warning{
			Field: f.Field, Says: v.Say(name, f.Path, at.Local().Format(time.DateOnly)), Do: v.Say(name + ".do"), Basis: v.Say("unwise.basis.own"),
		})
	}
	return out
}

const endsSoon = 30 * 24 * time.Hour

func readable(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return cause(err)
	}
	return f.Close()
}

// folder looks at the nearest folder of a file that exists: whoever starts the agent must
// be able to write there.
func folder(path string) (dir string, err error) {
	for dir = filepath.Dir(path); ; dir = filepath.Dir(dir) {
		info, err := os.Stat(dir)
		switch {
		case err == nil && !info.IsDir():
			return dir, unix.ENOTDIR
		case err == nil:
			return dir, unix.Access(dir, unix.W_OK)
		case !errors.Is(err, os.ErrNotExist) || dir == filepath.Dir(dir):
			return dir, cause(err)
		}
	}
}

// cause leaves out the name, which the sentence has.
func cause(err error) error {
	if bad, ok := errors.AsType[*os.PathError](err); ok {
		return bad.Err
	}
	return err
}
