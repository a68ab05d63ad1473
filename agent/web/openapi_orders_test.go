package web

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"

	"bayward/agent/order"
	"bayward/agent/order/ordertest"
	"bayward/agent/words"
)

var update = flag.Bool("update", false, "write the parts of files that are made from the program")

// Actions returns the orders of one address of the interface by their names there.
var Actions = actions

// TestOpenAPIOrders: the orders in openapi.yaml are generated from the table.
func TestOpenAPIOrders(t *testing.T) {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	for _, s := range []struct {
		name string
		of   order.Subject
	}{{"VisitOrder", order.OfVisit}, {"HoldOrder", order.OfCharge}, {"PackOrder", order.OfPack}} {
		line("    %s:\n      type: object\n      required: [action]\n      properties:", s.name)
		line("        action: { type: string }\n        by: { $ref: \"#/components/schemas/Person\" }\n        id: { $ref: \"#/components/schemas/OrderID\" }\n      oneOf:")
		names, kinds := actions(s.of)
		for i, k := range kinds {
			row, fields, required := k.Row(), "", ""
			about := fmt.Sprintf("%s Needs the role %s where people are configured.", row.Does, row.Right)
			for _, f := range slices.Concat(row.Fields, row.Optional) {
				about := words.Capital(ordertest.About(f)) + "."
				if names[i] == namePack {
					about = words.Capital(f.About) + "."
				}
				fields += ", " + f.Name + ": " + ordertest.Property(f, about)
			}
			if need := ordertest.Required(k); need != "" {
				required = ", " + need
			}
			switch names[i] {
			case namePack:
				fields = strings.Replace(fields, "minLength: 0", "minLength: 1", 1)
			case forgetPack:
				fields, required = "", ""
			}
			line("        - { description: %s, properties: { action: { const: %s }%s }%s }", ordertest.Quoted(about), names[i], fields, required)
		}
		line("      unevaluatedProperties: false")
	}
	ordertest.Made(t, "openapi.yaml", "# What follows is made from agent/order", "Done:", b.String(), *update)
}
