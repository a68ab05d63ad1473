package words

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

var verb = regexp.MustCompile(`%\+?(\.\d)?(\[\d\])?[a-z%]`)

// TestEveryLanguageSaysEverything: every language has the same keys with the same
// values in them, and no text is empty.
func TestEveryLanguageSaysEverything(t *testing.T) {
	base := catalogues[English]().texts
	require.Contains(t, Languages(), "es", "the search for languages is broken")
	for _, name := range Languages() {
		other := catalogues[name]().texts
		for key, text := range base {
			require.NotEmpty(t, other[key], "%s.json has no %s", name, key)
			require.Equal(t, verbs(text), verbs(other[key]), "%s.json: the values of %s", name, key)
		}
		for key := range other {
			require.Contains(t, base, key, "%s.json has a key that nobody else has", name)
		}
	}
}

func verbs(text string) []string {
	all := verb.FindAllString(text, -1)
	slices.Sort(all)
	return all
}

// voices returns every combination of language and units.
func voices() []Voice {
	var all []Voice
	for _, language := range Languages() {
		for _, units := range Systems() {
			all = append(all, New(language, units))
		}
	}
	return all
}

func whole(t *testing.T, text string, about ...any) {
	t.Helper()
	require.NotEmpty(t, text, "%v", about)
	require.NotContains(t, text, "⟦", "%v", about)
	require.NotContains(t, text, "%!", "%v", about)
}

// TestEveryFindingIsExplained: in every language and system of units, whatever
// its reason and fault.
func TestEveryFindingIsExplained(t *testing.T) {
	for _, v := range voices() {
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			whole(t, v.Title(c), c)
			whole(t, v.When(c), c)
			whole(t, v.Say("finding."+c.String()+".until"), c)
			for reason := interlock.Usual; reason < interlock.NumReasons; reason++ {
				for _, fault := range append(reading.Faults(), reading.None, reading.Missing) {
					for _, value := range []float64{-4.25, 0, 4.25, math.NaN()} {
						e := interlock.Evidence{Value: value, Limit: 17.5, Fault: fault, Reason: reason}
						whole(t, v.Evidence(c, e), c, reason, fault)
						whole(t, v.WhatToDo(c, e), c, reason)
					}
				}
			}
		}
	}
}

// TestEveryStateIsSaid: stages, waits, faults and urgencies.
func TestEveryStateIsSaid(t *testing.T) {
	limits, pack := bay.DefaultLimits(), bay.Pack{Cells: 12}
	for _, v := range voices() {
		for stage := bay.StageUnknown; stage < bay.NumStages; stage++ {
			for wait := cooldown.NothingLeft; wait < cooldown.NumReasons; wait++ {
				for _, yes := range []bool{false, true} {
					p := &bay.Picture{Limits: &limits, Pack: &pack, Stage: stage, Now: time.Hour}
					p.Permit.Granted, p.Charge.Full, p.Charge.Flowing = yes, yes, !yes
					p.Cool.WaitingFor, p.Cool.ReadyKnown, p.Water.ForecastOK, p.Visit.OnlyCoverPlates = wait, yes, yes, yes
					for _, text := range []string{v.Says(p), v.Next(p), v.ToDo(p), v.Say("stage." + stage.String())} {
						whole(t, text, stage, wait)
					}
				}
			}
		}
		for _, f := range append(reading.Faults(), reading.None, reading.Missing) {
			whole(t, v.Fault(f))
		}
		for _, u := range []Urgency{Danger, Look, Todo, AtPack, OnHold, Runs, Fine} {
			whole(t, v.Say("urgency."+u.Class))
		}
		for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
			whole(t, v.Sensor(s), s)
		}
		for i := range bay.LimitTable {
			whole(t, v.Say("limit."+bay.LimitTable[i].Key+".better"), bay.LimitTable[i].Key)
		}
		whole(t, v.Say("lang.name"))
		for _, name := range Systems() {
			whole(t, v.Say("units."+name))
		}
	}
}

// TestUnitsForPeople: NIST SP 811 (2008), appendix B: 1 in = 25.4 mm, 1 US
// fluid ounce = 29.57353 ml, and °F = 1.8 °C + 32.
func TestUnitsForPeople(t *testing.T) {
	v := New("en", "us")
	require.Equal(t, "1.00 in", v.Height(25.4))
	require.Equal(t, "1.0 fl oz (30 ml)", v.Volume(29.57353))
	require.Equal(t, "104 °F", v.Temperature(40))
	require.Equal(t, "-40 °F", v.Temperature(-40))
	require.Equal(t, "18.0 °F", v.Degrees(10))
	require.InDelta(t, 25.4, v.Units().Length.SI(1), 1e-12)
	require.InDelta(t, 37.7778, v.Units().Temperature.SI(100), 1e-4)
}

// TestUnknownNamesAreTheFirst: a cookie may contain anything.
func TestUnknownNamesAreTheFirst(t *testing.T) {
	v := New("xx", "stones")
	require.Equal(t, English, v.Language())
	require.Equal(t, "si", v.Units().Name)
	require.False(t, IsLanguage("xx"))
	require.False(t, IsSystem("stones"))
}

// TestWordsAreSorted: sorted files keep two developers' changes apart.
func TestWordsAreSorted(t *testing.T) {
	for _, name := range Languages() {
		data, err := files.ReadFile(name + ".json")
		require.NoError(t, err)
		decoder, keys := json.NewDecoder(strings.NewReader(string(data))), []string(nil)
		for {
			token, err := decoder.Token()
			if err != nil {
				break
			}
			if text, ok := token.(string); ok && decoder.InputOffset() > 0 {
				keys = append(keys, text)
			}
		}
		var only []string
		for i := 0; i < len(keys); i += 2 {
			only = append(only, keys[i])
		}
		require.True(t, slices.IsSorted(only), name)
	}
}

// TestEveryPartOfAnErrorIsWorded: of errors that are joined or wrapped, each that has words.
func TestEveryPartOfAnErrorIsWorded(t *testing.T) {
	one, other, foreign := Fail("usage.no-file", "a.csv"), Fail("usage.which-logbook"), errors.New("disk full")
	v := New("es", "")
	in := func(err error) string { return v.Error(err) }
	require.NotEqual(t, one.Error(), in(one))
	require.Equal(t, in(one)+"\n"+in(other), in(errors.Join(one, other)))
	require.Equal(t, in(one)+"\ndisk full\n"+in(one), in(errors.Join(one, foreign, one)))
	require.Equal(t, "x: "+in(other), in(fmt.Errorf("x: %w", other)))
	require.Equal(t, in(one)+" <"+in(other)+">", in(fmt.Errorf("%w <%w>", one, other)))
	require.Equal(t, "disk full", in(foreign))
	require.Equal(t, errors.Join(one, other).Error(), EnglishSI().Error(errors.Join(one, other)))
}
