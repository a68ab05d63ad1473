package main

import (
	"encoding/json"
	"fmt"
	"net"
	"regexp"
	"strconv"
	"strings"

	"bayward/agent/config"
	"bayward/dashboards/rules"
	"bayward/deploy"
)

// alarms checks what is said about Prometheus and Alertmanager. The keys of receivers
// are Alertmanager's, which checks them itself.
func (p *plan) alarms() {
	if p.Prometheus != nil {
		for i, address := range p.Prometheus.Alertmanagers {
			if !isHostPort(address) {
				p.doc.Reject(fmt.Sprintf("prometheus.alertmanagers[%d]", i), "must be host:port")
			}
		}
	}
	if p.Alertmanager != nil {
		p.keysOnly("alertmanager.global", &p.Alertmanager.Global)
		for _, r := range p.Alertmanager.Receivers.list() {
			p.doc.Require("alertmanager.receivers."+r.name, "how to reach it, in Alertmanager's keys, such as email_configs")
			p.keysOnly("alertmanager.receivers."+r.name, r.how)
		}
	}
	for i := range p.Sites {
		p.siteAlarms(fmt.Sprintf("sites[%d].receivers", i), &p.Sites[i].Receivers)
	}
}

func (p *plan) siteAlarms(field string, all *receivers) {
	if p.Alertmanager == nil && p.doc.Present(field) {
		p.doc.Reject(field, "must be left out without alertmanager")
	}
	for _, r := range all.list() {
		p.keysOnly(field+"."+r.name, r.how)
	}
	if p.doc.Present(field + ".heartbeat") {
		p.doc.Reject(field+".heartbeat", "must be left out: the heartbeat is that of Prometheus, which is of the whole fleet")
	}
}

func isHostPort(s string) bool {
	host, port, err := net.SplitHostPort(s)
	number, bad := strconv.ParseUint(port, 10, 16)
	return err == nil && bad == nil && number > 0 && isHost(host)
}

// keysOnly refuses a value that has no keys, and a receiver's name, which is given here.
func (p *plan) keysOnly(field string, value *config.Piece) {
	if !p.doc.Present(field) {
		return
	}
	if len(value.Keys) == 0 || value.Get("name") != nil {
		p.doc.Reject(field, "must be Alertmanager's keys, one each line, without a name")
	}
}

// receiver is one of the four.
type receiver struct {
	name string
	how  *config.Piece
}

func (r *receivers) list() []receiver {
	return []receiver{{"now", &r.Now}, {"shift", &r.Shift}, {"planning", &r.Planning}, {"heartbeat", &r.Heartbeat}}
}

// own lists those that a site has.
func (r *receivers) own() (all []receiver) {
	for _, one := range r.list() {
		if len(one.how.Keys) > 0 {
			all = append(all, one)
		}
	}
	return all
}

// targets is a file for file_sd_configs.
type targets struct {
	Targets []string          `json:"targets"`
	Labels  map[string]string `json:"labels,omitempty"`
}

// prometheusFiles adds what goes onto the server with Prometheus.
func (p *plan) prometheusFiles(o *output) error {
	if p.Prometheus == nil {
		return nil
	}
	const root = "servers/prometheus/etc/prometheus/"
	conf, err := deploy.Servers.ReadFile("stack.d/prometheus.yml")
	if err != nil {
		return err
	}
	const job = "  - job_name: bayward\n"
	before, after, found := strings.Cut(string(conf), job)
	if !found {
		return fmt.Errorf("bug: stack.d/prometheus.yml has no %q", job)
	}
	o.add(root+"prometheus.yml", []byte(before+job+"    scheme: https\n    tls_config: {ca_file: pages.pem}\n"+after))
	o.add(root+"rules/bayward.yaml", rules.Prometheus)
	o.add(root+"pages.pem", o.files["authority/pages.pem"].data)
	for i := range p.configs {
		m := &p.configs[i]
		labels := map[string]string{"site": m.site.Name, "agent": m.agent.Name}
		if err := o.json(root+"agents/"+m.site.Name+"."+m.agent.Name+".json", []targets{{[]string{m.page()}, labels}}); err != nil {
			return err
		}
	}
	all := p.Prometheus.Alertmanagers
	if all == nil {
		all = []string{}
	}
	return o.json(root+"alertmanagers/fleet.json", []targets{{all, nil}})
}

