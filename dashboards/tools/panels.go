package main

import (
	"regexp"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// text is the text of a panel: its title, often a question; what the panel shows;
// the unit of its numbers; and what it means when the panel is empty, which never
// shows as 0.
type text struct {
	title, about, unit, empty string
}

// query is one expression and the name of its result.
type query struct{ expr, legend string }

const boardWidth = 24

// source follows the board's variable: with a fixed uid the panel is blank in every
// Grafana except the one it was written in.
func source() common.DataSourceRef {
	return common.DataSourceRef{Type: new("prometheus"), Uid: new("${datasource}")}
}

func target(i int, q query) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().RefId(string(rune('A' + i))).Datasource(source()).
		Expr(q.expr).LegendFormat(q.legend).EditorMode(prometheus.QueryEditorModeCode)
}

// number shows one current figure. No value has a colour of its own: with the words alone Grafana writes
// them in the colour of the lowest threshold, which is that of all well.
func number(t text, span uint32, colour *dashboard.ThresholdsConfigBuilder, q query) *stat.PanelBuilder {
	return stat.NewPanelBuilder().Title(t.title).Description(t.about).Unit(t.unit).NoValue(t.empty).
		Datasource(source()).Span(span).Height(4).Thresholds(colour).Mappings([]dashboard.ValueMapping{unknown(t.empty)}).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdThresholds)).
		ColorMode(common.BigValueColorModeValue).GraphMode(common.BigValueGraphModeNone).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"})).
		WithTarget(target(0, q).Instant())
}

// lines shows series over time. Gaps stay gaps: nothing is drawn where there was no
// value. It sets no decimals: where an axis needs more than are set, Grafana writes the
// words for no data on it.
func lines(t text, span uint32, queries ...query) *timeseries.PanelBuilder {
	p := timeseries.NewPanelBuilder().Title(t.title).Description(t.about).Unit(t.unit).NoValue(t.empty).
		Datasource(source()).Span(span).Height(8).LineWidth(1).FillOpacity(0).
		SpanNulls(common.BoolOrFloat64{Bool: new(false)}).ShowPoints(common.VisibilityModeNever).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderDescending))
	for i, q := range queries {
		p.WithTarget(target(i, q).Range())
	}
	return p
}

// limit draws a series as a limit, not as a measurement.
func limit(p *timeseries.PanelBuilder, name, colour string) {
	p.OverrideByName(name, []dashboard.DynamicConfigValue{
		{Id: "color", Value: map[string]any{"mode": "fixed", "fixedColor": colour}},
		{Id: "custom.lineStyle", Value: map[string]any{"fill": "dash", "dash": []int{8, 8}}},
	})
}

// bands shows states over time. The colour mode is fixed and the mappings carry the
// colours: with colours by threshold a state timeline drops the words.
func bands(t text, span uint32, mappings []dashboard.ValueMapping, queries ...query) *statetimeline.PanelBuilder {
	p := statetimeline.NewPanelBuilder().Title(t.title).Description(t.about).Unit(t.unit).NoValue(t.empty).
		Datasource(source()).Span(span).Height(7).Mappings(mappings).
		ColorScheme(dashboard.NewFieldColorBuilder().Mode(dashboard.FieldColorModeIdFixed).FixedColor("text")).
		MergeValues(true).ShowValue(common.VisibilityModeAuto).RowHeight(0.8).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(false).DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeSingle).Sort(common.SortOrderNone))
	for i, q := range queries {
		p.WithTarget(target(i, q).Range())
	}
	return p
}

// column is one query of a table: its title, unit and decimals, and the words
// for its values if they are states.
type column struct {
	query
	unit     string
	decimals int
	mappings []dashboard.ValueMapping
}

// hidden is a column that is asked for its labels, which become columns of the table.
func hidden(name, expr string) column { return column{query{expr, name}, "hidden", 0, nil} }

