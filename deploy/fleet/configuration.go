package main

import (
	"errors"
	"fmt"
	"maps"
	"net"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"bayward/agent/check"
	"bayward/agent/config"
)

// made is the configuration of one agent.
type made struct {
	site  *site
	agent *agent
	text  string
	*config.Config
}

// Where the files of an agent are on its Pi.
const (
	etc        = "etc/bayward/"
	configFile = etc + "bayward.yaml"
	webFile    = etc + "web.yaml"
	pageFile   = etc + "page"
	mqttFile   = etc + "mqtt"
	brokerCA   = etc + "broker-ca.pem"
	peopleKeys = etc + "people/"
)

// reserved are keys that settings may not have, and from what they are made.
var reserved = map[string]string{
	"site": "sites.name", "agent": "agents.name", "bays": "agents.bays", "modbus": "agents.modbus",
	"packs": "sites.packs", "people": "people",
	"http.url": "agents.host", "http.web_config_file": "certificates", "http.wall_key": "agents.wall",
	"mqtt.broker": "broker.hosts", "mqtt.fallback": "broker.hosts", "mqtt.embedded": "broker.hosts",
	"mqtt.client_id": "names", "mqtt.username": "certificates", "mqtt.password_file": "certificates",
	"mqtt.ca_file": "certificates", "mqtt.cert_file": "certificates", "mqtt.key_file": "certificates",
}

// draft is a configuration in the making. It knows where each part comes from, so that
// a complaint names the line of the fleet's file.
type draft struct {
	root   config.Piece
	source map[string]string // field of the configuration to field of the fleet's file
}

// put places a value. Mappings are merged, everything else is replaced.
func (d *draft) put(path string, value config.Piece, from string) {
	at := &d.root
	for _, key := range strings.Split(path, ".") {
		if at.Get(key) == nil {
			at.Keys = append(at.Keys, config.Key{Name: key})
		}
		at = at.Get(key)
		at.Text, at.Items, at.List = "", nil, false
	}
	if len(value.Keys) > 0 {
		for _, k := range value.Keys {
			d.put(path+"."+k.Name, k.Value, from+"."+k.Name)
		}
		return
	}
	*at = value
	d.source[path] = from
}

func text(s string) config.Piece { return config.Piece{Text: strconv.Quote(s)} }

// from returns the field of the fleet's file from which a field of the configuration
// comes.
func (d *draft) from(field string) string {
	for path := field; ; {
		if source, ok := d.source[path]; ok {
			return source + field[len(path):]
		}
		cut := strings.LastIndexAny(path, ".[")
		if cut < 0 {
			return strings.TrimSuffix(d.source[""]+"."+field, ".")
		}
		path = path[:cut]
	}
}

// makeConfigs makes the configuration of every agent, and checks it as the agent does.
func (p *plan) makeConfigs() {
	p.settings("settings", p.Settings)
	for i := range p.Sites {
		s, at := &p.Sites[i], fmt.Sprintf("sites[%d]", i)
		p.settings(at+".settings", s.Settings)
		for j := range s.Agents {
			a, field := &s.Agents[j], fmt.Sprintf("%s.agents[%d]", at, j)
			p.settings(field+".settings", a.Settings)
			if p.doc.Usable(field+".name", at+".name", field+".host") {
				p.makeConfig(at, field, s, a)
			}
		}
	}
}

// settings complains about keys that are made here.
func (p *plan) settings(at string, s config.Piece) {
	if s.Text != "" || s.List {
		p.doc.Reject(at, "must be keys of the configuration, one each line")
	}
	p.plainKeys(at, s)
	for _, key := range slices.Sorted(maps.Keys(reserved)) {
		first, second, nested := strings.Cut(key, ".")
		found := s.Get(first)
		if found != nil && nested {
			found = found.Get(second)
		}
		if found != nil {
			p.doc.Reject(at+"."+key, "must be left out: it is made from "+reserved[key])
		}
	}
	if s.Get("mqtt") != nil && p.Broker == nil {
		p.doc.Reject(at+".mqtt", "must be left out without a broker")
	}
}

// plainKeys refuses keys that would be taken for a path.
func (p *plan) plainKeys(at string, s config.Piece) {
	for _, k := range s.Keys {
		if strings.Contains(k.Name, ".") {
			p.doc.Reject(at+"."+k.Name, "must be the name of one key, without a point")
		}
		p.plainKeys(at+"."+k.Name, k.Value)
	}
}

func (p *plan) makeConfig(siteAt, at string, s *site, a *agent) {
	d := &draft{source: map[string]string{"": at}}
	d.put("site", text(s.Name), siteAt+".name")
	d.put("agent", text(a.Name), at+".name")
	d.put("http.listen", text("0.0.0.0:8080"), at+".host")
	for _, layer := range []struct {
		at    string
		value config.Piece
	}{{"settings", p.Settings}, {siteAt + ".settings", s.Settings}, {at + ".settings", a.Settings}} {
		for _, k := range layer.value.Keys {
			d.put(k.Name, k.Value, layer.at+"."+k.Name)
		}
	}
	d.put("http.url", text("https://"+net.JoinHostPort(a.Host, d.port())), at+".host")
	d.put("http.web_config_file", text("/"+webFile), at+".host")
	p.wallKey(d, at, s, a)
	p.putBroker(d)
	if p.doc.Present(at + ".modbus") {
		d.put("modbus", a.Modbus, at+".modbus")
	}
	d.put("bays", a.Bays, at+".bays")
	if !p.doc.Present(at + ".bays") {
		d.root.Keys = d.root.Keys[:len(d.root.Keys)-1] // so that it counts as missing
	}
	d.putPacks(s, siteAt, a)
	p.putPeople(d, s)
	p.finish(d, s, a)
}

