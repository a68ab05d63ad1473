package replay_test

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/reading"
	"bayward/agent/replay"
)

// faults are what a field may have instead of a number.
var faults = func() string {
	var all []string
	for _, f := range reading.Faults() {
		all = append(all, f.String())
	}
	return strings.Join(all, ", ")
}()

func TestBadTraces(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "t.csv:1: the file is empty; accepted: a header line such as time_s,pack_v,current_a,pack_c,ambient_c,level_mm"},
		{"only a comment", "# hello\n", "t.csv:1: the file is empty; accepted: a header line such as time_s,pack_v,current_a,pack_c,ambient_c,level_mm"},
		{"unknown column", "time_s,volts\n", `t.csv:1: field header: value "volts" is not accepted: a column must be one of time_s, pack_v, current_a, pack_c, ambient_c, level_mm, hydrogen_pct, airflow, contactor_closed, charger_complete, level_high_mm, pack`},
		{"no time", "pack_v\n1\n", `t.csv:1: field header: value "pack_v" is not accepted: a column time_s is required`},
		{"column twice", "time_s,pack_v,pack_v\n", `t.csv:1: field header: value "pack_v" is not accepted: each column may appear only once`},
		{"no row", "time_s,pack_v\n", "t.csv:1: the trace has a header but no rows; at least one is required"},
		{"time goes back", "# c\ntime_s,pack_v\n10,25\n9,25\n", `t.csv:4: field time_s: value "9" is not accepted: time must not go back: the previous row is at 10 s`},
		{"no time in a row", "time_s,pack_v\n,25\n", `t.csv:2: field time_s: a value is missing: seconds between -9e9 and 9e9`},
		{"letters", "time_s,pack_v\n1,25\n2,abc\n", `t.csv:3: field pack_v: value "abc" is not accepted: a number, nothing for no reading, or a fault of the sensor: ` + faults},
		{"not a number", "time_s,level_mm\n1,NaN\n", `t.csv:2: field level_mm: value "NaN" is not accepted: a number, nothing for no reading, or a fault of the sensor: ` + faults},
		{"infinite", "time_s,level_mm\n1,1e999\n", `t.csv:2: field level_mm: value "1e999" is not accepted: a number, nothing for no reading, or a fault of the sensor: ` + faults},
		{"no fault", "time_s,pack_v\n1,none\n", `t.csv:2: field pack_v: value "none" is not accepted: a number, nothing for no reading, or a fault of the sensor: ` + faults},
		{"a fault of the time", "time_s,pack_v\n1,25\nopen,25\n", `t.csv:3: field time_s: value "open" is not accepted: seconds between -9e9 and 9e9`},
		{"half a level", "time_s,level_high_mm\n1,5\n", `t.csv:1: field header: value "time_s,level_high_mm" is not accepted: a column level_mm is required`},
		{"a pack where there is one", "time_s,pack\n1,lift-a\n", `t.csv:1: field header: value "pack" is not accepted: this column is for a bay that recognises its packs by their sensors; name the bay with --bay and no pack`},
		{"too few fields", "time_s,pack_v,pack_c\n1,2\n", "t.csv:2: wrong number of fields; accepted: as many fields as the header, separated by commas"},
		{"broken gzip", "\x1f\x8bxxxxxxxxxxxxxx", "t.csv:1: the file begins like gzip but is not: gzip: invalid header"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr, err := replay.Open("t.csv", strings.NewReader(c.text))
			s := pack(12, 225, 1.277)
			if err == nil {
				err = tr.Fit(&s)
			}
			if err == nil {
				_, err = replay.Run(tr, s, io.Discard, replay.Options{})
			}
			require.EqualError(t, err, c.want)
			_, ok := errors.AsType[*replay.TraceError](err)
			require.True(t, ok, "the input is at fault")
			inEveryLanguage(t, err)
		})
	}
}

const small = "# comment\nlevel_mm, pack_v,time_s,pack_c\n5,25.2,0,25\n5,25.2,60,25\n,,120,\n-1,25.2,180,25\n"

func TestSameBytesEachTime(t *testing.T) {
	once := func(r io.Reader) string {
		tr, err := replay.Open("t.csv", r)
		require.NoError(t, err)
		s := pack(12, 225, 1.277)
		s.Limits.StaleAfter = 15 * 60e9
		require.NoError(t, tr.Fit(&s))
		var out bytes.Buffer
		_, err = replay.Run(tr, s, &out, replay.Options{})
		require.NoError(t, err)
		return out.String()
	}
	first := once(strings.NewReader(small))
	require.Equal(t, first, once(strings.NewReader(small)))
	require.Contains(t, first, `"time_s":60,"stage":"waiting","permit":"granted"`)
	require.Contains(t, first, `"time_s":180,"stage":"waiting","permit":"blocked","findings":["plates-bare"]`)
	var z bytes.Buffer
	w := gzip.NewWriter(&z)
	_, err := w.Write([]byte(small))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	require.Equal(t, first, once(&z), "gzip")
}

func FuzzTrace(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte("time_s\n0\n1e9\n"))
	f.Add([]byte("time_s,pack_v,current_a,pack_c,ambient_c,level_mm\n-1e9,1e300,-1e300,1e300,1,1\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tr, err := replay.Open("t.csv", bytes.NewReader(data))
		if err != nil {
			return
		}
		s := pack(12, 225, 1.277)
		if err = tr.Fit(&s); err == nil {
			_, err = replay.Run(tr, s, io.Discard, replay.Options{})
		}
		if err != nil {
			require.Contains(t, err.Error(), "t.csv")
		}
	})
}