// order is how the columns of a table stand: what a reader looks for first, and where it is last. On a phone
// and in half a board only the first are seen.
var order = []string{"bay", "cell", "code", "sensor", "version", "Value", "Value #A", "pack", "Value #B", "Value #C", "Value #D", "Value #E", "Value #F", "Value #G", "Value #H", "Value #I", "agent", "site", "instance", "scheme", "Time"}

// widths in pixels of the columns with a label that stand before the answer. Together with it they fit a
// phone, which is 390 wide; without a width all columns share the panel evenly and words are cut.
var widths = map[string]int{"bay": 80, "cell": 60, "code": 150, "sensor": 150, "version": 110}

// valueWidth and wordWidth are the widths of a column of numbers and of one of words.
const valueWidth, wordWidth = 100, 140

// ascending is the sorting of a table whose smallest value is the worst.
func ascending(column string) sortedBy { return sortedBy{column, false} }

// descending is the sorting of a table whose largest value is the worst.
func descending(column string) sortedBy { return sortedBy{column, true} }

// list is a table of current values with one row for each combination of the labels
// that the queries keep. All queries must keep the same labels, or rows do not join;
// one may have a label of its own.
func list(t text, span uint32, by sortedBy, columns ...column) *table.PanelBuilder {
	p := table.NewPanelBuilder().Title(t.title).Description(t.about).Unit(t.unit).NoValue(t.empty).
		Datasource(source()).Span(span).Height(9).ShowHeader(true).MinWidth(70).
		Footer(common.NewTableFooterOptionsBuilder().Show(false).Reducer([]string{"sum"}))
	rename, index := map[string]string{}, map[string]int{}
	for i, name := range order {
		index[name] = i
	}
	for i, c := range columns {
		p.WithTarget(target(i, c.query).Instant().Format(prometheus.PromQueryFormatTable))
		field := "Value"
		if len(columns) > 1 {
			field += " #" + string(rune('A'+i))
		}
		rename[field] = c.legend
		p.OverrideByName(c.legend, c.look())
	}
	if len(columns) > 1 {
		p.WithTransformation(dashboard.DataTransformerConfig{Id: "merge", Options: map[string]any{}})
	}
	p.WithTransformation(dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{
		"excludeByName": map[string]bool{"Time": true}, "indexByName": index, "renameByName": rename,
	}})
	for _, name := range order {
		if widths[name] > 0 && regexp.MustCompile(`[(, ]`+name+`[,)]`).MatchString(columns[0].expr) {
			p.OverrideByName(name, []dashboard.DynamicConfigValue{{Id: "custom.width", Value: widths[name]}})
		}
	}
	for _, name := range []string{"instance", "scheme"} { // links need them, readers do not
		p.OverrideByName(name, []dashboard.DynamicConfigValue{{Id: "custom.hidden", Value: true}})
	}
	return p.SortBy([]cog.Builder[common.TableSortByFieldState]{by})
}

func (c column) look() []dashboard.DynamicConfigValue {
	if c.unit == "hidden" {
		return []dashboard.DynamicConfigValue{{Id: "custom.hidden", Value: true}}
	}
	// The words of the panel say why the whole table is empty; in a single field they would be wrong.
	look := []dashboard.DynamicConfigValue{{Id: "unit", Value: c.unit}, {Id: "decimals", Value: c.decimals}, {Id: "noValue", Value: notKnown}}
	width := valueWidth
	if c.mappings != nil {
		width = wordWidth
		look = append(look, dashboard.DynamicConfigValue{Id: "mappings", Value: c.mappings},
			dashboard.DynamicConfigValue{Id: "custom.displayMode", Value: "color-text"})
	}
	return append(look, dashboard.DynamicConfigValue{Id: "custom.width", Value: width})
}

// notKnown stands in a field of a table that has no value.
const notKnown = "not known"

// sortedBy is how a table is sorted.
type sortedBy struct {
	column string
	desc   bool
}

// Build implements cog.Builder.
func (s sortedBy) Build() (common.TableSortByFieldState, error) {
	return common.TableSortByFieldState{DisplayName: s.column, Desc: new(s.desc)}, nil
}
