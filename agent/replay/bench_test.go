package replay_test

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"testing"
	"time"

	"bayward/agent/replay"
)

// secondly is a trace at 1 Hz of all columns: nights of charge and days of rest,
// with the digits that a logger writes. Invented; only its shape matters.
func secondly(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("time_s,pack_v,current_a,pack_c,ambient_c,level_mm\n")
	for s := range rows {
		day := math.Mod(float64(s), 86400)
		v, a := 25.4, 0.0
		if day < 36000 {
			v, a = 26+3.5*day/36000, 40*math.Exp(-day/15000)
		}
		fmt.Fprintf(&b, "%d,%.3f,%.2f,%.2f,%.2f,%.1f\n", s, v, a, 25+day/8640, 20.0, 9.5)
	}
	return b.Bytes()
}

// Rows and bytes per second, with allocations: memory stays flat, because nothing
// of a row is kept.
func BenchmarkReplay(b *testing.B) {
	const rows = 200000
	text := secondly(rows)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		tr, err := replay.Open("t.csv", bytes.NewReader(text))
		if err != nil {
			b.Fatal(err)
		}
		s := pack(12, 225, 1.277)
		s.Limits.StaleAfter = 15 * time.Minute
		if err := tr.Fit(&s); err != nil {
			b.Fatal(err)
		}
		if _, err := replay.Run(tr, s, io.Discard, replay.Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
