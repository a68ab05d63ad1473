package sim

import (
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
	"pgregory.net/rapid"
)

func drive(t testing.TB, p gpio.PinIO, l gpio.Level) {
	t.Helper()
	if err := p.Out(l); err != nil {
		t.Fatal(err)
	}
}

func TestContactorTakesItsTime(t *testing.T) {
	b, y := fitted(t)
	relay, feedback := mustPin(t, b, "GPIO17"), mustPin(t, b, "GPIO27")
	if err := feedback.In(gpio.PullUp, gpio.NoEdge); err != nil {
		t.Fatal(err)
	}
	drive(t, relay, gpio.High)
	b.Advance(pullIn - time.Millisecond)
	if y.Truth().ContactorClosed || feedback.Read() == gpio.Low {
		t.Error("closed before its time")
	}
	b.Advance(time.Millisecond)
	if !y.Truth().ContactorClosed || feedback.Read() == gpio.High {
		t.Error("not closed in time")
	}
	drive(t, relay, gpio.Low)
	b.Advance(dropOut)
	if y.Truth().ContactorClosed || feedback.Read() == gpio.Low {
		t.Error("not open in time")
	}
}

// TestReadingAnOutputReleasesIt: when an output is read, the hardware driver turns it
// into an input; a program that reads it loses its relay here too.
func TestReadingAnOutputReleasesIt(t *testing.T) {
	b, y := fitted(t)
	relay := mustPin(t, b, "GPIO17")
	drive(t, relay, gpio.High)
	_ = relay.Read()
	b.Advance(time.Second)
	if y.Truth().ContactorClosed {
		t.Error("still closed")
	}
}

// TestHeartbeatTimer: a retriggerable timer relay drops the contactor when the
// heartbeat stops, and only edges count.
func TestHeartbeatTimer(t *testing.T) {
	b := NewBench()
	o, w := common("bay-1")
	w.Relay.Heartbeat, o.HeartbeatHold = "GPIO5", 3*time.Second
	y := mustAdd(t, b, o, w)
	relay, beat := mustPin(t, b, "GPIO17"), mustPin(t, b, "GPIO5")
	drive(t, relay, gpio.High)
	b.Advance(time.Second)
	if y.Truth().ContactorClosed {
		t.Fatal("closed without a heartbeat")
	}
	level := gpio.Low
	for range 10 {
		level = !level
		drive(t, beat, level)
		b.Advance(2 * time.Second)
		if !y.Truth().ContactorClosed {
			t.Fatal("open while the heart beats")
		}
	}
	drive(t, beat, level) // no edge
	b.Advance(time.Second + dropOut)
	if y.Truth().ContactorClosed {
		t.Error("closed after the heartbeat stopped")
	}
	b.Advance(time.Second)
	if amps := y.Truth().CurrentA; amps > 0 {
		t.Errorf("%v A after the heartbeat stopped", amps)
	}
}

func TestEdgesAreSeen(t *testing.T) {
	b, y := fitted(t)
	airflow := mustPin(t, b, "GPIO22")
	if err := airflow.In(gpio.PullUp, gpio.RisingEdge); err != nil {
		t.Fatal(err)
	}
	y.SetAirflow(false)
	b.Advance(time.Second)
	if !airflow.WaitForEdge(time.Millisecond) || airflow.Read() != gpio.High {
		t.Error("no edge when the air stopped")
	}
	if airflow.Out(gpio.High) == nil {
		t.Error("a contact can be driven")
	}
}