// page is the address of an agent's page, host and port.
func (m *made) page() string {
	_, port, _ := net.SplitHostPort(m.HTTP.Listen)
	return net.JoinHostPort(m.agent.Host, port)
}

// port is that of the agent's page.
func (d *draft) port() string {
	listen, _ := strconv.Unquote(d.root.Get("http").Get("listen").Text)
	if _, port, err := net.SplitHostPort(listen); err == nil {
		return port
	}
	return "8080" // the check of the configuration complains about listen
}

func (p *plan) putBroker(d *draft) {
	if p.Broker == nil || len(p.Broker.Hosts) == 0 {
		return
	}
	address := net.JoinHostPort(p.Broker.Hosts[0], strconv.Itoa(p.Broker.Port))
	d.put("mqtt.broker", text("ssl://"+address), "broker.hosts[0]")
	d.put("mqtt.ca_file", text("/"+brokerCA), "broker")
	d.put("mqtt.cert_file", text("/"+mqttFile+".pem"), "broker")
	d.put("mqtt.key_file", text("/"+mqttFile+"-key.pem"), "broker")
}

// putPacks places the packs that a bay of the agent may charge, in the order of the
// site.
func (d *draft) putPacks(s *site, at string, a *agent) {
	var wanted []string
	for _, bay := range a.Bays.Items {
		if one := bay.Get("pack"); one != nil {
			wanted = append(wanted, one.Text)
		}
		if several := bay.Get("packs"); several != nil {
			for _, one := range several.Items {
				wanted = append(wanted, one.Text)
			}
		}
	}
	var packs []config.Piece
	for i, pack := range s.Packs.Items {
		if name := pack.Get("name"); name != nil && slices.Contains(wanted, name.Text) {
			d.source[fmt.Sprintf("packs[%d]", len(packs))] = fmt.Sprintf("%s.packs[%d]", at, i)
			packs = append(packs, pack)
		}
	}
	if len(packs) == 0 {
		packs = s.Packs.Items // for a complaint that lists what there is
	}
	d.put("packs", config.Piece{Items: packs, List: true}, at+".packs")
}

func (p *plan) putPeople(d *draft, s *site) {
	var all []config.Piece
	for i := range p.People {
		one := &p.People[i]
		if !covers(one.Sites, s.Name) {
			continue
		}
		var piece config.Piece
		for _, k := range []config.Key{{Name: "name", Value: text(one.Name)}, {Name: "role", Value: text(one.Role)}, {Name: "pin_hash", Value: text(one.PINHash)}} {
			if p.doc.Present(fmt.Sprintf("people[%d].%s", i, k.Name)) {
				piece.Keys = append(piece.Keys, k)
			}
		}
		if one.MQTTKeyFile != "" {
			piece.Keys = append(piece.Keys, config.Key{Name: "mqtt_key_file", Value: text("/" + peopleKeys + one.keyName())})
		}
		d.source[fmt.Sprintf("people[%d]", len(all))] = fmt.Sprintf("people[%d]", i)
		all = append(all, piece)
	}
	d.put("people", config.Piece{Items: all, List: true}, "people")
}

// finish checks a draft and adds it to the plan.
func (p *plan) finish(d *draft, s *site, a *agent) {
	var b strings.Builder
	writePiece(&b, d.root, "")
	cfg, err := config.Parse(p.path, []byte(b.String()))
	if err == nil {
		if _, err := check.Setups(cfg); err != nil {
			p.doc.Reject(d.source[""], err.Error())
		}
		p.configs = append(p.configs, made{s, a, b.String(), cfg})
		return
	}
	if faults, ok := errors.AsType[*config.Error](err); ok {
		p.doc.Adopt(faults, d.from)
	} else {
		p.doc.Reject(d.source[""], "bug: "+err.Error()) // Parse promises the other kind
	}
}

var plainKey = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_-]*$`)

// writePiece writes a value as YAML.
func writePiece(b *strings.Builder, p config.Piece, indent string) {
	for _, k := range p.Keys {
		name := k.Name
		if !plainKey.MatchString(name) {
			name = strconv.Quote(name)
		}
		b.WriteString(indent + name + ":")
		switch {
		case len(k.Value.Keys) > 0:
			b.WriteString("\n")
			writePiece(b, k.Value, indent+"  ")
		case k.Value.List && len(k.Value.Items) == 0:
			b.WriteString(" []\n")
		case k.Value.List:
			b.WriteString("\n")
			writeList(b, k.Value.Items, indent+"  ")
		default:
			b.WriteString(" " + k.Value.Text + "\n")
		}
	}
}

func writeList(b *strings.Builder, items []config.Piece, indent string) {
	for _, item := range items {
		if len(item.Keys) == 0 {
			b.WriteString(indent + "- " + item.Text + "\n")
			continue
		}
		var inner strings.Builder
		writePiece(&inner, item, indent+"  ")
		b.WriteString(indent + "- " + strings.TrimPrefix(inner.String(), indent+"  "))
	}
}
