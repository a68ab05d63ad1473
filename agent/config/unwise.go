package config

import (
	"fmt"
	"net"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/electrolyte"
)

// Warning is a setting that is accepted but unwise.
type Warning struct {
	Field string `json:"field"` // such as bays[0].wiring.relay.feedback
	Says  string `json:"says"`  // the situation, with figures
	Do    string `json:"do"`    // what would be better
	Basis string `json:"basis"` // the source of the figure, or "the project's own"
}

const (
	own      = "the project's own"
	practice = "common practice, no source"
)

// Warnings lists the unwise settings, in the order of the example. The file has
// passed Parse.
func (c *Config) Warnings() []Warning {
	u := &unwise{c: c}
	u.site()
	u.shared()
	for i := range c.Bays {
		u.bay(fmt.Sprintf("bays[%d]", i), &c.Bays[i])
	}
	for i := range c.Packs {
		u.pack(fmt.Sprintf("packs[%d]", i), &c.Packs[i])
	}
	u.limits()
	return u.found
}

type unwise struct {
	c     *Config
	found []Warning
}

func (u *unwise) say(bad bool, field, says, do, basis string) {
	if bad {
		u.found = append(u.found, Warning{field, says, do, basis})
	}
}

func (u *unwise) site() {
	c := u.c
	u.say(!loopback(c.HTTP.Listen) && c.HTTP.WebConfigFile == "", "http.listen",
		fmt.Sprintf("the page answers on %s without TLS: PINs cross the network in clear", c.HTTP.Listen),
		"name a web_config_file with a certificate, or listen on 127.0.0.1 behind a proxy that has one", practice)
	m := c.MQTT
	u.say(m != nil && m.Username != "" && !strings.HasPrefix(m.Broker, "ssl://") && !strings.HasPrefix(m.Broker, "wss://"), "mqtt.broker",
		"the password for the broker crosses the network in clear", "use ssl:// or wss://", practice)
	u.say(m == nil && c.Notify == nil, "mqtt",
		"there is neither a broker nor mail nor a webhook: nobody is called, they must look at the page", "set mqtt or notify", own)
}

// shared: a pack is in one place, and its history follows it.
func (u *unwise) shared() {
	first := map[string]string{}
	for i := range u.c.Bays {
		b := &u.c.Bays[i]
		if len(b.Packs) > 0 {
			continue
		}
		u.say(first[b.Pack] != "", fmt.Sprintf("bays[%d].pack", i),
			fmt.Sprintf("pack %s is the only one of %s as well: its charges, water and forecast are those of two packs in one history", b.Pack, first[b.Pack]),
			"name each pack for itself; a pack that moves between bays is listed under packs of each of them", own)
		first[b.Pack] = b.Name
	}
}

func loopback(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

func (u *unwise) bay(field string, b *Bay) {
	w, at := &b.Wiring, field+".wiring"
	curve, _ := b.Characteristic()
	u.say(curve == electrolyte.CurveUnknown, field+".charger",
		"the charger's curve is not known: bayward airflow takes the worst case, up to 7 A of gas current for 100 Ah where an iu charger has 2",
		"set charger.curve and rated_a from its plate", "EN IEC 62485-3, table of gas currents; see bayward airflow")
	u.say(w.Current == nil && w.Complete == nil, at+".current",
		"there is neither a current sensor nor the charger's contact: full is proven by voltage alone, and never where the charger holds its voltage",
		"fit a current sensor", "TM 5-4320-258-12 for steady readings; see README, How it knows")
	u.say(w.Current == nil && w.Complete != nil, at+".current",
		"there is no current sensor: ampere-hours and water are estimated, and a contactor that sticks shows by its feedback only", "fit one", own)
	u.say(w.Temperature != nil && w.Temperature.Ambient == "", at+".temperature.ambient",
		"there is no sensor for the air: the cool-down goes by the fall alone and takes twice the rest", "fit one in the shade near the pack", own)
	if r := w.Relay; r != nil {
		u.say(r.Feedback == nil, at+".relay.feedback",
			"there is no feedback contact: a contactor that welds is seen by its current only, or not at all", "wire the contactor's auxiliary contact", practice)
		u.say(r.Heartbeat == "", at+".relay.heartbeat",
			"there is no heartbeat: if the Pi hangs with the line high, nothing outside it opens the relay", "fit a watchdog relay; see the wiring guide", practice)
	}
	u.say(w.Airflow == nil && w.Hydrogen == nil, at+".airflow",
		"neither the fan nor the air is watched: a charge goes on when the ventilation has failed", "wire the fan's proof, or a hydrogen sensor",
		"UFC 3-410-04N: fan failure must block charging")
	u.rod(at+".level", b)
}

// rod: a single rod shows only wet or dry, so the call for water and the refusal
// come together.
func (u *unwise) rod(field string, b *Bay) {
	l := b.Wiring.Level
	if l == nil || l.Kind.Measures() {
		return
	}
	p, err := u.c.PackNamed(b.Serves()[0])
	if err != nil {
		return
	}
	top := l.Rods[len(l.Rods)-1].HeightMM + l.OffsetMM
	u.say(top < p.ChargeLevelMM+2, field+".rods",
		fmt.Sprintf("the highest rod is at %s mm and a charge needs %s mm: the bay learns of low electrolyte only when it refuses the charge", plain(top), plain(p.ChargeLevelMM)),
		"add a rod higher up, or use a transmitter", own)
}

// ventedMM is the least room to leave under the bottom of the vent well after the
// level has risen.
const ventedMM = 2

func (u *unwise) pack(field string, p *Pack) {
	l := u.c.Limits.Core()
	rise := electrolyte.LevelRiseMM(p.ElectrolyteML, p.FreeSurfaceCM2, 25, l.ChargeMaxC, p.FullGravity) + l.GasHoldUpMM
	room := p.VentWellMM - p.FillMarkMM
	u.say(room < rise+ventedMM, field+".fill_mark_mm",
		fmt.Sprintf("the fill mark is %s mm under the bottom of the vent well, and at %s °C on charge the level rises by %.1f mm: each fill stops short of the fill mark, at %.1f mm", plain(room), plain(l.ChargeMaxC), rise, p.VentWellMM-rise),
		fmt.Sprintf("set it to %.0f or lower", p.VentWellMM-rise-ventedMM), "expansion of sulfuric acid: Myhre et al. (1998); gas hold-up from memory")
	u.say(p.FullGravity < 1.24 || p.FullGravity > 1.31, field+".full_gravity",
		fmt.Sprintf("%.3f is outside 1.240 to 1.310, where traction cells are when full", p.FullGravity), "see the battery's data sheet", "from memory")
	u.say(p.ChargeFactor > 1.2, field+".charge_factor",
		fmt.Sprintf("%s is more than the 1.20 of usual vented cells: each charge boils off more water", plain(p.ChargeFactor)), "use 1.10 to 1.20, or the data sheet's", "from memory; California Title 20 allows large chargers 1.10 to 1.15 (from memory)")
	u.say(p.ChargeLevelMM < 2, field+".charge_level_mm",
		fmt.Sprintf("%s mm is within the error of a probe (1 to 2 mm): plates may be bare when it is read", plain(p.ChargeLevelMM)), "use 3 or more", own)
}

// limits compares the limits with published figures.
func (u *unwise) limits() {
	l := u.c.Limits.Core()
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		v, wise := row.Of(&l), row.Wise
		u.say(v < wise.Low || v > wise.High, "limits."+row.Key,
			fmt.Sprintf("%s %s is outside %s to %s", plain(v), row.Unit, plain(wise.Low), plain(wise.High)), wise.Better, row.Source)
	}
}