func (o *output) json(path string, v any) error {
	data, err := json.Marshal(v)
	o.add(path, append(data, '\n'))
	return err
}

var receiverKey = regexp.MustCompile(`receiver: [a-z]+`)

// alertmanagerFiles adds Alertmanager's configuration: the routes of the repository for
// the whole fleet, and once more for each site that has receivers of its own.
func (p *plan) alertmanagerFiles(o *output) error {
	if p.Alertmanager == nil {
		return nil
	}
	conf, err := deploy.Servers.ReadFile("stack.d/alertmanager.yml")
	if err != nil {
		return err
	}
	routes, inhibitions, found := strings.Cut(string(conf), "\n# One cause, one alert.")
	inhibitions, _, cut := strings.Cut(inhibitions, "\nreceivers:\n")
	start := strings.Index(routes, "\nroute:\n")
	if !found || !cut || start < 0 {
		return fmt.Errorf("bug: stack.d/alertmanager.yml has other parts than the three that are known")
	}
	var b strings.Builder
	b.WriteString("# Made from the file of the fleet: change it there.\n")
	if len(p.Alertmanager.Global.Keys) > 0 {
		b.WriteString("global:\n")
		writePiece(&b, p.Alertmanager.Global, "  ")
	}
	b.WriteString(p.withSites(routes[start:]))
	b.WriteString("\n# One cause, one alert." + inhibitions + "\nreceivers:\n")
	writeReceivers(&b, "", p.Alertmanager.Receivers.list())
	for i := range p.Sites {
		writeReceivers(&b, p.Sites[i].Name+"-", p.Sites[i].Receivers.own())
	}
	o.secret("servers/alertmanager/etc/prometheus/alertmanager.yml", []byte(b.String()))
	return nil
}

// withSites puts a route for each site that has receivers of its own after the one for
// the heartbeat, which is of the whole fleet.
func (p *plan) withSites(routes string) string {
	lines := strings.SplitAfter(strings.TrimRight(routes, "\n")+"\n", "\n")
	first := 0
	for i, line := range lines {
		if strings.HasPrefix(line, "    - { matchers: ['alertname=\"BaywardWatchdog\"']") {
			first = i
			break
		}
	}
	var sites strings.Builder
	for i := range p.Sites {
		p.Sites[i].writeRoutes(&sites, lines[first+1:])
	}
	return strings.Join(lines[:first+1], "") + sites.String() + strings.Join(lines[first+1:], "")
}

// writeRoutes writes the routes of a site with receivers of its own.
func (s *site) writeRoutes(b *strings.Builder, routes []string) {
	own := map[string]bool{}
	for _, r := range s.Receivers.own() {
		own["receiver: "+r.name] = true
	}
	if len(own) == 0 {
		return
	}
	named := func(line string) string {
		return receiverKey.ReplaceAllStringFunc(line, func(key string) string {
			if own[key] {
				return strings.Replace(key, " ", " "+s.Name+"-", 1)
			}
			return key
		})
	}
	fmt.Fprintf(b, "    - matchers: ['site=%q']\n      %s\n      routes:\n", s.Name, named("receiver: shift"))
	for _, line := range routes {
		b.WriteString("    " + named(line))
	}
}

func writeReceivers(b *strings.Builder, prefix string, all []receiver) {
	for _, r := range all {
		fmt.Fprintf(b, "  - name: %s\n", prefix+r.name)
		writePiece(b, *r.how, "    ")
	}
}
