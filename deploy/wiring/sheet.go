package main

import (
	"fmt"
	"html"
	"strings"
)

// sheet is one picture.
type sheet struct {
	name, title, about string
	w, h               int
	b                  strings.Builder
}

// Colours: red for danger, blue for signals, dark for everything else.
const (
	ink    = "#1d2733"
	danger = "#b3261e"
	signal = "#1457a8"
	soft   = "#5b6672"
	paper  = "#ffffff"
	tint   = "#eef3f8"
	warm   = "#fdeeea"
)

func newSheet(name, title, about string, w, h int) *sheet {
	return &sheet{name: name, title: title, about: about, w: w, h: h}
}

// caution stands under every picture: a picture is printed, and passed on, without the
// guide.
var caution = []string{
	"Caution: acid, explosive gas, full battery current, mains. Charger locked off, pack unplugged; qualified people only, under the local code.",
	"Not a certified safety device; nobody has built it yet. The charger's own protection and an independent cut-off stay.",
}

// footPX is the height that the caution adds.
const footPX = 48

// svg returns the file's text. Title and description are for readers who cannot see
// the picture.
func (s *sheet) svg() string {
	foot := &sheet{}
	foot.wire(danger, 20, s.h+4, s.w-20, s.h+4)
	for i, line := range caution {
		foot.add(`<text x="20" y="%d" font-size="11" fill="%s">%s</text>`, s.h+20+15*i, danger, html.EscapeString(line))
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-labelledby="t d" font-family="Helvetica, Arial, sans-serif" font-size="13" fill="%s">
<title id="t">%s</title>
<desc id="d">%s</desc>
<rect width="%d" height="%d" fill="%s"/>
%s%s</svg>
`, s.w, s.h+footPX, ink, html.EscapeString(s.title), html.EscapeString(s.about), s.w, s.h+footPX, paper, s.b.String(), foot.b.String())
}

// ohms writes a resistance as drawings do.
func ohms(ohm float64) string {
	if ohm >= 1e3 {
		return fmt.Sprintf("%.4g kΩ", ohm/1e3)
	}
	return fmt.Sprintf("%.4g Ω", ohm)
}

// farads writes a capacitance as drawings do.
func farads(f float64) string {
	if f >= 1e-6 {
		return fmt.Sprintf("%.4g µF", f*1e6)
	}
	return fmt.Sprintf("%.4g nF", f*1e9)
}

func (s *sheet) add(format string, args ...any) { fmt.Fprintf(&s.b, format+"\n", args...) }

// text writes lines, the first at y; anchor is start, middle or end.
func (s *sheet) text(x, y int, anchor, colour string, lines ...string) {
	for i, l := range lines {
		s.add(`<text x="%d" y="%d" text-anchor="%s" fill="%s">%s</text>`, x, y+16*i, anchor, colour, html.EscapeString(l))
	}
}

// heading writes the heading at the top left.
func (s *sheet) heading(text string) {
	s.add(`<text x="20" y="30" font-size="15" font-weight="bold">%s</text>`, html.EscapeString(text))
}

// box draws a part with its name in the middle.
func (s *sheet) box(x, y, w, h int, fill string, lines ...string) {
	s.add(`<rect x="%d" y="%d" width="%d" height="%d" rx="4" fill="%s" stroke="%s" stroke-width="1.5"/>`, x, y, w, h, fill, ink)
	if len(lines) == 0 {
		return
	}
	top := y + h/2 + 5 - 8*(len(lines)-1)
	s.text(x+w/2, top, "middle", ink, lines...)
}

// wire draws a line through the points x, y, x, y, …
func (s *sheet) wire(colour string, points ...int) {
	s.path(colour, "", points)
}

// dashed draws a boundary, not a wire.
func (s *sheet) dashed(colour string, points ...int) {
	s.path(colour, ` stroke-dasharray="7 5"`, points)
}

func (s *sheet) path(colour, more string, points []int) {
	var at []string
	for i := 0; i+1 < len(points); i += 2 {
		at = append(at, fmt.Sprintf("%d,%d", points[i], points[i+1]))
	}
	s.add(`<polyline points="%s" fill="none" stroke="%s" stroke-width="2"%s/>`, strings.Join(at, " "), colour, more)
}

func (s *sheet) dot(x, y int) { s.add(`<circle cx="%d" cy="%d" r="3.5" fill="%s"/>`, x, y, ink) }

// terminal draws an open circle, where a wire is screwed on.
func (s *sheet) terminal(x, y int) {
	s.add(`<circle cx="%d" cy="%d" r="4" fill="%s" stroke="%s" stroke-width="1.5"/>`, x, y, paper, ink)
}

// resistor draws a resistor centred at x, y; upright turns it.
func (s *sheet) resistor(x, y int, upright bool) {
	w, h := 36, 14
	if upright {
		w, h = h, w
	}
	s.add(`<rect x="%d" y="%d" width="%d" height="%d" fill="%s" stroke="%s" stroke-width="2"/>`, x-w/2, y-h/2, w, h, paper, ink)
}

// diode draws a diode in an upright wire, with its cathode above.
func (s *sheet) diode(x, y int) {
	s.add(`<path d="M%d,%d l-9,16 h18 z" fill="%s" stroke="%s" stroke-width="2"/>`, x, y-8, paper, ink)
	s.wire(ink, x-9, y-8, x+9, y-8)
}

// fuse draws a resistor's box with the wire through it.
func (s *sheet) fuse(x, y int) {
	s.resistor(x, y, false)
	s.wire(danger, x-18, y, x+18, y)
}

// ground draws the converter's own ground, not the pack's.
func (s *sheet) ground(x, y int) {
	s.wire(ink, x, y, x, y+8)
	for i, half := range []int{12, 8, 4} {
		s.wire(ink, x-half, y+8+4*i, x+half, y+8+4*i)
	}
}

// contact draws a switch at rest, open or closed.
func (s *sheet) contact(x, y int, closed bool) {
	s.terminal(x-18, y)
	s.terminal(x+18, y)
	if closed {
		s.wire(ink, x-14, y, x+14, y)
		return
	}
	s.wire(ink, x-14, y-2, x+12, y-16)
}
