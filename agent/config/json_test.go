package config

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestJSONHidesPINs(t *testing.T) {
	c := Config{Site: "quarry-road", People: []Person{{Name: "A", PINHash: "$2a$10$secret"}}}
	out, err := c.JSON()
	require.NoError(t, err)
	require.NotContains(t, string(out), "secret")
	require.Contains(t, string(out), `"pin_hash": "(hidden)"`)
	require.Contains(t, string(out), `"site": "quarry-road"`)
	require.Equal(t, "$2a$10$secret", c.People[0].PINHash, "the configuration itself is left alone")
}
