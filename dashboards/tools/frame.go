package main

import (
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
)

// frame makes a board without panels: its question, variables and links.
func frame(uid, title, question, from string) *dashboard.DashboardBuilder {
	b := dashboard.NewDashboardBuilder(title).Uid("bayward-"+uid).Description(question).Tags([]string{"bayward"}).
		Timezone("browser").Time(from, "now").Refresh("1m").Readonly().Tooltip(dashboard.DashboardCursorSyncCrosshair).
		WithVariable(dashboard.NewDatasourceVariableBuilder("datasource").Label("Prometheus").Type("prometheus"))
	for _, to := range []struct{ uid, title, carries string }{
		// A board is opened for the same Prometheus and sites. The bay's board is for one bay, which nobody has
		// chosen on the others; what was chosen there would hide the rest of the yard.
		{"yard", "yard", "&${site:queryparam}"}, {"agent", "agents", "&${site:queryparam}"}, {"bay", "one bay", ""},
	} {
		if to.uid != uid {
			b.Link(dashboard.NewDashboardLinkBuilder(to.title).Type(dashboard.DashboardLinkTypeLink).Icon("dashboard").KeepTime(true).
				Url("/d/bayward-" + to.uid + "?var-datasource=${datasource}" + to.carries))
		}
	}
	return b
}

// many is a variable of which several values, or all, may be chosen. All also
// matches series without the label.
func many(name, label, query string) *dashboard.QueryVariableBuilder {
	return one(name, label, query).Multi(true).IncludeAll(true).AllValue(".*").Current(dashboard.VariableOption{
		Selected: new(true),
		Text:     dashboard.StringOrArrayOfString{ArrayOfString: []string{"All"}},
		Value:    dashboard.StringOrArrayOfString{ArrayOfString: []string{"$__all"}},
	})
}

// one is a variable of which one value is chosen.
func one(name, label, query string) *dashboard.QueryVariableBuilder {
	return dashboard.NewQueryVariableBuilder(name).Label(label).Datasource(source()).
		Query(dashboard.StringOrMap{String: new(query)}).Definition(query).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortAlphabeticalAsc)
}

// mark is an annotation at each step at which the expression is not 0, drawn as a
// band over consecutive steps. It is off until a reader switches it on: Grafana draws the
// marks of each chosen bay over the curves of all.
func mark(name, colour, expr, words string) *dashboard.AnnotationQueryBuilder {
	return dashboard.NewAnnotationQueryBuilder().Name(name).IconColor(colour).Enable(false).Datasource(source()).
		Expr(expr).Step("60s").TitleFormat(name).TextFormat(words).
		Target(prometheus.NewDataqueryBuilder().RefId(strings.ReplaceAll(name, " ", "-")).Datasource(source()).Expr(expr).Range().Interval("60s"))
}

// cautionsHeight shows all of the cautions on a phone too.
const cautionsHeight = 9

// cautions are on every board that sends people to batteries.
const cautions = "Acid, hydrogen, current: wear face shield, apron and acid-proof gloves; keep metal off the body and away from the terminals; " +
	"no flame, spark or smoking; keep the air moving; eyewash within reach. Local rules and the battery's own instructions come first. " +
	"**bayward is not a certified safety device**: this board informs, it protects nothing. Read the bay's own page before you go to a bay."
