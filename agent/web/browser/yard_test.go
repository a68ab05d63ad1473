package browser_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/web"
)

// yard is one bay with a real core behind the page. Its pilot is cell 1: water that
// is given to that cell shows at the probe. Each order is one tick.
type yard struct {
	t   *testing.T
	url string

	mu     sync.Mutex // guards what follows
	driver *baytest.Driver
	last   *bay.Picture
	asked  []order.Order // and taken
	past   web.Past
	cells  int

	options web.Options
	page    atomic.Pointer[http.Handler]
	mute    atomic.Bool // answers to posts are lost on their way
	deaf    atomic.Bool // posts are lost on their way
}

func (y *yard) serve(w http.ResponseWriter, r *http.Request) {
	if y.mute.Load() && r.Method == http.MethodPost {
		(*y.page.Load()).ServeHTTP(httptest.NewRecorder(), r)
		panic(http.ErrAbortHandler)
	}
	if y.deaf.Load() && r.Method == http.MethodPost {
		panic(http.ErrAbortHandler)
	}
	(*y.page.Load()).ServeHTTP(w, r)
}

// restart ends the agent and starts another from what the first one stored.
func (y *yard) restart() {
	y.t.Helper()
	y.mu.Lock()
	m := y.driver.Core.Memory()
	setup := baytest.Setup("bay-1")
	setup.Pack.Cells = y.cells
	y.driver.Core = bay.New(setup)
	require.NoError(y.t, y.driver.Core.Restore(&m, y.driver.Now, 0, true))
	y.mu.Unlock()
	y.run(time.Minute)
	y.page.Store(new(web.New(y.options)))
}

// newYard starts one whose level is that high, after its readings are checked.
func newYard(t *testing.T, levelMM float64, change func(*web.Options)) *yard {
	t.Helper()
	return newYardOf(t, baytest.Pack().Cells, levelMM, change)
}

// newYardOf starts one with a pack of that many cells.
func newYardOf(t *testing.T, cells int, levelMM float64, change func(*web.Options)) *yard {
	t.Helper()
	setup := baytest.Setup("bay-1")
	setup.Pack.Cells = cells
	y := &yard{t: t, driver: baytest.New(setup), cells: cells}
	y.driver.Values.PackV = y.volts(25.2)
	y.driver.Values.LevelMM = levelMM
	y.run(10 * time.Minute)
	o := web.Options{
		Site: "quarry-road", Agent: "shed-2", Units: "si", Writable: true,
		Pictures: y.pictures, Submit: y.submit, Healthy: func() error { return nil }, Past: &y.past,
	}
	if change != nil {
		change(&o)
	}
	y.options = o
	y.page.Store(new(web.New(o)))
	server := httptest.NewServer(http.HandlerFunc(y.serve))
	t.Cleanup(server.Close)
	y.url = server.URL
	return y
}

// newReadyYard starts one that is full, rested and cool: every cell read full at the
// fill mark, before the level fell, and its level read with the rod after that.
func newReadyYard(t *testing.T, levelMM float64, change func(*web.Options)) *yard {
	t.Helper()
	return newReadyYardOf(t, baytest.Pack().Cells, levelMM, change)
}

// newReadyYardOf starts one with a pack of that many cells.
func newReadyYardOf(t *testing.T, cells int, levelMM float64, change func(*web.Options)) *yard {
	t.Helper()
	y := newYardOf(t, cells, 13, change)
	y.driver.Values.CurrentA, y.driver.Values.PackV = 8, y.volts(31.2)
	y.run(10 * time.Minute)
	y.driver.Values.CurrentA, y.driver.Values.PackV = 0, y.volts(25.4)
	y.run(time.Minute)
	for n := range cells {
		y.driver.Ask(order.Order{Kind: order.Gravity, Cell: n + 1, Gravity: 1.277, AtC: 25})
	}
	y.driver.Values.PackC = 23
	y.driver.Values.LevelMM = levelMM
	y.run(4 * time.Hour)
	y.readLevels(levelMM)
	require.Equal(t, bay.ReadyToWater, y.last.Stage, "%s, level known: %v, need %v", y.last.Cool.WaitingFor, y.last.Water.Known, y.last.Water.TotalML)
	return y
}

// readLevels has the level of every cell read with the rod, in a visit of its own; twice,
// since the level fell without a charge.
func (y *yard) readLevels(levelMM float64) {
	y.driver.Ask(order.Order{Kind: order.VisitOpen})
	for n := range 2 * y.cells {
		y.driver.Ask(order.Order{Kind: order.Level, Cell: n/2 + 1, LevelMM: levelMM, Sure: true})
	}
	y.driver.Ask(order.Order{Kind: order.VisitClose})
	y.run(10 * time.Minute)
}

