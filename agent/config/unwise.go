package config

import (
	"fmt"
	"net"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/electrolyte"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// Warning is a setting that is accepted but unwise.
type Warning struct {
	Field string `json:"field"` // such as bays[0].wiring.relay.feedback
	Says  string `json:"says"`  // the situation, with figures
	Do    string `json:"do"`    // what would be better
	Basis string `json:"basis"` // the source of the figure, or "the project's own"
}

// Sources that are not published, as texts of agent/words.
const (
	own      = "own"
	practice = "practice"
	memory   = "memory"
)

// Warnings lists the unwise settings, in the order of the example and in the
// language of the reader. The file has passed Parse.
func (c *Config) Warnings(v words.Voice) []Warning {
	u := &unwise{c: c, voice: v}
	u.site()
	u.shared()
	u.modbus()
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
	voice words.Voice
	found []Warning
}

// say adds a warning: the texts "unwise.NAME" and "unwise.NAME.do" of agent/words,
// with the same values. The title of a source is the same in every language.
func (u *unwise) say(bad bool, field, name, basis string, values ...any) {
	if bad {
		key := "unwise." + name
		if basis == own || basis == practice || basis == memory {
			basis = u.voice.Say("unwise.basis." + basis)
		}
		u.found = append(u.found, Warning{field, u.voice.Say(key, values...), u.voice.Say(key+".do", values...), basis})
	}
}

func (u *unwise) site() {
	c := u.c
	u.say(!loopback(c.HTTP.Listen) && c.HTTP.WebConfigFile == "", "http.listen",
		"http", practice, c.HTTP.Listen)
	m := c.MQTT
	u.say(m != nil && m.Username != "" && !strings.HasPrefix(m.Broker, "ssl://") && !strings.HasPrefix(m.Broker, "wss://"), "mqtt.broker",
		"broker", practice)
	u.say(m == nil && c.Notify == nil, "mqtt", "nobody", own)
	u.say(c.FirstAid.EmergencyPhone == "" || c.FirstAid.Eyewash == "", "first_aid", "aid", own)
}

// shared: a pack is in one place, and its history follows it.
func (u *unwise) shared() {
	first := map[string]string{}
	for i := range u.c.Bays {
		b := &u.c.Bays[i]
		if len(b.Packs) > 0 {
			continue
		}
		u.say(first[b.Pack] != "", fmt.Sprintf("bays[%d].pack", i), "shared", own, b.Pack, first[b.Pack])
		first[b.Pack] = b.Name
	}
}

// modbus: a tick asks each line for all its registers, and the answers of a line that
// needs longer are as old as it needs.
func (u *unwise) modbus() {
	const tick = time.Second
	for i := range u.c.Modbus {
		l, requests, all := &u.c.Modbus[i], 0, time.Duration(0)
		for j := range u.c.Bays {
			for k := range u.c.Bays[j].Wiring.Registers {
				r := &u.c.Bays[j].Wiring.Registers[k]
				if r.Line == l.Name {
					requests += r.Requests()
					all += time.Duration(r.Requests()) * l.Takes()
				}
			}
		}
		u.say(all > tick, fmt.Sprintf("modbus[%d]", i), "modbus", "Modbus over Serial Line V1.02, section 2.5.1", l.Name, float64(requests), all.Seconds())
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
	u.say(curve == electrolyte.CurveUnknown, field+".charger", "charger", "EN IEC 62485-3, table of gas currents; see bayward airflow")
	u.say(!w.Has(reading.PackCurrent) && !w.Has(reading.ChargerComplete), at+".current", "blind", "TM 5-4320-258-12 for steady readings; see README, How it knows")
	u.say(!w.Has(reading.PackCurrent) && w.Has(reading.ChargerComplete), at+".current", "current", own)
	u.say(!w.Has(reading.AmbientTemperature), at+".temperature.ambient", "ambient", own)
	if r := w.Relay; r != nil {
		u.say(!w.Has(reading.ContactorFeedback), at+".relay.feedback", "feedback", practice)
		u.say(r.Feedback != nil && !r.Feedback.Breaks(), at+".relay.feedback.normally", "mirror", "IEC 60947-4-1, annex F")
		u.say(r.NoHeartbeat != "", at+".relay.no_heartbeat", "heartbeat", practice, r.NoHeartbeat)
	}
	u.say(w.Complete != nil && w.Complete.Breaks(), at+".charger_complete.normally", "complete", own)
	u.say(!w.Has(reading.Airflow) && !w.Has(reading.Hydrogen), at+".airflow", "air", "UFC 3-410-04N: fan failure must block charging")
	for i := range w.Registers {
		r := &w.Registers[i]
		u.say(!w.ShowsLife(r), fmt.Sprintf("%s.registers[%d]", at, i), "register", own, r.Unit, r.Line)
	}
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
	u.say(top < p.ChargeLevelMM+2, field+".rods", "rod", own, top, p.ChargeLevelMM)
}

// ventedMM is the room that a fill leaves under the bottom of the vent well after the
// level has risen.
const ventedMM = 1

func (u *unwise) pack(field string, p *Pack) {
	l := u.c.Limits.Core()
	rise := electrolyte.LevelRiseMM(p.ElectrolyteML, p.FreeSurfaceCM2, 25, l.ChargeMaxC, p.FullGravity) + l.GasHoldUpMM
	room := p.VentWellMM - p.FillMarkMM
	u.say(room < rise+ventedMM, field+".fill_mark_mm", "room",
		"expansion of sulfuric acid: Myhre et al. (1998); gas hold-up from memory", room, l.ChargeMaxC, rise, p.VentWellMM-rise-ventedMM, p.VentWellMM-rise-ventedMM)
	u.say(p.FullGravity < 1.24 || p.FullGravity > 1.31, field+".full_gravity", "gravity", memory, p.FullGravity)
	u.say(p.ChargeFactor > 1.2, field+".charge_factor", "factor",
		"from memory; California Title 20 allows large chargers 1.10 to 1.15 (from memory)", p.ChargeFactor)
	u.say(p.ProbeCell == 0, field+".probe_cell", "probe", own)
	u.say(p.ChargeLevelMM < 2, field+".charge_level_mm", "level", own, p.ChargeLevelMM)
}

// limits compares the limits with published figures.
func (u *unwise) limits() {
	l := u.c.Limits.Core()
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		v, wise := row.Of(&l), row.Wise
		if v < wise.Low || v > wise.High {
			says := u.voice.Say("unwise.limit", v, u.voice.Unit(row.Unit), wise.Low, wise.High)
			u.found = append(u.found, Warning{"limits." + row.Key, says, u.voice.Say("limit." + row.Key + ".better"), row.Source})
		}
	}
}
