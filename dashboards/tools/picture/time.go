package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// frame maps times and values to pixels.
type frame struct {
	box
	from, to, low, high float64
}

func (f frame) px(at float64) float64 { return f.x + (at-f.from)/(f.to-f.from)*f.w }
func (f frame) py(v float64) float64  { return f.y + f.h - (v-f.low)/(f.high-f.low)*f.h }

func (c *canvas) clock(f frame) {
	for i := range 5 {
		at := f.from + (f.to-f.from)*float64(i)/4
		layout := "15:04"
		if f.to-f.from > 2*86400 {
			layout = "Jan 2"
		}
		c.words(f.px(at)-14, f.y+f.h+12, 10, "#8e8e8e", time.Unix(int64(at), 0).UTC().Format(layout))
	}
}

// gap is the time without a value, in seconds, after which a line breaks.
func (s source) gap() float64 { return 1.5 * s.span.Seconds() / stepsShown }

func (c *canvas) lines(p panel, in box, all []series, s source) {
	d := p.FieldConfig.Defaults
	f := frame{box{in.x + 62, in.y, in.w - 66, in.h - 32}, float64(s.at) - s.span.Seconds(), float64(s.at), math.Inf(1), math.Inf(-1)}
	for _, one := range all {
		for _, v := range one.v {
			if !math.IsNaN(v) {
				f.low, f.high = min(f.low, v), max(f.high, v)
			}
		}
	}
	if f.low > 0 && f.low < f.high/2 {
		f.low = 0
	}
	if f.high-f.low < 1e-9 {
		f.low, f.high = f.low-math.Abs(f.low)/10-1e-6, f.high+math.Abs(f.high)/10+1e-6
	}
	for i := range 4 {
		v := f.low + (f.high-f.low)*float64(i)/3
		text, _ := worded(v, d.Unit, d.Decimals, nil)
		c.add(`<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="#2c3235"/>`, f.x, f.x+f.w, f.py(v), f.py(v))
		c.words(in.x, f.py(v)+4, 10, "#8e8e8e", text)
	}
	c.clock(f)
	x := in.x
	for i, one := range all {
		colour, dash := p.look(one.name, lineColour(i))
		c.path(f, one, s.gap(), colour, dash)
		if w := float64(len([]rune(one.name)))*5.6 + 22; x+w < in.x+in.w {
			c.add(`<rect x="%.1f" y="%.1f" width="10" height="3" fill="%s"/>`, x, in.y+in.h-5, colour)
			c.words(x+13, in.y+in.h, 10, "#d8d9da", one.name)
			x += w
		}
	}
}

// look returns the colour and the dashes that the board gives a series, by its name.
func (p panel) look(name, colour string) (string, string) {
	dash := ""
	for _, o := range p.FieldConfig.Overrides {
		if o.Matcher.Options != name {
			continue
		}
		for _, prop := range o.Properties {
			value, _ := prop.Value.(map[string]any)
			if fixed, ok := value["fixedColor"].(string); ok {
				colour = shade(fixed)
			}
			if prop.ID == "custom.lineStyle" {
				dash = ` stroke-dasharray="6 5"`
			}
		}
	}
	return colour, dash
}

func (c *canvas) path(f frame, one series, gap float64, colour, dash string) {
	var d strings.Builder
	for i, v := range one.v {
		command := "L"
		if i == 0 || one.at[i]-one.at[i-1] > gap || math.IsNaN(one.v[i-1]) {
			command = "M"
		}
		if !math.IsNaN(v) {
			fmt.Fprintf(&d, "%s%.1f %.1f", command, f.px(one.at[i]), f.py(v))
		}
	}
	c.add(`<path d="%s" fill="none" stroke="%s" stroke-width="1.3"%s/>`, d.String(), colour, dash)
}

// bands draws states; where there is no value nothing is drawn.
func (c *canvas) bands(p panel, in box, all []series, s source) {
	f := frame{box{in.x + 120, in.y, in.w - 124, in.h - 16}, float64(s.at) - s.span.Seconds(), float64(s.at), 0, 1}
	rowH := min(f.h/float64(len(all)), 44)
	for row, one := range all {
		y := f.y + float64(row)*rowH
		c.words(in.x, y+rowH/2+4, 11, "#d8d9da", one.name)
		for i := 0; i < len(one.v); {
			j := i + 1
			for j < len(one.v) && one.v[j] == one.v[i] && one.at[j]-one.at[j-1] <= s.gap() {
				j++
			}
			last := one.at[j-1] + s.span.Seconds()/stepsShown
			if j < len(one.v) && one.at[j] < last+s.gap() {
				last = one.at[j]
			}
			c.band(p, f, y, rowH, one.at[i], min(last, f.to), one.v[i])
			i = j
		}
	}
	c.clock(f)
}

