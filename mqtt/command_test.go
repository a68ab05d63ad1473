package mqtt

import (
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// clerk accepts orders as a bay would, and keeps them.
type clerk struct {
	mu     sync.Mutex // guards the fields below
	orders []order.Order
	refuse order.Code
	err    error
	stuck  bool // the record: what is taken is not on record
}

func (k *clerk) submit(_ context.Context, _ string, o order.Order) (bay.Event, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.err != nil {
		return bay.Event{}, k.err
	}
	k.orders = append(k.orders, o)
	if k.refuse != order.NoCode {
		return bay.Event{Kind: bay.OrderRefused, Order: o.ID, Asked: o, Why: order.Refusal{Code: k.refuse, Kind: o.Kind}}, nil
	}
	e := bay.Event{Kind: bay.OrderTaken, Order: o.ID, Asked: o}
	if k.stuck {
		return e, order.ErrNotOnRecord
	}
	return e, nil
}

func (k *clerk) taken() []order.Order {
	k.mu.Lock()
	defer k.mu.Unlock()
	return slices.Clone(k.orders)
}

// person makes a separate key for each name, the same in each run.
func person(name string) (Person, ed25519.PrivateKey) {
	seed := make([]byte, ed25519.SeedSize)
	copy(seed, name)
	key := ed25519.NewKeyFromSeed(seed)
	return Person{Name: name, Key: key.Public().(ed25519.PublicKey), Right: order.MayRelease}, key
}

// signed returns a command as a JOSE library would write it.
func signed(key ed25519.PrivateKey, header, payload string) string {
	enc := base64.RawURLEncoding
	text := enc.EncodeToString([]byte(header)) + "." + enc.EncodeToString([]byte(payload))
	return fmt.Sprintf(`{"v":1,"jws":"%s.%s"}`, text, enc.EncodeToString(ed25519.Sign(key, []byte(text))))
}

func header(name string) string { return fmt.Sprintf(`{"alg":"EdDSA","kid":%q}`, name) }

// office is a client whose commands go to a clerk, at 12:00:00 on a day, five
// minutes after its start.
type office struct {
	*Client
	*clerk
	now Wall
}

func newOffice(t testing.TB) *office {
	t.Helper()
	o := &office{clerk: &clerk{}, now: Wall{time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), true}}
	known, _ := person("Ana Ruiz")
	helper, _ := person("helper")
	helper.Right = order.MayVisit
	var err error
	o.Client, err = New(Options{
		Brokers: []string{"tcp://127.0.0.1:1"}, Topics: testTopics, Outbox: newOutbox(), Log: quiet(), Version: "1.2.3",
		Bays: []string{"bay-1"}, People: []Person{known, helper}, Submit: o.submit, OrderNow: func() Wall { return o.now },
	})
	if err != nil {
		t.Fatal(err)
	}
	o.began = time.Now().Add(-5 * time.Minute)
	return o
}

func (o *office) ask(payload string) Response {
	return o.desks["bay-1"].read(context.Background(), inbound{payload: []byte(payload)})
}

const (
	openHold = `{"v":1,"id":"h-1","time":"2026-03-01T12:00:00Z","order":"hold","by":"A. Person"}`
	address  = `"to":"bayward/quarry-road/shed-2/bay-1/command","time":"2026-03-01T12:59:30+01:00"`
)

// TestInForceButNotOnRecord: what is not on record is not answered as done, and a
// repeat gets the same answer.
func TestInForceButNotOnRecord(t *testing.T) {
	o := newOffice(t)
	o.stuck = true
	for range 2 {
		r := o.ask(openHold)
		if r.Result != InForce || r.Reason != "" || !strings.Contains(r.Text, "not on record yet") {
			t.Errorf("%+v", r)
		}
		payload, err := r.JSON()
		if err != nil || !strings.Contains(string(payload), `"result":"in-force"`) {
			t.Errorf("%s, %v", payload, err)
		}
	}
	if n := len(o.taken()); n != 1 {
		t.Errorf("%d orders were given", n)
	}
}

