package lease

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"pgregory.net/rapid"
)

// testLine is a line that may refuse to obey for a time.
type testLine struct {
	level gpio.Level
	stuck bool
}

func (l *testLine) Out(to gpio.Level) error {
	if l.stuck {
		return errors.New("stuck")
	}
	l.level = to
	return nil
}

// witness follows a keeper from outside: frames as they were sent, and levels of lines.
// It knows nothing of leases, only what is promised.
type witness struct {
	keeper   *Keeper
	now      time.Duration
	sequence uint64
	bays     []*watched
}

type watched struct {
	row          Row
	charge, beat testLine
	at, span     time.Duration // of the last frame that asked for the relay in good form
	closed       bool          // it obeyed the last frame, which asked to close
	openings     uint32        // by the keeper itself, because no frame came in time
}

func newWitness(t require.TestingT) *witness {
	w := &witness{now: time.Hour}
	var lines []Lines
	for _, row := range []Row{{"bay-1", "GPIO17", "GPIO27"}, {"bay-2", "GPIO22", ""}, {"bay-3", "GPIO23", "GPIO24"}} {
		b := &watched{row: row, charge: testLine{level: gpio.High}, beat: testLine{level: gpio.High}}
		l := Lines{Row: row, Charge: &b.charge}
		if row.Heartbeat != "" {
			l.Beat = &b.beat
		} else {
			b.beat.level = gpio.Low
		}
		w.bays, lines = append(w.bays, b), append(lines, l)
	}
	k, err := NewKeeper(lines)
	require.NoError(t, err)
	w.keeper = k
	w.allLow(t)
	return w
}

// pass lets the keeper's loop run for d, on time.
func (w *witness) pass(d time.Duration) {
	for end := w.now + d; ; {
		next := w.keeper.Next(w.now)
		if next < 0 || w.now+next > end {
			w.now = end
			return
		}
		w.now += max(next, 1)
		w.expire()
	}
}

// expire notes the relays that the keeper has to open by itself.
func (w *witness) expire() {
	w.keeper.Expire(w.now)
	for _, b := range w.bays {
		if b.closed && w.now >= b.at+b.span {
			b.closed = false
			b.openings++
		}
	}
}

func (w *witness) allLow(t require.TestingT) {
	for _, b := range w.bays {
		b.closed = false
		require.True(t, b.charge.stuck || b.charge.level == gpio.Low, "the relay of %s is closed", b.row.Bay)
		require.True(t, b.beat.stuck || b.beat.level == gpio.Low, "the heartbeat of %s is high", b.row.Bay)
	}
}

// handmade is a frame as protocol.go describes it.
func handmade(row Row, sequence uint64, at, span time.Duration, beat byte, trips uint32) []byte {
	b := binary.LittleEndian.AppendUint32([]byte{'b', 'k', 1, 'L'}, crc32.ChecksumIEEE([]byte(row.String())))
	b = binary.LittleEndian.AppendUint64(b, sequence)
	b = binary.LittleEndian.AppendUint64(b, uint64(at))
	b = binary.LittleEndian.AppendUint16(b, uint16(span/time.Millisecond))
	return binary.LittleEndian.AppendUint32(append(b, beat, 0), trips)
}

// TestPromise: whatever frames come, at whatever times, no relay is closed later than
// its last good frame allows, nor by an agent that has not heard of every opening, and
// every broken frame opens all of them.
func TestPromise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWitness(t)
		t.Repeat(map[string]func(*rapid.T){
			"good frame":   w.goodFrame,
			"broken frame": w.brokenFrame,
			"time passes": func(t *rapid.T) {
				w.pass(rapid.SampledFrom([]time.Duration{1, time.Millisecond, time.Second, Longest - 1, Longest, 2 * Longest}).Draw(t, "time"))
			},
			"the loop is late": func(t *rapid.T) {
				w.now += rapid.SampledFrom([]time.Duration{time.Millisecond, time.Second, 2 * Longest}).Draw(t, "time")
				w.expire()
			},
			"the agent goes": func(t *rapid.T) {
				err := w.keeper.Release()
				require.Equal(t, w.stuck(), err != nil, "%v", err)
				w.sequence = 0
				w.allLow(t)
				require.True(t, w.keeper.Free(w.now))
			},
			"a line is stuck": func(t *rapid.T) {
				b := rapid.SampledFrom(w.bays).Draw(t, "bay")
				b.charge.stuck = !b.charge.stuck
				w.pass(again) // and one that is not obeys again
				w.pass(1)
			},
			"": w.check,
		})
	})
}

