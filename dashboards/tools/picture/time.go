package main

import (
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

// table joins the results by their labels, as the board's transformations do.
func (c *canvas) table(p panel, in box, answers [][]series) {
	rename := map[string]string{}
	for _, t := range p.Transformations {
		for from, to := range t.Options.RenameByName {
			rename[from] = to
		}
	}
	labels, rows, keys := tableRows(answers)
	head := slices.Clone(labels)
	for i := range answers {
		name := "Value"
		if len(answers) > 1 {
			name += " #" + string(rune('A'+i))
		}
		head = append(head, rename[name])
	}
	w := in.w / float64(len(head))
	for i, name := range head {
		c.words(in.x+float64(i)*w, in.y+10, 11, "#8ab8ff", name)
	}
	for r, key := range keys {
		y := in.y + 28 + float64(r)*19
		if y > in.y+in.h {
			break
		}
		for i, label := range labels {
			c.words(in.x+float64(i)*w, y, 11, "#d8d9da", short(rows[key].labels[label], w))
		}
		for i, v := range rows[key].values {
			if !math.IsNaN(v) {
				text, colour := p.cell(head[len(labels)+i], v)
				c.words(in.x+float64(len(labels)+i)*w, y, 11, colour, text)
			}
		}
	}
}

type tableRow struct {
	labels map[string]string
	values []float64
}

func tableRows(answers [][]series) (labels []string, rows map[string]tableRow, keys []string) {
	rows = map[string]tableRow{}
	for i, got := range answers {
		for _, one := range got {
			key := fmt.Sprint(one.labels)
			row, ok := rows[key]
			if !ok {
				row = tableRow{one.labels, slices.Repeat([]float64{math.NaN()}, len(answers))}
				keys = append(keys, key)
			}
			row.values[i] = one.v[len(one.v)-1]
			rows[key] = row
			for label := range one.labels {
				if !slices.Contains(labels, label) {
					labels = append(labels, label)
				}
			}
		}
	}
	slices.Sort(labels)
	slices.SortStableFunc(keys, func(a, b string) int {
		switch x, y := rows[a].values[0], rows[b].values[0]; {
		case x > y:
			return -1
		case x < y:
			return 1
		default:
			return strings.Compare(a, b)
		}
	})
	return labels, rows, keys
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
