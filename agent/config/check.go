package config

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"bayward/agent/words"
)

// checker holds what all checks share: the decoder's findings, the complaints by
// key, and which part uses which piece of hardware. Each subject has its own check:
// packCheck, bayCheck, wiringCheck, levelCheck, brokerCheck, noticeCheck,
// peopleCheck.
type checker struct {
	*decoder
	options
	claims map[string]claim
}

var nameRule = say("must-be-lower-case-words-and-digits")

var nameForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

func (c *checker) config(cfg *Config) {
	c.sensors(cfg)
	c.fields("", cfg)
	packCheck{c}.packs(cfg.Packs)
	c.limits(cfg)
	if c.packsOnly {
		c.sensorPlaces(cfg.Bays)
		return
	}
	c.name("site", cfg.Site)
	c.name("agent", cfg.Agent)
	c.http(&cfg.HTTP)
	brokerCheck{c}.mqtt(cfg)
	c.logbook(&cfg.Logbook)
	c.modbus(cfg)
	bayCheck{c, cfg}.bays()
	peopleCheck{c}.people(cfg.People)
	noticeCheck{c}.notify(cfg.Notify)
	c.firstAid(&cfg.FirstAid)
}

// sensorPlaces checks all that a replay uses of the wiring.
func (c *checker) sensorPlaces(bays []Bay) {
	for i := range bays {
		at := fmt.Sprintf("bays[%d].wiring.temperature", i)
		if t := bays[i].Wiring.Temperature; t != nil && !c.bad[at] {
			c.fields(at, t)
		}
	}
}

var placeForm = regexp.MustCompile(`^[\pL\pN\pP\pS]([\pL\pN\pP\pS ]{0,198}[\pL\pN\pP\pS])?$`)

var phoneForm = regexp.MustCompile(`^\+?[0-9][0-9 ()/-]{1,29}$`)

// firstAid checks what a person who is hurt reads and dials.
func (c *checker) firstAid(f *FirstAid) {
	for field, phone := range map[string]string{"emergency_phone": f.EmergencyPhone, "site_phone": f.SitePhone} {
		if field = "first_aid." + field; c.present(field) && !c.bad[field] && !phoneForm.MatchString(phone) {
			c.reject(field, say("must-be-a-phone-number-in-quotes"))
		}
	}
	for field, place := range map[string]string{"eyewash": f.Eyewash, "kit": f.Kit} {
		if field = "first_aid." + field; c.present(field) && !c.bad[field] && !placeForm.MatchString(place) {
			c.reject(field, say("must-be-the-place-in-words-1"))
		}
	}
}

// present reports whether the file sets the field.
func (c *checker) present(field string) bool { return c.lines[field] > 0 }

// line returns the line of a field, or of the part that lacks it.
func (c *checker) line(field string) int {
	for field != "" {
		if line := c.lines[field]; line > 0 {
			return line
		}
		field = field[:max(0, strings.LastIndexAny(field, ".["))]
	}
	return 1
}

func (c *checker) reject(field string, accepted words.Sentence) {
	if !c.bad[field] {
		c.complain(c.line(field), field, c.texts[field], accepted)
	}
}

// missing complains once about a required field that is not set.
func (c *checker) missing(field string, accepted words.Sentence) bool {
	if c.present(field) || c.bad[field] {
		return false
	}
	c.complain(c.line(field), field, "", say("missing", accepted))
	return true
}

// usable reports whether a field is set and has no complaint so far.
func (c *checker) usable(fields ...string) bool {
	for _, f := range fields {
		if c.bad[f] {
			return false
		}
	}
	return true
}

// faulty reports whether any complaint is about a part.
func (c *checker) faulty(part string) bool {
	for field := range c.bad {
		if field == part || strings.HasPrefix(field, part+".") {
			return true
		}
	}
	return false
}

// notYet is set in the example that a package installs, so the agent never guards a
// bay with wiring that is not the user's.
const notYet = "not-yet"

func (c *checker) sensors(cfg *Config) {
	if cfg.Sensors == notYet {
		c.reject("sensors", say("the-file-is-the-example-as-it"))
	}
}

func (c *checker) name(field, v string) {
	if c.missing(field, nameRule) || c.bad[field] {
		return
	}
	if len(v) > 48 || !nameForm.MatchString(v) {
		c.reject(field, nameRule)
	}
}

func (c *checker) nonEmpty(field, v string) {
	if c.present(field) && strings.TrimSpace(v) == "" {
		c.reject(field, say("must-not-be-empty-remove-the-key"))
	}
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// wallKey is what a browser's address takes as it is and nobody guesses.
var wallKey = regexp.MustCompile(`^[A-Za-z0-9-]{16,64}$`)

func (c *checker) http(h *HTTP) {
	if !c.present("http.listen") {
		h.Listen = "127.0.0.1:8080"
	}
	host, port, err := net.SplitHostPort(h.Listen)
	if err != nil || !isPort(port, 0) || strings.ContainsAny(host, " /@") {
		c.reject("http.listen", say("must-be-host-port-with-a-port"))
	}
	c.nonEmpty("http.web_config_file", h.WebConfigFile)
	if c.present("http.wall_key") && !wallKey.MatchString(h.WallKey) {
		c.complain(c.line("http.wall_key"), "http.wall_key", "", say("wall-key"))
	}
	if u, err := url.Parse(h.URL); c.present("http.url") && (err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || h.URL != u.Scheme+"://"+u.Host) {
		c.reject("http.url", say("must-be-the-address-of-the-page"))
	}
	for i, text := range h.TrustedProxies {
		field := fmt.Sprintf("http.trusted_proxies[%d]", i)
		if _, err := proxy(text); err != nil && !c.bad[field] {
			c.reject(field, say("must-be-the-address-of-a-reverse"))
		}
	}
}

// Shortest prefixes of proxies: a longer list of addresses than these is a slip that
// would let anybody give any address.
const shortestIPv4, shortestIPv6 = 8, 32

// proxy reads an address or a prefix.
func proxy(text string) (netip.Prefix, error) {
	if a, err := netip.ParseAddr(text); err == nil {
		if a.Zone() != "" || a.IsUnspecified() {
			return netip.Prefix{}, errProxy
		}
		return netip.PrefixFrom(a.Unmap(), a.Unmap().BitLen()), nil
	}
	p, err := netip.ParsePrefix(text)
	short := shortestIPv6
	if p.Addr().Is4() {
		short = shortestIPv4
	}
	if err != nil || p != p.Masked() || p.Bits() < short || p.Addr().Is4In6() {
		return netip.Prefix{}, errProxy
	}
	return p, nil
}

var errProxy = errors.New("no address or prefix of a proxy")

func (c *checker) logbook(l *Logbook) {
	if !c.present("logbook.path") {
		l.Path = "/var/lib/bayward/logbook.db"
	}
	c.nonEmpty("logbook.path", l.Path)
	c.fields("logbook", l)
}

func isPort(s string, least int) bool {
	n, err := strconv.ParseUint(s, 10, 16)
	return err == nil && int(n) >= least
}