func TestOpenCommands(t *testing.T) {
	for _, c := range []struct {
		name, payload string
		reason        Reason // "" is done
		says          string
	}{
		{"hold", openHold, "", "The bay is on hold."},
		{"hold without a time", `{"v":1,"id":"h","order":"hold","by":"A. Person"}`, "", "The bay is on hold."},
		{"state", `{"v":1,"id":"s","order":"state","by":"wall"}`, "", "published"},
		{"nothing", ``, BadJSON, "one JSON object"},
		{"text", `hold`, BadJSON, "one JSON object"},
		{"list", `[]`, BadJSON, "one JSON object"},
		{"cut off", openHold[:30], BadJSON, "ends too early"},
		{"two objects", openHold + openHold, BadJSON, "nothing after it"},
		{"not UTF-8", "{\"v\":1,\"id\":\"\xff\"}", BadJSON, "UTF-8"},
		{"deep", `{"v":` + strings.Repeat("[", 3000) + `}`, BadJSON, ""},
		{"large", `{"v":1,"note":"` + strings.Repeat("x", maxCommandBytes) + `"}`, TooLarge, "12288"},
		{"other version", `{"v":2,"id":"h","order":"hold","by":"A"}`, BadField, "field v"},
		{"no version", `{"id":"h","order":"hold","by":"A"}`, BadField, "field v"},
		{"no id", `{"v":1,"order":"hold","by":"A"}`, BadField, "field id is missing"},
		{"no person", `{"v":1,"id":"h","order":"hold"}`, BadField, "field by is missing"},
		{"no order", `{"v":1,"id":"h","by":"A"}`, BadField, "field order"},
		{"unknown order", `{"v":1,"id":"h","order":"grant","by":"A"}`, BadField, "must be hold, unhold, lock-remove, release"},
		{"unknown field", `{"v":1,"id":"h","order":"hold","by":"A","force":true}`, BadField, `unknown field "force"`},
		{"other case", `{"v":1,"id":"h","Order":"hold","by":"A"}`, BadField, `unknown field "Order"`},
		{"given twice", `{"v":1,"id":"h","order":"hold","by":"A","order":"hold"}`, BadField, "given twice"},
		{"null", `{"v":1,"id":"h","order":"hold","by":null}`, BadField, "field by"},
		{"number as text", `{"v":1,"id":"h","order":"fill","by":"A","cell":1,"ml":"20"}`, BadField, "field ml"},
		{"half a cell", `{"v":1,"id":"h","order":"fill","by":"A","cell":1.5,"ml":20}`, BadField, "field cell"},
		{"no number", `{"v":1,"id":"h","order":"fill","by":"A","cell":1,"ml":1e999}`, BadField, "field ml"},
		{"foreign field", `{"v":1,"id":"h","order":"hold","by":"A","ml":1}`, BadField, "does not belong"},
		{"missing field", `{"v":1,"id":"h","order":"fill","by":"A","cell":1}`, BadField, "field ml: is missing"},
		{"control character", `{"v":1,"id":"h\n","order":"hold","by":"A"}`, BadField, "field id"},
		{"long name", `{"v":1,"id":"h","order":"hold","by":"` + strings.Repeat("ä", 61) + `"}`, BadField, "field by"},
		{"bad time", `{"v":1,"id":"h","time":"12:00","order":"hold","by":"A"}`, BadField, "field time"},
		{"too long an expiry", `{"v":1,"id":"h","expires_s":3601,"order":"hold","by":"A"}`, BadField, "expires_s"},
		{"old", `{"v":1,"id":"h","time":"2026-03-01T11:58:59Z","order":"hold","by":"A"}`, Stale, "old"},
		{"old but valid for long", `{"v":1,"id":"h","time":"2026-03-01T11:58:59Z","expires_s":120,"order":"hold","by":"A"}`, "", ""},
		{"ahead", `{"v":1,"id":"h","time":"2026-03-01T12:01:01Z","order":"hold","by":"A"}`, NotYet, "ahead"},
		{"other topic", `{"v":1,"id":"h","to":"bayward/quarry-road/shed-2/bay-2/command","order":"hold","by":"A"}`, BadField, "field to"},
		{"unhold", `{"v":1,"id":"h","order":"unhold","by":"A"}`, Unsigned, "signature"},
		{"release", `{"v":1,"id":"h","order":"release","by":"A"}`, Unsigned, "signature"},
		{"visit", `{"v":1,"id":"h","order":"visit-open","by":"A"}`, Unsigned, "signature"},
		{"gravity", `{"v":1,"id":"h","order":"gravity","by":"A","cell":1,"gravity":1.28,"at_c":25}`, Unsigned, "signature"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := newOffice(t)
			r := o.ask(c.payload)
			if r.Reason != c.reason || (r.Result == Done) != (c.reason == "") || !strings.Contains(r.Text, c.says) {
				t.Errorf("%s\nbecame %+v, want reason %q and %q", c.payload, r, c.reason, c.says)
			}
			if n := len(o.taken()); n > 0 != (c.reason == "" && !strings.Contains(c.payload, "state")) {
				t.Errorf("%d orders went to the bay", n)
			}
		})
	}
}