func (c *canvas) band(p panel, f frame, y, h, from, to, v float64) {
	text, colour := worded(v, "none", nil, p.FieldConfig.Defaults.Mappings)
	w := f.px(to) - f.px(from)
	c.add(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s"/>`, f.px(from), y+2, max(w, 1), h-4, colour)
	if float64(len(text))*6+6 < w {
		c.words(f.px(from)+4, y+h/2+4, 10, "#111217", text)
	}
}

// column is one of a table: of a label, or of the values of a query.
type column struct {
	from, title string
	query       int // -1 for a label
	order       int
}

// columns gives those that the board shows, in its order.
func (p panel) columns(labels []string, queries int) (all []column) {
	for _, l := range labels {
		all = append(all, column{from: l, query: -1})
	}
	for i := range queries {
		name := "Value"
		if queries > 1 {
			name += " #" + string(rune('A'+i))
		}
		all = append(all, column{from: name, query: i})
	}
	hidden := map[string]bool{}
	for i := range all {
		c := &all[i]
		c.title, c.order = c.from, len(all)
		for _, t := range p.Transformations {
			if title, ok := t.Options.RenameByName[c.from]; ok {
				c.title = title
			}
			if order, ok := t.Options.IndexByName[c.from]; ok {
				c.order = order
			}
			hidden[c.title] = hidden[c.title] || t.Options.ExcludeByName[c.from]
		}
		hidden[c.title] = hidden[c.title] || p.hides(c.title)
	}
	all = slices.DeleteFunc(all, func(c column) bool { return hidden[c.title] })
	slices.SortStableFunc(all, func(a, b column) int { return cmp.Compare(a.order, b.order) })
	return all
}

func (p panel) hides(title string) bool {
	for _, o := range p.FieldConfig.Overrides {
		for _, prop := range o.Properties {
			if o.Matcher.Options == title && prop.ID == "custom.hidden" && prop.Value == true {
				return true
			}
		}
	}
	return false
}

// table joins the results by their labels, as the board's transformations do.
func (c *canvas) table(p panel, in box, answers [][]series) {
	labels, rows := tableRows(answers)
	if by := p.Options.SortBy; len(by) > 0 && !by[0].Desc {
		slices.Reverse(rows)
	}
	head := p.columns(labels, len(answers))
	w := in.w / float64(len(head))
	for i, one := range head {
		c.words(in.x+float64(i)*w, in.y+10, 11, "#8ab8ff", one.title)
	}
	for r, row := range rows {
		y := in.y + 28 + float64(r)*19
		if y > in.y+in.h {
			break
		}
		for i, one := range head {
			text, colour := row.labels[one.from], "#d8d9da"
			if one.query >= 0 {
				v := row.values[one.query]
				if math.IsNaN(v) {
					continue
				}
				text, colour = p.cell(one.title, v)
			}
			c.words(in.x+float64(i)*w, y, 11, colour, short(text, w))
		}
	}
}

type tableRow struct {
	labels map[string]string
	values []float64
}

// fits reports whether a series belongs in a row: what both have of labels is the same.
func (r *tableRow) fits(one series, query int) bool {
	for name, value := range one.labels {
		if own, ok := r.labels[name]; ok && own != value {
			return false
		}
	}
	return math.IsNaN(r.values[query])
}

func tableRows(answers [][]series) (labels []string, rows []*tableRow) {
	for i, got := range answers {
		for _, one := range got {
			at := slices.IndexFunc(rows, func(r *tableRow) bool { return r.fits(one, i) })
			if at < 0 {
				at = len(rows)
				rows = append(rows, &tableRow{map[string]string{}, slices.Repeat([]float64{math.NaN()}, len(answers))})
			}
			rows[at].values[i] = one.v[len(one.v)-1]
			for name, value := range one.labels {
				rows[at].labels[name] = value
				if !slices.Contains(labels, name) {
					labels = append(labels, name)
				}
			}
		}
	}
	slices.Sort(labels)
	slices.SortStableFunc(rows, func(a, b *tableRow) int {
		if order := cmp.Compare(b.values[0], a.values[0]); order != 0 {
			return order
		}
		return strings.Compare(fmt.Sprint(a.labels), fmt.Sprint(b.labels))
	})
	return labels, rows
}

// cell returns a value as its column shows it.
func (p panel) cell(column string, v float64) (text, colour string) {
	unit, decimals, mappings := p.FieldConfig.Defaults.Unit, new(2), []mapping(nil)
	for _, o := range p.FieldConfig.Overrides {
		if o.Matcher.Options != column {
			continue
		}
		for _, prop := range o.Properties {
			switch value := prop.Value.(type) {
			case string:
				if prop.ID == "unit" {
					unit = value
				}
			case float64:
				if prop.ID == "decimals" {
					decimals = new(int(value))
				}
			case []any:
				mappings = words(value)
			}
		}
	}
	if text, colour = worded(v, unit, decimals, mappings); colour == "" {
		colour = "#d8d9da"
	}
	return text, colour
}