// volts returns the voltage of the yard's pack for that of 12 cells.
func (y *yard) volts(of12 float64) float64 { return of12 * float64(y.cells) / 12 }

// run lets time pass.
func (y *yard) run(span time.Duration) {
	y.mu.Lock()
	defer y.mu.Unlock()
	y.last = y.driver.Run(span).Clone()
}

func (y *yard) pictures() []*bay.Picture {
	y.mu.Lock()
	defer y.mu.Unlock()
	return []*bay.Picture{y.last}
}

func (y *yard) submit(_ context.Context, _ string, o order.Order) (bay.Event, error) {
	y.mu.Lock()
	defer y.mu.Unlock()
	p, events := y.driver.Tick(o)
	y.last = p.Clone()
	y.past.Happened("bay-1", events)
	for _, e := range events {
		switch {
		case e.Order != o.ID:
		case e.Kind == bay.OrderRefused:
			return e, nil
		case e.Kind == bay.OrderTaken:
			y.asked = append(y.asked, e.Asked)
			y.pour(&e.Asked)
			return e, nil
		}
	}
	return bay.Event{}, errors.New("the core did not answer")
}

// pour moves the pilot's level: 13 ml for each millimetre on 130 cm².
func (y *yard) pour(o *order.Order) {
	for _, c := range o.Entries() {
		if c.Cell != 1 {
			continue
		}
		if c.ML != nil {
			y.driver.Values.LevelMM += *c.ML / 13
		}
		if c.DrawnML != nil {
			y.driver.Values.LevelMM -= *c.DrawnML / 13
		}
	}
	p, _ := y.driver.Tick()
	y.last = p.Clone()
}

// taken returns how many orders of a kind were taken.
func (y *yard) taken(k order.Kind) (n int) {
	y.mu.Lock()
	defer y.mu.Unlock()
	for _, o := range y.asked {
		if o.Kind == k {
			n++
		}
	}
	return n
}

// ordered returns the orders of a kind that were taken.
func (y *yard) ordered(k order.Kind) (all []order.Order) {
	y.mu.Lock()
	defer y.mu.Unlock()
	for _, o := range y.asked {
		if o.Kind == k {
			all = append(all, o)
		}
	}
	return all
}

// state is what the test reads back over HTTP.
type state struct {
	Permit   string `json:"permit"`
	Findings []struct {
		Code   string  `json:"code"`
		Blocks bool    `json:"blocks"`
		Cell   float64 `json:"cell"`
	} `json:"findings"`
	EqualizeDue string `json:"equalize_due"`
	Full        bool   `json:"full"`
	Visit       *struct {
		GivenML   []float64 `json:"given_ml"`
		BareCells []int     `json:"bare_cells"`
		Cells     []cell    `json:"cells"`
	} `json:"visit"`
}

type cell struct {
	Cell          int      `json:"cell"`
	GivenML       float64  `json:"given_ml"`
	How           string   `json:"how"`
	DrawnML       float64  `json:"drawn_ml"`
	Dry           bool     `json:"dry"`
	LevelBeforeMM *float64 `json:"level_before_mm"`
	LevelAfterMM  *float64 `json:"level_after_mm"`
	Gravity       *float64 `json:"gravity"`
	Done          bool     `json:"done"`
}

// read reads the bay back over HTTP.
func (y *yard) read() state {
	y.t.Helper()
	answer, err := http.Get(y.url + "/api/v1/bays/bay-1")
	require.NoError(y.t, err)
	defer func() { _ = answer.Body.Close() }()
	var s state
	require.NoError(y.t, json.NewDecoder(answer.Body).Decode(&s))
	return s
}

// cell reads back what was recorded at a cell in the open visit.
func (y *yard) cell(n int) cell {
	y.t.Helper()
	s := y.read()
	require.NotNil(y.t, s.Visit, "no visit is open")
	for _, c := range s.Visit.Cells {
		if c.Cell == n {
			return c
		}
	}
	return cell{Cell: n}
}

// codes returns the names of the findings.
func (y *yard) codes() []string {
	y.t.Helper()
	s := y.read()
	return s.codes()
}

func (s *state) codes() (all []string) {
	for _, f := range s.Findings {
		all = append(all, f.Code)
	}
	return all
}

// send posts an order as a program does, and returns the status and the answer.
func (y *yard) send(path, body string) (int, string) {
	y.t.Helper()
	answer, err := http.Post(y.url+"/api/v1/bays/bay-1/"+path, "application/json", strings.NewReader(body))
	require.NoError(y.t, err)
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	require.NoError(y.t, err)
	return answer.StatusCode, string(text)
}