func TestSignedCommands(t *testing.T) {
	_, key := person("Ana Ruiz")
	_, helperKey := person("helper")
	_, stranger := person("stranger")
	release := `{"v":1,"id":"r-1",` + address + `,"order":"release"}`
	for _, c := range []struct {
		name, payload string
		reason        Reason
	}{
		{"release", signed(key, header("Ana Ruiz"), release), ""},
		{"as JWT libraries write it", signed(key, `{"typ":"JWT","alg":"EdDSA","kid":"Ana Ruiz"}`, release), ""},
		{"new name of the algorithm", signed(key, `{"alg":"Ed25519","kid":"Ana Ruiz"}`, release), ""},
		{"by a helper", signed(helperKey, header("helper"), release), NoRight},
		{"a helper removes another's hold", signed(helperKey, header("helper"), `{"v":1,"id":"r",`+address+`,"order":"lock-remove","lock":"hold","of":"Ana Ruiz","reason":"gone","nobody_at_pack":true}`), NoRight},
		{"a helper's visit", signed(helperKey, header("helper"), `{"v":1,"id":"r",`+address+`,"order":"visit-open"}`), ""},
		{"from before the start", signed(key, header("Ana Ruiz"), strings.Replace(release, "12:59:30", "12:54:59", 1)[:len(release)-1]+`,"expires_s":3600}`), Stale},
		{"from after the start", signed(key, header("Ana Ruiz"), strings.Replace(release, "12:59:30", "12:55:01", 1)[:len(release)-1]+`,"expires_s":3600}`), ""},
		{"stranger", signed(stranger, header("Ana Ruiz"), release), BadSignature},
		{"unknown name", signed(stranger, header("stranger"), release), BadSignature},
		{"another's name", signed(helperKey, header("Ana Ruiz"), release), BadSignature},
		{"no algorithm", signed(key, `{"alg":"none","kid":"Ana Ruiz"}`, release), BadSignature},
		{"public key as secret", signed(key, `{"alg":"HS256","kid":"Ana Ruiz"}`, release), BadSignature},
		{"critical header", signed(key, `{"alg":"EdDSA","kid":"Ana Ruiz","crit":["exp"]}`, release), BadSignature},
		{"no header", signed(key, ``, release), BadSignature},
		{"no parts", `{"v":1,"jws":"abc"}`, BadSignature},
		{"no jws", `{"v":1,"jws":1}`, BadField},
		{"a field beside", `{"v":1,"order":"release",` + signed(key, header("Ana Ruiz"), release)[len(`{"v":1,`):], BadField},
		{"no address", signed(key, header("Ana Ruiz"), `{"v":1,"id":"r","time":"2026-03-01T12:00:00Z","order":"release"}`), BadField},
		{"no time", signed(key, header("Ana Ruiz"), `{"v":1,"id":"r","to":"bayward/quarry-road/shed-2/bay-1/command","order":"release"}`), BadField},
		{"in another's name", signed(key, header("Ana Ruiz"), `{"v":1,"id":"r","by":"helper",`+address+`,"order":"release"}`), BadField},
		{"signed twice", signed(key, header("Ana Ruiz"), signed(key, header("Ana Ruiz"), release)), BadField},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := newOffice(t)
			if r := o.ask(c.payload); r.Reason != c.reason || len(o.taken()) > 0 != (c.reason == "") {
				t.Errorf("%+v, %d orders; want %q", r, len(o.taken()), c.reason)
			}
		})
	}
}

