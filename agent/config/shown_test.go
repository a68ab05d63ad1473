package config

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestJSONHidesWhatMayBeATokenInAnAddress: and in what is sent to it.
func TestJSONHidesWhatMayBeATokenInAnAddress(t *testing.T) {
	c := Config{
		MQTT: &MQTT{Broker: "wss://b.example/secret", Fallback: []string{"ssl://c.example:8883"}},
		Notify: &Notify{Webhooks: []Webhook{{
			Name: "hook", URL: "https://h.example/secret?secret", Body: "secret",
			Headers: []Header{{Name: "X", Value: "secret"}, {Name: "Y", ValueFile: "/etc/y"}},
		}}},
	}
	out, err := c.JSON()
	require.NoError(t, err)
	require.NotContains(t, string(out), "secret")
	for _, want := range []string{`"wss://b.example/…"`, `"ssl://c.example:8883"`, `"https://h.example/…"`, `"value": "(hidden)"`, `"/etc/y"`} {
		require.Contains(t, string(out), want)
	}
	require.Equal(t, "secret", c.Notify.Webhooks[0].Headers[0].Value, "the configuration itself is left alone")
	require.Equal(t, "https://h.example/secret?secret", c.Notify.Webhooks[0].URL)
}

func TestJSONHidesPINs(t *testing.T) {
	c := Config{Site: "quarry-road", People: []Person{{Name: "A", PINHash: "$2a$10$secret"}}}
	out, err := c.JSON()
	require.NoError(t, err)
	require.NotContains(t, string(out), "secret")
	require.Contains(t, string(out), `"pin_hash": "(hidden)"`)
	require.Contains(t, string(out), `"site": "quarry-road"`)
	require.Equal(t, "$2a$10$secret", c.People[0].PINHash, "the configuration itself is left alone")
}
