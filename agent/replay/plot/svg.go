package plot

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// Lengths are points (1/72 inch) from the upper left corner of the page.

// place is where a text is relative to its point.
type place string

const (
	fromLeft place = "start"
	centred  place = "middle"
	toRight  place = "end"
)

// stroke is how a line is drawn.
type stroke struct {
	colour string
	width  float64
	dashes string // lengths of line and gap, "" means solid
}

func (s stroke) String() string {
	out := `stroke="` + s.colour + `" stroke-width="` + num(s.width) + `"`
	if s.dashes != "" {
		out += ` stroke-dasharray="` + s.dashes + `"`
	}
	return out
}

// page collects an SVG.
type page struct{ out bytes.Buffer }

func newPage(w, h float64) *page {
	p := &page{}
	fmt.Fprintf(&p.out, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]spt" height="%[2]spt" viewBox="0 0 %[1]s %[2]s" font-family="Liberation Sans, Arial, Helvetica, sans-serif" fill="none">
`, num(w), num(h))
	p.box(white, 0, 0, w, h)
	return p
}

func (p *page) end() []byte {
	p.out.WriteString("</svg>\n")
	return p.out.Bytes()
}

// num is a length to a hundredth.
func num(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }

func (p *page) box(fill string, x0, y0, x1, y1 float64) {
	fmt.Fprintf(&p.out, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>
`, num(x0), num(y0), num(x1-x0), num(y1-y0), fill)
}

func (p *page) line(s stroke, x0, y0, x1, y1 float64) {
	fmt.Fprintf(&p.out, `<path d="M%s %sL%s %s" %v/>
`, num(x0), num(y0), num(x1), num(y1), s)
}

// curve draws through the points, each an x and a y.
func (p *page) curve(s stroke, points [][2]float64) {
	p.out.WriteString(`<path d="`)
	for i, at := range points {
		to := "L"
		if i == 0 {
			to = "M"
		}
		p.out.WriteString(to + num(at[0]) + " " + num(at[1]))
	}
	fmt.Fprintf(&p.out, `" stroke-linejoin="round" %v/>
`, s)
}

// text writes with its base line at y.
func (p *page) text(size, x, y float64, at place, s string) {
	fmt.Fprintf(&p.out, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="%s">%s</text>
`, num(x), num(y), num(size), at, ink, escaped(s))
}

// upwards writes text rotated by a right angle, centred on y.
func (p *page) upwards(size, x, y float64, s string) {
	fmt.Fprintf(&p.out, `<text transform="translate(%s %s) rotate(-90)" font-size="%s" text-anchor="middle" fill="%s">%s</text>
`, num(x), num(y), num(size), ink, escaped(s))
}

// escaped replaces the special characters of XML, and drops those that it does not
// allow: a file name may contain anything.
func escaped(s string) string {
	allowed := func(r rune) rune {
		if r < ' ' || r == 0xFFFE || r == 0xFFFF {
			return -1
		}
		return r
	}
	return html.EscapeString(strings.Map(allowed, strings.ToValidUTF8(s, "?")))
}

// wide estimates the width of a text: letters of a sans face are half as wide as
// high, and a little more.
func wide(size float64, s string) float64 { return 0.53 * size * float64(len([]rune(s))) }
