package config

import (
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"bayward/agent/electrolyte"
	"bayward/agent/words"
	"bayward/sensors/families"
	"bayward/sensors/level"
)

// rule is what one key accepts by itself, from the tags of its field. Checks,
// complaints, the schema and the test of the example all use it.
//
//	accept:"1 to 2000 Ah"              a number between two bounds, both included
//	accept:"above 1, to 1000"          the same without the lower bound itself
//	accept:"8, 16 or 32 samples"       one of some numbers
//	accept:"case or electrolyte"       one of some words
//	accept:"<languages>"               one of a list that is defined elsewhere
//	default:"20"                       optional, with this default; "" leaves it empty
//	required:"yes"                     must be set, and is checked by hand
type rule struct {
	key       string
	text      string         // what is accepted, as the tag has it
	says      words.Sentence // the same, for a rule without a tag
	low, high float64
	open      bool // the lower bound itself is not accepted
	ranged    bool
	choices   []string
	fallback  string
	optional  bool
}

// lists returns a list that is defined elsewhere, by the name that a tag uses for
// it.
func lists(name string) []string {
	switch name {
	case "units":
		return words.Systems()
	case "languages":
		return words.Languages()
	case "charger curves":
		return []string{
			electrolyte.CurveIU.String(), electrolyte.CurveIUI.String(), electrolyte.CurveTaper.String(),
			electrolyte.CurveUnregulated.String(), electrolyte.CurveUnknown.String(),
		}
	case "readings":
		return readings()
	case "families of converters":
		return families.Names()
	case "kinds of level probe":
		var all []string
		for _, kind := range level.Kinds() {
			all = append(all, string(kind))
		}
		return all
	}
	panic("bug: no list " + name)
}

var (
	rangeForm  = regexp.MustCompile(`^(above )?(-?[0-9a-fx.]+),? to (-?[0-9a-fx.]+)\b`)
	choiceForm = regexp.MustCompile(`^(\S+(?:, \S+)*) or (\S+)`)
)

// ruleOf reads the tags of a field; ok is false for a field without a rule.
func ruleOf(f reflect.StructField) (r rule, ok bool) {
	r.key, _, _ = strings.Cut(f.Tag.Get("yaml"), ",")
	r.fallback, r.optional = f.Tag.Lookup("default")
	if r.text, ok = f.Tag.Lookup("accept"); !ok {
		return r, false
	}
	if name, found := strings.CutPrefix(r.text, "<"); found {
		r.choices = lists(strings.TrimSuffix(name, ">"))
		r.text = either(r.choices)
		return r, true
	}
	if m := rangeForm.FindStringSubmatch(r.text); m != nil {
		r.open, r.ranged, r.low, r.high = m[1] != "", true, numeral(m[2]), numeral(m[3])
		return r, true
	}
	m := choiceForm.FindStringSubmatch(r.text)
	if m == nil {
		panic("bug: accept:" + strconv.Quote(r.text) + " is neither a range nor a choice")
	}
	r.choices = append(strings.Split(m[1], ", "), m[2])
	return r, true
}

func either(all []string) string {
	if len(all) == 1 {
		return all[0]
	}
	return strings.Join(all[:len(all)-1], ", ") + " or " + all[len(all)-1]
}

// numeral reads a decimal number, or a hexadecimal address.
func numeral(s string) float64 {
	if n, err := strconv.ParseInt(s, 0, 64); err == nil {
		return float64(n)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("bug: " + err.Error())
	}
	return v
}

// takes reports whether the rule accepts a value.
func (r *rule) takes(v reflect.Value) bool {
	if r.ranged {
		n := asNumber(v)
		return n >= r.low && n <= r.high && !(r.open && n == r.low)
	}
	if v.Kind() == reflect.String {
		return slices.Contains(r.choices, v.String())
	}
	return slices.ContainsFunc(r.choices, func(one string) bool { return numeral(one) == asNumber(v) })
}

func asNumber(v reflect.Value) float64 {
	switch {
	case v.CanInt():
		return float64(v.Int())
	case v.CanUint():
		return float64(v.Uint())
	}
	return v.Float()
}

// fill sets a field to its default.
func (r *rule) fill(v reflect.Value) {
	switch {
	case r.fallback == "":
	case v.Kind() == reflect.String:
		v.SetString(r.fallback)
	case v.CanInt():
		v.SetInt(int64(numeral(r.fallback)))
	default:
		v.SetFloat(numeral(r.fallback))
	}
}

// fields checks every key of a part that has a rule and fills in defaults. The part
// is a pointer to its struct.
func (c *checker) fields(at string, part any) {
	v := reflect.ValueOf(part).Elem()
	for i := range v.NumField() {
		f := v.Type().Field(i)
		if f.Anonymous {
			c.fields(at, v.Field(i).Addr().Interface())
			continue
		}
		if r, ok := ruleOf(f); ok {
			c.judge(strings.TrimPrefix(at+"."+r.key, "."), &r, v.Field(i))
		}
	}
}

func (c *checker) judge(field string, r *rule, v reflect.Value) {
	switch {
	case !c.present(field) && r.optional:
		r.fill(v)
	case c.missing(field, say("must-be", r.sentence())) || c.bad[field]:
	case !r.takes(v):
		c.reject(field, say("must-be", r.sentence()))
	}
}

// number checks a value that is not in a field of a part.
func (c *checker) number(field string, v float64, r *rule) { c.judge(field, r, reflect.ValueOf(v)) }

// ranged returns the rule of a key whose bounds come from another table.
func ranged(low, high float64, unit string) *rule {
	return &rule{ranged: true, low: low, high: high, text: strings.TrimSpace(plain(low) + " to " + plain(high) + " " + unit)}
}

// sentence is what the rule accepts, for use after "must be".
func (r *rule) sentence() words.Sentence {
	switch {
	case r.says.Key != "":
		return r.says
	case r.ranged:
		m := rangeForm.FindStringSubmatch(r.text)
		key := "range-of"
		if r.open {
			key = "range-above"
		}
		return say(key, m[2], m[3], rest(r.text[len(m[0]):]))
	}
	_, after, found := strings.Cut(r.text, " or "+r.choices[len(r.choices)-1])
	if !found || after == "" {
		return listed(r.choices)
	}
	last := len(r.choices) - 1
	return say("choice-of", strings.Join(r.choices[:last], ", "), r.choices[last], rest(after))
}

// listed is a list of alternatives.
func listed(all []string) words.Sentence {
	if len(all) == 1 {
		return say("plain", all[0])
	}
	return say("choice", strings.Join(all[:len(all)-1], ", "), all[len(all)-1])
}

var wordForm = regexp.MustCompile(`[a-z0-9]+`)

// restKey is the key of a unit or a remark that follows the bounds.
func restKey(text string) string {
	all := wordForm.FindAllString(strings.ToLower(text), -1)
	return "rest." + strings.Join(all[:min(len(all), 7)], "-")
}

// rest is what follows the bounds; a unit that is the same in all languages is no word.
func rest(text string) words.Sentence {
	bare := strings.TrimLeft(text, " ,:")
	mark := text[:len(text)-len(bare)]
	if key := restKey(bare); words.EnglishSI().Has("config." + key) {
		return say("rest", mark, say(key))
	}
	return say("rest", mark, bare)
}