// One changed character anywhere in a signed command makes it worthless.
func TestChangedSignedCommand(t *testing.T) {
	_, key := person("Ana Ruiz")
	good := signed(key, header("Ana Ruiz"), `{"v":1,"id":"r-1",`+address+`,"order":"release"}`)
	o := newOffice(t)
	for i := len(`{"v":1,"jws":"`); i < len(good)-2; i++ {
		changed := []byte(good)
		changed[i] = 'A' + (changed[i]+1)%26
		if changed[i] == good[i] {
			continue
		}
		if r := o.ask(string(changed)); r.Result == Done {
			t.Errorf("taken with character %d changed", i)
		}
	}
	if r := o.ask(good); r.Result != Done {
		t.Errorf("the unchanged command: %+v", r)
	}
}

// RFC 8037, appendix A.4: JWS with Ed25519, with the key of RFC 8032, section
// 7.1, test 1. The values are from memory; with a wrong digit they would not
// verify.
func TestPublishedSignature(t *testing.T) {
	key, err := base64.RawURLEncoding.DecodeString("11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo")
	if err != nil {
		t.Fatal(err)
	}
	compact := "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc." +
		"hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
	j, wrong := unpack(compact)
	if wrong != nil {
		t.Fatal(wrong)
	}
	if who, wrong := j.signer([]Person{{Name: "", Key: key}}); wrong != nil || who == nil || string(j.payload) != "Example of Ed25519 signing" {
		t.Errorf("signer %v, %v, payload %q", who, wrong, j.payload)
	}
}

func TestRepeats(t *testing.T) {
	_, key := person("Ana Ruiz")
	o := newOffice(t)
	for _, payload := range []string{
		openHold, signed(key, header("Ana Ruiz"), `{"v":1,"id":"r-1",`+address+`,"order":"release"}`),
	} {
		before := len(o.taken())
		r1, r2 := o.ask(payload), o.ask(payload)
		if !reflect.DeepEqual(r1, r2) || r1.Result != Done || len(o.taken()) != before+1 {
			t.Errorf("first %+v, then %+v, %d orders", r1, r2, len(o.taken())-before)
		}
	}
	other := o.ask(strings.Replace(openHold, "A. Person", "B. Person", 1))
	if other.Reason != Repeated {
		t.Errorf("the same id with another text: %+v", other)
	}
	// An open command cannot use up the id of a signed one.
	o.ask(`{"v":1,"id":"r-2","order":"hold","by":"A"}`)
	if r := o.ask(signed(key, header("Ana Ruiz"), `{"v":1,"id":"r-2",`+address+`,"order":"release"}`)); r.Result != Done {
		t.Errorf("%+v", r)
	}
	var ids []string
	for _, taken := range o.taken() {
		ids = append(ids, taken.ID+" "+taken.By)
	}
	want := []string{"open/h-1 A. Person (not proven)", "r-1 Ana Ruiz", "open/r-2 A (not proven)", "r-2 Ana Ruiz"}
	if !slices.Equal(ids, want) {
		t.Errorf("orders %q, want %q", ids, want)
	}
}

// A signed command counts once, however many others come, for as long as it can
// be valid.
func TestSignedCommandCountsOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, key := person("Ana Ruiz")
		o := newOffice(t)
		good := signed(key, header("Ana Ruiz"), `{"v":1,"id":"r-1","expires_s":3600,`+address+`,"order":"release"}`)
		o.ask(good)
		for range 70 {
			time.Sleep(time.Minute)
			o.now.Time = o.now.Time.Add(time.Minute)
			for i := range 10 {
				o.ask(fmt.Sprintf(`{"v":1,"id":"%d-%d","order":"hold","by":"A"}`, o.now.Time.Unix(), i))
			}
			o.ask(good)
		}
		releases := 0
		for _, taken := range o.taken() {
			if taken.Kind == order.Release {
				releases++
			}
		}
		if releases != 1 {
			t.Errorf("released %d times", releases)
		}
	})
}

