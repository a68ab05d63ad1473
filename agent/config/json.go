package config

import (
	"slices"

	"github.com/goccy/go-yaml"
)

// JSON is the whole configuration, defaults included, under the names that the
// file has. PIN hashes are hidden; other secrets are never in a configuration,
// which only names the files that hold them.
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
