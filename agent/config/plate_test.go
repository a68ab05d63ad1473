package config

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/config/exampletest"
)

// withPlate is small with more keys of its pack, on the lines from 22 on.
func withPlate(keys string) []byte { return []byte(small + keys) }

func TestPlate(t *testing.T) {
	c, err := Parse("f", withPlate(`    type: 3 PzS 225
    serial: 00417
    in_service: 2020-02-29
    warranty_until: 2025-02-28
    weight_kg: 190
    numbered_from: negative
    plug: 160 A, keyed for 24 V, −20 °C
    fits_charger: "24 V"
`))
	require.NoError(t, err)
	p := c.Packs[0].Plate
	require.Equal(t, Plate{
		Type: "3 PzS 225", Serial: "00417", InService: "2020-02-29", WarrantyUntil: "2025-02-28", WeightKg: 190,
		NumberedFrom: "negative", Plug: "160 A, keyed for 24 V, −20 °C", FitsCharger: "24 V",
	}, p)
	began, ends := p.Days()
	require.Equal(t, time.Date(2020, 2, 29, 0, 0, 0, 0, time.UTC), began)
	require.Equal(t, time.Date(2025, 2, 28, 0, 0, 0, 0, time.UTC), ends)
	began, ends = (&Plate{}).Days()
	require.True(t, began.IsZero() && ends.IsZero(), "what is left out is not known")
}

// TestPlateDecidesNothing: the core's set-up is the same with a plate and without one.
func TestPlateDecidesNothing(t *testing.T) {
	bare, err := Parse("f", []byte(small))
	require.NoError(t, err)
	full, err := Parse("f", withPlate("    type: x\n    in_service: 2090-01-01\n    warranty_until: 2090-01-01\n    weight_kg: 1\n    numbered_from: negative\n    plug: x\n    fits_charger: x\n"))
	require.NoError(t, err)
	a, err := bare.Setups()
	require.NoError(t, err)
	b, err := full.Setups()
	require.NoError(t, err)
	require.Equal(t, a, b)
}

func TestBadPlates(t *testing.T) {
	const day = "must be a day such as 2021-05-04: year, month and day, from 1950-01-01 to 2099-12-31"
	const text = "must be as on the plate or in the papers: 1 to 80 printable characters, without blanks around them"
	for _, row := range []struct{ keys, want string }{
		{"type: ' 3 PzS'", `type: value " 3 PzS" is not accepted: ` + text},
		{"type: ''", `type: value "" is not accepted: ` + text},
		{"serial: 12.30", "serial: value 12.30 is not accepted: must be text, in quotes where it looks like a number or like true or false"},
		{"serial: \"a\\tb\"", `serial: value "a\tb" is not accepted: ` + text},
		{"plug: " + strings.Repeat("ü", 81), `plug: value "`},
		{"fits_charger: {curve: iui}", "fits_charger: value (keys with values) is not accepted: must be text"},
		{"in_service: 2021-02-29", `in_service: value "2021-02-29" is not accepted: ` + day},
		{"in_service: 04.05.2021", `in_service: value "04.05.2021" is not accepted: ` + day},
		{"in_service: 2021", "in_service: value 2021 is not accepted: " + day},
		{"in_service: 2021-5-4", `in_service: value "2021-5-4" is not accepted: ` + day},
		{"in_service: 1949-12-31", `in_service: value "1949-12-31" is not accepted: ` + day},
		{"warranty_until: 2100-01-01", `warranty_until: value "2100-01-01" is not accepted: ` + day},
		{"warranty_until: 0021-05-04", `warranty_until: value "0021-05-04" is not accepted: ` + day},
		{"in_service: 2021-05-04\n    warranty_until: 2021-05-03", `warranty_until: value "2021-05-03" is not accepted: must not be before in_service (2021-05-04)`},
		{"weight_kg: 0", "weight_kg: value 0 is not accepted: must be 1 to 10000 kg"},
		{"weight_kg: 190 kg", `weight_kg: value "190 kg" is not accepted: must be a number, without quotes and unit`},
		{"numbered_from: plus", `numbered_from: value "plus" is not accepted: must be positive or negative`},
		{"seriel: 1", "seriel: unknown key; did you mean serial?"},
	} {
		_, err := Parse("f", withPlate("    "+row.keys+"\n"))
		require.ErrorContains(t, err, "packs[0]."+row.want, row.keys)
		require.Regexp(t, `^f:2[23]: field packs\[0\]\.`, err.Error())
		require.NotContains(t, err.Error(), "\n", "one slip, one complaint")
		inEveryLanguage(t, err)
	}
}

// TestPlateOfTheExample: the plate that the example shows in comments loads.
func TestPlateOfTheExample(t *testing.T) {
	text := exampletest.Example(t)
	on := text
	for _, key := range []string{"type", "serial", "in_service", "warranty_until", "weight_kg", "numbered_from", "plug", "fits_charger"} {
		require.Contains(t, on, "\n    # "+key+": ")
		on = strings.Replace(on, "\n    # "+key+": ", "\n    "+key+": ", 1)
	}
	c, err := Parse("example", []byte(on))
	require.NoError(t, err)
	require.Equal(t, "00417", c.Packs[0].Serial)
	require.InDelta(t, 190, c.Packs[0].WeightKg, 0)
	require.NoError(t, judged(t, compiled(t), on), "an editor takes it, too")
}