// While the clock is not set, no age is known: only a hold is accepted.
func TestClockThatIsNotSet(t *testing.T) {
	_, key := person("Ana Ruiz")
	o := newOffice(t)
	o.now = Wall{time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC), false}
	if r := o.ask(openHold); r.Result != Done {
		t.Errorf("hold: %+v", r)
	}
	if r := o.ask(signed(key, header("Ana Ruiz"), `{"v":1,"id":"r-1",`+address+`,"order":"release"}`)); r.Reason != ClockUnset {
		t.Errorf("release: %+v", r)
	}
}

func TestRetainedCommand(t *testing.T) {
	o := newOffice(t)
	r := o.desks["bay-1"].read(t.Context(), inbound{[]byte(openHold), true})
	if r.Reason != Retained || r.ID != "h-1" || len(o.taken()) > 0 {
		t.Errorf("%+v", r)
	}
}

// The answer to a person who opens a visit contains the cautions.
func TestVisitHasCautions(t *testing.T) {
	_, key := person("Ana Ruiz")
	o := newOffice(t)
	for name, want := range map[string]string{"visit-open": words.EnglishSI().Cautions(), "visit-close": ""} {
		r := o.ask(signed(key, header("Ana Ruiz"), `{"v":1,"id":"`+name+`",`+address+`,"order":"`+name+`"}`))
		if r.Result != Done || r.Cautions != want {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

func TestBayThatRefusesOrIsSilent(t *testing.T) {
	o := newOffice(t)
	o.refuse = order.NoVisit
	if r := o.ask(openHold); r.Result != Declined || r.Reason != Refused || r.Text != "Refused hold: no visit is open." {
		t.Errorf("%+v", r)
	}
	o.err = errors.New("too many orders wait")
	if r := o.ask(`{"v":1,"id":"h-2","order":"hold","by":"A"}`); r.Result != Unknown || r.Reason != NoAnswer {
		t.Errorf("%+v", r)
	}
}

// Every hold is written to the logbook, and anyone with the broker's password may
// send as many as they like.
func TestHoldsAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice(t)
		for i := range 60 * 60 {
			o.ask(fmt.Sprintf(`{"v":1,"id":"h-%d","order":"hold","by":"A"}`, i))
			time.Sleep(time.Second)
		}
		if n := len(o.taken()); n < 360 || n > 366 {
			t.Errorf("%d holds in an hour", n)
		}
	})
}

func TestFloodIsAnswered(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := newOffice(t)
		d := o.desks["bay-1"]
		for range 100_000 {
			d.take(inbound{payload: []byte("x")})
		}
		ctx, cancel := context.WithCancel(t.Context())
		go d.work(ctx)
		synctest.Wait() // for the desk to be idle
		cancel()
		synctest.Wait() // for its end
		told := 0
		for _, m := range o.answers.first(1000) {
			var r struct{ Reason, Text string }
			if err := json.Unmarshal(m.payload, &r); err != nil {
				t.Fatal(err)
			}
			if r.Reason == string(Busy) {
				told++
				if want := "99968 commands"; !strings.Contains(r.Text, want) {
					t.Errorf("%q, want %q in it", r.Text, want)
				}
			}
		}
		if told != 1 {
			t.Errorf("%d answers about dropped commands, want 1", told)
		}
		if n := o.CommandsRefused(); n != 100_000 { // what was read is nonsense
			t.Errorf("%d commands are counted as refused, want all", n)
		}
	})
}

func TestAnswersAreBounded(t *testing.T) {
	var a answers
	for i := range 100 {
		a.put(message{topic: fmt.Sprint(i)})
	}
	got := a.first(10)
	if len(got) != 10 || got[0].topic != "36" {
		t.Fatalf("%d, first %q", len(got), got[0].topic)
	}
	for i := range 3 { // three of those in flight are dropped meanwhile
		a.put(message{topic: fmt.Sprint(100 + i)})
	}
	a.drop(10)
	if got := a.first(100); len(got) != 57 || got[0].topic != "46" {
		t.Errorf("%d remain, first %q; want 57 and 46", len(got), got[0].topic)
	}
}