func (w *witness) stuck() bool {
	for _, b := range w.bays {
		if b.charge.stuck {
			return true
		}
	}
	return false
}

func (w *witness) check(t *rapid.T) {
	for _, b := range w.bays {
		if b.charge.level == gpio.High && !b.charge.stuck {
			require.Less(t, w.now, b.at+b.span, "the relay of %s is closed for too long", b.row.Bay)
			require.Less(t, w.now-b.at, 3*time.Second)
		}
	}
}

func (w *witness) goodFrame(t *rapid.T) {
	b := rapid.SampledFrom(w.bays).Draw(t, "bay")
	age := rapid.SampledFrom([]time.Duration{0, 1, time.Second, Longest - 1, Longest, Longest + 1, time.Hour}).Draw(t, "age")
	span := rapid.SampledFrom([]time.Duration{0, time.Millisecond, time.Second, Longest}).Draw(t, "span")
	knows := rapid.SampledFrom([]bool{true, true, true, false}).Draw(t, "knows")
	beat := rapid.SampledFrom([]byte{0, 1}).Draw(t, "beat")
	w.sequence += rapid.Uint64Range(1, 3).Draw(t, "sequence")
	w.expire() // as the loop does before it reads
	trips, was := b.openings, *b
	if !knows {
		trips++
	}
	var answer [AnswerSize]byte
	require.NoError(t, w.keeper.Answer(w.now, handmade(b.row, w.sequence, w.now-age, span, beat, trips), &answer))
	b.at, b.span = w.now-age, span
	if !knows && !b.charge.stuck {
		require.Equal(t, gpio.Low, b.charge.level, "the agent does not know of every opening")
	}
	closes := knows && span > 0 && age < span
	b.closed = closes && !b.charge.stuck
	if closes && !b.charge.stuck {
		require.Equal(t, gpio.High, b.charge.level, "nothing is wrong with this frame")
	}
	if b.row.Heartbeat != "" && !b.charge.stuck {
		require.Equal(t, beat == 1 && age < 3*time.Second, was.beat.level != b.beat.level, "the heart beats on fresh leases only")
	}
	require.Equal(t, w.sequence, binary.LittleEndian.Uint64(answer[8:]))
	require.Equal(t, b.openings, binary.LittleEndian.Uint32(answer[16:]), "it reports its openings")
	require.Equal(t, b.charge.level == gpio.High || b.charge.stuck && answer[20] == 1, answer[20] == 1, "it reports what it drives")
	require.Equal(t, span > 0 && !closes || !knows || b.charge.stuck, answer[21] != 0, "and why it does not do what was asked")
	require.False(t, w.keeper.Free(w.now))
}

func (w *witness) brokenFrame(t *rapid.T) {
	b := rapid.SampledFrom(w.bays).Draw(t, "bay")
	frame := handmade(b.row, w.sequence+1, w.now, Longest, 1, b.openings)
	breaks := map[string]func(){
		"cut":           func() { frame = frame[:rapid.IntRange(0, 31).Draw(t, "length")] },
		"long":          func() { frame = append(frame, 0) },
		"magic":         func() { frame[rapid.IntRange(0, 3).Draw(t, "byte")]++ },
		"the same":      func() { binary.LittleEndian.PutUint64(frame[8:], w.sequence) },
		"an older":      func() { binary.LittleEndian.PutUint64(frame[8:], 0) },
		"a future one":  func() { binary.LittleEndian.PutUint64(frame[16:], uint64(w.now+1)) },
		"a very old":    func() { frame[23] |= 0x80 },
		"a long lease":  func() { binary.LittleEndian.PutUint16(frame[24:], 3001) },
		"a double beat": func() { frame[26] = 2 },
		"a bit more":    func() { frame[27] = 1 },
	}
	breaks[rapid.SampledFrom([]string{"cut", "long", "magic", "the same", "an older", "a future one", "a very old", "a long lease", "a double beat", "a bit more"}).Draw(t, "break")]()
	w.expire()
	var answer [AnswerSize]byte
	require.ErrorIs(t, w.keeper.Answer(w.now, frame, &answer), ErrPeer)
	require.Zero(t, answer, "there is no answer")
	w.sequence = 0
	w.allLow(t)
}
