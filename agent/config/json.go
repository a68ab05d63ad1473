package config

import (
	"slices"

	"github.com/goccy/go-yaml"
)

// JSON returns the whole configuration, defaults included, under the names used in
// the file. It hides PIN hashes. A configuration contains no other secrets; it only
// names the files that hold them.
func (c *Config) JSON() ([]byte, error) {
	shown := *c
	shown.Limits = Limits{}
	for _, l := range c.LimitsSet() {
		shown.Limits[l.Key] = l.Value
	}
	shown.People = slices.Clone(c.People)
	for i := range shown.People {
		shown.People[i].PINHash = "(hidden)"
	}
	return yaml.MarshalWithOptions(&shown, yaml.JSON())
}
