package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// source is where the numbers come from, and for which time.
type source struct {
	server string
	at     int64
	span   time.Duration
	fill   *strings.Replacer
}

// series is one result; a single value has one point.
type series struct {
	labels map[string]string
	name   string
	at, v  []float64
}

const stepsShown = 360

func (s source) ask(expr, legend string, overTime bool) ([]series, error) {
	form, path := url.Values{"query": {s.fill.Replace(expr)}}, "/api/v1/query"
	form.Set("time", strconv.FormatInt(s.at, 10))
	if overTime {
		path = "/api/v1/query_range"
		form.Set("start", strconv.FormatInt(s.at-int64(s.span.Seconds()), 10))
		form.Set("end", strconv.FormatInt(s.at, 10))
		form.Set("step", strconv.FormatInt(int64(s.span.Seconds())/stepsShown, 10))
	}
	answer, err := http.Get(s.server + path + "?" + form.Encode())
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	var a struct {
		Error string
		Data  struct {
			Result []struct {
				Metric map[string]string
				Value  []any
				Values [][]any
			}
		}
	}
	if err := json.NewDecoder(answer.Body).Decode(&a); err != nil || a.Error != "" {
		return nil, fmt.Errorf("%s: %v %s", expr, err, a.Error)
	}
	var all []series
	for _, r := range a.Data.Result {
		one := series{labels: r.Metric, name: s.fill.Replace(named(legend, r.Metric))}
		if r.Value != nil {
			r.Values = append(r.Values, r.Value)
		}
		for _, pair := range r.Values {
			at, _ := pair[0].(float64)
			text, _ := pair[1].(string)
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				return nil, fmt.Errorf("%s: value %q", expr, text)
			}
			one.at, one.v = append(one.at, at), append(one.v, v)
		}
		all = append(all, one)
	}
	slices.SortStableFunc(all, func(a, b series) int { return strings.Compare(a.name, b.name) })
	return all, nil
}

// named replaces {{label}} in a legend.
func named(legend string, labels map[string]string) string {
	for label, value := range labels {
		legend = strings.ReplaceAll(legend, "{{"+label+"}}", value)
	}
	return legend
}
