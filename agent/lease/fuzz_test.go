package lease

import (
	"bytes"
	"encoding/binary"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
)

// FuzzRequest: whatever is accepted is a frame, and only one text means one thing.
func FuzzRequest(f *testing.F) {
	f.Add(handmade(Row{"bay-1", "GPIO17", "GPIO27"}, 1, time.Hour, Longest, 1, 0))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, frame []byte) {
		var r request
		if r.decode(frame) != nil {
			return
		}
		var again [RequestSize]byte
		r.encode(&again)
		require.Equal(t, frame, again[:])
	})
}

// FuzzAnswer is FuzzRequest for the other direction.
func FuzzAnswer(f *testing.F) {
	var b [AnswerSize]byte
	(&answer{bay: 1, sequence: 2, trips: 3, closed: true, fault: late}).encode(&b)
	f.Add(b[:])
	f.Fuzz(func(t *testing.T, frame []byte) {
		var a answer
		if a.decode(frame) != nil {
			return
		}
		var again [AnswerSize]byte
		a.encode(&again)
		require.Equal(t, frame, again[:])
	})
}

// FuzzPeer plays an agent that sends anything at any time: a step of the clock in ms,
// the length of a frame and the frame, again and again. No relay is closed for longer
// than the time that is written in the last frame for it, and none after a frame that
// is not answered.
func FuzzPeer(f *testing.F) {
	row := Row{"bay-1", "GPIO17", "GPIO27"}
	step := func(ms uint16, frame []byte) []byte {
		return append(append(binary.LittleEndian.AppendUint16(nil, ms), byte(len(frame))), frame...)
	}
	one := handmade(row, 1, time.Hour, Longest, 1, 0)
	f.Add(step(1, one))
	f.Add(bytes.Join([][]byte{step(1, one), step(1000, handmade(row, 2, time.Hour+time.Second, Longest, 1, 0))}, nil))
	f.Add(bytes.Join([][]byte{step(1, one), step(4000, handmade(row, 2, time.Hour+time.Second, Longest, 1, 0)), step(0, handmade(row, 3, time.Hour+2*time.Second, Longest, 1, 1))}, nil))
	f.Add(bytes.Join([][]byte{step(1, one), step(1, one)}, nil))
	f.Fuzz(func(t *testing.T, talk []byte) {
		w := newWitness(t)
		b := w.bays[0]
		var until time.Duration // the relay may be closed
		for len(talk) >= 3 {
			w.pass(time.Duration(binary.LittleEndian.Uint16(talk)) * time.Millisecond)
			size := min(int(talk[2]), len(talk)-3)
			frame := talk[3 : 3+size]
			talk = talk[3+size:]
			require.False(t, b.charge.level == gpio.High && w.now >= until, "closed for too long")
			var answer [AnswerSize]byte
			if err := w.keeper.Answer(w.now, frame, &answer); err != nil {
				require.ErrorIs(t, err, ErrPeer)
				w.allLow(t)
				continue
			}
			require.Len(t, frame, 32)
			if bytes.Equal(frame[4:8], one[4:8]) {
				at := time.Duration(binary.LittleEndian.Uint64(frame[16:]))
				until = at + time.Duration(binary.LittleEndian.Uint16(frame[24:]))*time.Millisecond
				require.LessOrEqual(t, until, w.now+3*time.Second)
			}
		}
		w.pass(3 * time.Second)
		for _, b := range w.bays {
			require.Equal(t, gpio.Low, b.charge.level)
		}
	})
}

// liar is a keeper that answers anything.
type liar struct {
	talk    []byte
	dropped int
	asked   [RequestSize]byte
	said    [AnswerSize]byte
}

func (l *liar) Exchange(request *[RequestSize]byte, answer *[AnswerSize]byte) error {
	l.asked = *request
	if len(l.talk) == 0 {
		return errors.New("silent")
	}
	if l.talk[0]&1 == 1 { // a good one but for what follows
		copy(answer[:], []byte{'b', 'k', 1, 'S'})
		copy(answer[4:16], request[4:16])
		clear(answer[16:])
		copy(answer[16:], l.talk[1:])
	} else {
		copy(answer[:], l.talk[1:])
	}
	l.said = *answer
	l.talk = l.talk[min(len(l.talk), 9):]
	return nil
}

func (l *liar) Drop() { l.dropped++ }

// FuzzKeeper plays a keeper that answers anything: the client takes a relay for closed
// only by an answer for its own frame that reports so, and drops the connection after
// each that it cannot take.
func FuzzKeeper(f *testing.F) {
	f.Add([]byte{1, 0, 0, 0, 0, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 1, 0, 0, 0, 'x', 'y'})
	f.Add([]byte("\x00bk\x01S"))
	f.Fuzz(func(t *testing.T, talk []byte) {
		l := &liar{talk: talk}
		r := NewClient(l).Relay(Row{"bay-1", "GPIO17", "GPIO27"})
		for range len(talk)/9 + 2 {
			silent, dropped := len(l.talk) == 0, l.dropped
			err := r.Lease(time.Hour, Longest, true)
			ours := !silent && bytes.Equal(l.said[:16], append([]byte{'b', 'k', 1, 'S'}, l.asked[4:16]...))
			require.Equal(t, ours && l.said[20] == 1 && l.dropped == dropped, r.Closed())
			if r.Closed() && err == nil {
				require.Zero(t, l.said[21], "a fault is not passed over")
			}
			if !ours {
				require.ErrorIs(t, err, ErrSilent)
			}
			require.Equal(t, errors.Is(err, ErrSilent) && !silent, l.dropped > dropped)
		}
	})
}

// FuzzList: a list that is accepted is the same after it was written and read again,
// and from none come lines that no relay may have.
func FuzzList(f *testing.F) {
	f.Add("user 998\nbay-1 GPIO17 GPIO27\nold bay-2 GPIO16 -\n")
	f.Add("# nothing\n\n user\t1 \r\nold GPIO17 -\nuser GPIO18 GPIO19\n")
	f.Add("user -1\nbay-1 GPIO017 -\nbay-1 GPIO2 -\nbay-1 GPIO17 -GPIO17\nuser 1\nuser 2")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := ParseList("lines", []byte(text))
		used := map[string]bool{}
		for _, r := range list.Rows {
			for _, l := range r.Lines() {
				require.False(t, used[l] || used["bay "+r.Bay], "twice")
				used[l] = true
			}
			used["bay "+r.Bay] = true
		}
		for _, r := range append(list.Rows, list.Old...) {
			for _, l := range r.Lines() {
				require.Regexp(t, `^GPIO(9|1[0-36-9]|2[0-7])$`, l)
			}
		}
		if err != nil {
			require.Regexp(t, `^lines:\d+: value `, err.Error())
			return
		}
		again, err := ParseList("lines", []byte(list.String()))
		require.NoError(t, err)
		require.Equal(t, list, again)
	})
}
