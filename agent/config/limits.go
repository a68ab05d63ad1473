package config

import (
	"fmt"

	"bayward/agent/bay"
)

// Limits holds the limits set in the file, by key. A limit that is not set keeps its
// default; bay.LimitTable has a row for each.
type Limits map[string]float64

// Keys lists the keys that the file may set.
func (Limits) Keys() []string {
	keys := make([]string, len(bay.LimitTable))
	for i := range bay.LimitTable {
		keys[i] = bay.LimitTable[i].Key
	}
	return keys
}

// Core returns the defaults overridden by the limits in the file.
func (l Limits) Core() bay.Limits {
	out := bay.DefaultLimits()
	for key, v := range l {
		if row := bay.LimitNamed(key); row != nil {
			row.Set(&out, v)
		}
	}
	return out
}

func (c *checker) limits(cfg *Config) {
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		if v, ok := cfg.Limits[row.Key]; ok {
			c.number("limits."+row.Key, v, ranged(row.Low, row.High, row.Unit))
		}
	}
	l := cfg.Limits.Core()
	for i := range bay.LimitTable {
		if row := &bay.LimitTable[i]; row.Below != "" {
			c.below(row, bay.LimitNamed(row.Below), &l)
		}
	}
	for i, p := range cfg.Packs {
		key := "limits.charge_max_factor"
		if c.usable(key, fmt.Sprintf("packs[%d].charge_factor", i)) && l.ChargeMaxFactor <= p.ChargeFactor {
			c.reject(key, say("must-be-above-the-charge-factor-of", plain(p.ChargeFactor), p.Name))
		}
	}
}

// below requires that the limit for resuming is below the limit for stopping. Either
// may be a default, so the complaint names both.
func (c *checker) below(low, high *bay.Limit, l *bay.Limits) {
	lowField, highField := "limits."+low.Key, "limits."+high.Key
	if low.Of(l) < high.Of(l) || !c.usable(lowField, highField) {
		return
	}
	if c.present(lowField) {
		c.reject(lowField, say("must-be-below", high.Key, plain(high.Of(l))))
		return
	}
	c.reject(highField, say("must-be-above-whose-default-is-set", low.Key, plain(low.Of(l))))
}

// Limit is one limit in effect.
type Limit struct {
	Key   string  `json:"key"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	Set   bool    `json:"set"` // by the file; otherwise the default
	Basis string  `json:"basis"`
}

// LimitsSet lists all limits in the order of the example, defaults included.
func (c *Config) LimitsSet() []Limit {
	l := c.Limits.Core()
	var out []Limit
	for i := range bay.LimitTable {
		row := &bay.LimitTable[i]
		_, set := c.Limits[row.Key]
		out = append(out, Limit{row.Key, row.Of(&l), row.Unit, set, row.Source})
	}
	return out
}