// TestNoChargeWithoutContactor takes a bay through anything except a contactor or a
// relay that stays closed by itself: no current charges the pack unless the contactor was closed, and the
// contactor is closed only when ordered or while dropping out.
func TestNoChargeWithoutContactor(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b := NewBench()
		o, w := common("bay-1")
		o.StateOfCharge = rapid.Float64Range(0.1, 1).Draw(r, "soc")
		o.Charger = rapid.SampledFrom([]ChargerKind{TwoStage, Taper}).Draw(r, "charger")
		y := mustAdd(t, b, o, w)
		relay := mustPin(t, b, "GPIO17")
		act := func(name string, do func(on bool)) func(*rapid.T) {
			return func(r *rapid.T) { do(rapid.Bool().Draw(r, name)) }
		}
		r.Repeat(map[string]func(*rapid.T){
			"relay": act("relay", func(on bool) { drive(t, relay, gpio.Level(on)) }),
			"mains": act("mains", y.SetMains),
			"fan":   act("fan", y.SetAirflow),
			"plug": act("plug", func(on bool) {
				if on {
					y.Connect()
				} else {
					y.Unplug()
				}
			}),
			"fault": func(r *rapid.T) {
				f := rapid.SampledFrom(FaultKinds()).Draw(r, "fault")
				if f != ContactorWelded && f != RelayStuck {
					y.SetFault(f, rapid.Bool().Draw(r, "on"))
				}
			},
			"load":  act("load", func(on bool) { y.SetLoad(map[bool]float64{true: 20}[on]) }),
			"water": func(*rapid.T) { _ = y.AddWater(3, 5) },
			"wait": func(r *rapid.T) {
				b.Advance(time.Duration(rapid.IntRange(1, 3600).Draw(r, "s")) * time.Second)
			},
			"": func(r *rapid.T) {
				before := y.Truth()
				b.Advance(time.Second) // longer than the contactor takes to move
				b.Advance(time.Second)
				now := y.Truth()
				may := now.Ordered && now.Connected && now.Mains && !y.Fault(ContactorStuckOpen)
				if !may && (now.CurrentA > 0 || now.ContactorClosed && !now.Ordered) {
					r.Fatalf("%.2f A, closed %v: %+v", now.CurrentA, now.ContactorClosed, now)
				}
				if !may && now.StateOfCharge > before.StateOfCharge+2e-5 {
					r.Fatalf("charged from %v to %v", before.StateOfCharge, now.StateOfCharge)
				}
				checkLevels(r, before, now)
			},
		})
	})
}

// checkLevels checks that the settled level falls only by the known losses.
func checkLevels(r *rapid.T, before, now Truth) {
	for i := range now.Cells {
		a, z := before.Cells[i], now.Cells[i]
		gone := z.LostML - a.LostML + z.OverflowML - a.OverflowML
		if fall := a.SettledMM - z.SettledMM; fall > gone/(0.5*13)+1e-9 {
			r.Fatalf("cell %d fell %v mm while %v ml left", i+1, fall, gone)
		}
	}
}

// TestWeldedCharges: the one fault that charges against the command.
func TestWeldedCharges(t *testing.T) {
	b, y := fitted(t)
	y.SetFault(ContactorWelded, true)
	b.Advance(time.Minute)
	if truth := y.Truth(); truth.CurrentA < 10 || truth.Ordered {
		t.Errorf("%+v", truth)
	}
}

// TestMirrorContact: a welded pole holds a mirror contact open and need not hold a
// make contact closed. A broken wire reads as an open contact, touching wires as a
// closed one.
func TestMirrorContact(t *testing.T) {
	for _, breaks := range []bool{false, true} {
		b := NewBench()
		o, w := common("bay-1")
		if breaks {
			w.Relay.Feedback.Normally = "closed"
		}
		y := mustAdd(t, b, o, w)
		relay, feedback := mustPin(t, b, "GPIO17"), mustPin(t, b, "GPIO27")
		if err := feedback.In(gpio.PullUp, gpio.NoEdge); err != nil {
			t.Fatal(err)
		}
		joined := func(when string, want bool) {
			t.Helper()
			if got := feedback.Read() == gpio.Low; got != want {
				t.Errorf("break contact %v, %s: joined %v", breaks, when, got)
			}
		}
		joined("released", breaks)
		drive(t, relay, gpio.High)
		b.Advance(time.Second)
		joined("closed", !breaks)
		y.SetFault(ContactorWelded, true)
		drive(t, relay, gpio.Low)
		b.Advance(time.Second)
		joined("welded", false)
		if !y.Truth().ContactorClosed {
			t.Error("not welded")
		}
		y.SetFault(FeedbackShorted, true)
		joined("welded, wires touch", true)
		y.SetFault(FeedbackBroken, true)
		joined("welded, wire broken", false)
	}
}
