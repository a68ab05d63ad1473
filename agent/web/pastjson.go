package web

import (
	"math"
	"net/http"
	"time"

	"bayward/agent/bay"
	"bayward/agent/words"
)

// pastBody is the data for the page's script, in the reader's units. Times are in
// seconds before the picture; unknown values are null.
type pastBody struct {
	AgoS   []float64         `json:"ago_s"`
	Curves map[string][]any  `json:"curves"`
	Units  map[string]string `json:"units"`
	Bands  []pastBand        `json:"bands"`
	// Axes are the scales of the curves; NowMS is the time of the newest point, Unix
	// milliseconds by the clock on the wall.
	Axes  map[string]pastAxis `json:"axes"`
	NowMS int64               `json:"now_ms"`
}

type pastAxis struct {
	Low    float64     `json:"low"`
	High   float64     `json:"high"`
	Limits []axisLimit `json:"limits"`
}

// addAxes sets the scale of each curve.
func (b *pastBody) addAxes(p *bay.Picture, v words.Voice, points []point) {
	for class, of := range map[string]func(point) float32{
		"volts": func(x point) float32 { return x.v }, "amperes": func(x point) float32 { return x.a }, "heat": func(x point) float32 { return x.c }, "level": func(x point) float32 { return x.mm },
	} {
		low, high := math.Inf(1), math.Inf(-1)
		for _, x := range points {
			if y := float64(of(x)); !math.IsNaN(y) {
				low, high = min(low, y), max(high, y)
			}
		}
		if low > high {
			continue
		}
		unit, _ := unitOfCurve(v, class)
		a := newAxis(p, v, class, low, high, unit)
		b.Axes[class] = pastAxis{a.Low, a.High, append([]axisLimit{}, a.Limits...)}
	}
}

type pastBand struct {
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
	Class string  `json:"class"`
	Name  string  `json:"name"`
}

// pastJSON sends the last hours of a bay to the page's script.
func (s *server) pastJSON(w http.ResponseWriter, r *http.Request) {
	p, missing := s.find(r)
	if missing != nil {
		writeProblem(w, *missing)
		return
	}
	writeJSON(w, http.StatusOK, s.pastOf(p, s.view(r), r.URL.Query().Get("hours")))
}

func (s *server) pastOf(p *bay.Picture, v words.Voice, asked string) pastBody {
	body := pastBody{
		AgoS: []float64{}, Curves: map[string][]any{}, Bands: []pastBand{}, Axes: map[string]pastAxis{}, NowMS: s.clock().UnixMilli(),
		Units: map[string]string{"volts": "V", "amperes": "A", "heat": v.Units().Temperature.Symbol, "level": v.Units().Length.Symbol},
	}
	if s.Past == nil {
		return body
	}
	heat := func(x float32) float64 { return v.Units().Temperature.Of(float64(x)) }
	height := func(x float32) float64 { return v.Units().Length.Of(float64(x)) }
	points := s.Past.since(p.Bay, p.Now-time.Duration(hoursAsked(asked))*time.Hour)
	body.addAxes(p, v, points)
	for i, x := range points {
		body.AgoS = append(body.AgoS, math.Round((x.at - p.Now).Seconds()))
		body.add("volts", x.v, float32Of)
		body.add("amperes", x.a, float32Of)
		body.add("heat", x.c, heat)
		body.add("level", x.mm, height)
		if i == 0 || points[i-1].stage != x.stage {
			body.band(x, p.Now, v)
		}
	}
	return body
}

func float32Of(x float32) float64 { return float64(x) }

func (b *pastBody) add(name string, x float32, convert func(float32) float64) {
	y := math.Round(convert(x)*1000) / 1000
	if math.IsNaN(y) {
		b.Curves[name] = append(b.Curves[name], nil)
		return
	}
	b.Curves[name] = append(b.Curves[name], y)
}

// band ends the previous band.
func (b *pastBody) band(x point, now time.Duration, v words.Voice) {
	from := (x.at - now).Seconds()
	if n := len(b.Bands); n > 0 {
		b.Bands[n-1].ToS = from
	}
	name := x.stage.String()
	b.Bands = append(b.Bands, pastBand{FromS: from, Class: name, Name: v.Say("stage." + name)})
}
