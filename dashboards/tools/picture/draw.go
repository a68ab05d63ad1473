package main

import (
	"fmt"
	"strings"
	"time"
)

const (
	unitW, unitH = 58.0, 30.0 // pixels of a grid unit
	headH        = 64.0
	pad          = 8.0
)

// canvas collects SVG.
type canvas struct{ strings.Builder }

func (c *canvas) add(format string, args ...any) { fmt.Fprintf(c, format+"\n", args...) }

func (c *canvas) words(x, y float64, size int, colour, text string) {
	c.add(`<text x="%.1f" y="%.1f" font-size="%d" fill="%s">%s</text>`, x, y, size, colour, escaped(text))
}

// box is the area of a panel's content.
type box struct{ x, y, w, h float64 }

func draw(b board, s source) (string, error) {
	height := headH
	for _, p := range b.Panels {
		height = max(height, headH+(p.GridPos.Y+p.GridPos.H)*unitH)
	}
	c := &canvas{}
	width := 24*unitW + 2*pad
	c.add(`<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f" viewBox="0 0 %.0f %.0f" font-family="sans-serif">`, width, height+pad, width, height+pad)
	c.add(`<rect width="100%%" height="100%%" fill="#111217"/>`)
	c.words(pad, 26, 20, "#ffffff", b.Title)
	c.words(pad, 46, 13, "#a8a9ad", b.Description)
	until := time.Unix(s.at, 0).UTC()
	c.words(width-420, 26, 12, "#a8a9ad", fmt.Sprintf("%.0f hours until %s UTC, the demo's time", s.span.Hours(), until.Format("2006-01-02 15:04")))
	for _, p := range b.Panels {
		if err := drawPanel(c, p, s); err != nil {
			return "", err
		}
	}
	c.add("</svg>")
	return c.String(), nil
}

func drawPanel(c *canvas, p panel, s source) error {
	x, y := pad+p.GridPos.X*unitW, headH+p.GridPos.Y*unitH
	w, h := p.GridPos.W*unitW-4, p.GridPos.H*unitH-4
	if p.Type == "row" {
		c.words(x, y+20, 15, "#ffffff", s.fill.Replace(p.Title))
		return nil
	}
	c.add(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" rx="3" fill="#181b1f" stroke="#2c3235"/>`, x, y, w, h)
	c.words(x+8, y+18, 13, "#d8d9da", short(p.Title, w*0.95))
	in := box{x + 8, y + 28, w - 16, h - 36}
	if p.Type == "text" {
		c.wrapped(in, strings.ReplaceAll(p.Options.Content, "**", ""))
		return nil
	}
	var answers [][]series
	found := 0
	for _, t := range p.Targets {
		got, err := s.ask(t.Expr, t.LegendFormat, t.Range)
		if err != nil {
			return fmt.Errorf("%s: %w", p.Title, err)
		}
		found += len(got)
		answers = append(answers, got)
	}
	if found == 0 {
		text, colour := absent(p)
		c.words(in.x, in.y+in.h/2, 13, colour, text)
		return nil
	}
	switch p.Type {
	case "stat":
		c.number(p, in, answers[0])
	case "table":
		c.table(p, in, answers)
	case "state-timeline":
		c.bands(p, in, joined(answers), s)
	default:
		c.lines(p, in, joined(answers), s)
	}
	return nil
}

func joined(answers [][]series) []series {
	var all []series
	for _, a := range answers {
		all = append(all, a...)
	}
	return all
}

func (c *canvas) wrapped(in box, text string) {
	y, line := in.y+10, ""
	for word := range strings.FieldsSeq(text) {
		if float64(len(line)+len(word))*6 > in.w {
			c.words(in.x, y, 12, "#d8d9da", line)
			y, line = y+15, ""
		}
		line += word + " "
	}
	c.words(in.x, y, 12, "#d8d9da", line)
}

func (c *canvas) number(p panel, in box, got []series) {
	d := p.FieldConfig.Defaults
	v := got[0].v[len(got[0].v)-1]
	text, _ := worded(v, d.Unit, d.Decimals, d.Mappings)
	colour := "text"
	for _, step := range d.Thresholds.Steps {
		if step.Value == nil || v >= *step.Value {
			colour = step.Color
		}
	}
	c.words(in.x+in.w/2-float64(len(text))*8, in.y+in.h*0.65, 34, shade(colour), text)
}
