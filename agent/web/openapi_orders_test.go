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
		for _, name := range names {
			line("        - { $ref: \"#/components/schemas/%s\" }", typeName(s.name, name))
		}
		line("      unevaluatedProperties: false")
		for i, k := range kinds {
			row, fields, required := k.Row(), "", ", required: [action]"
			about := fmt.Sprintf("%s Needs the role %s where people are configured.", row.Does, row.Right)
			for _, f := range slices.Concat(row.Fields, row.Optional) {
				about := words.Capital(ordertest.About(f)) + "."
				if names[i] == namePack {
					about = words.Capital(f.About) + "."
				}
				fields += ", " + f.Name + ": " + ordertest.Property(f, about)
			}
			switch need := ordertest.Required(k); {
			case strings.HasPrefix(need, "required: ["):
				required = ", " + strings.Replace(need, "[", "[action, ", 1)
			case need != "":
				required += ", " + need
			}
			switch names[i] {
			case namePack:
				fields = strings.Replace(fields, "minLength: 0", "minLength: 1", 1)
			case forgetPack:
				fields, required = "", ", required: [action]"
			}
			line("    %s: { type: object, description: %s, properties: { action: { type: string, const: %s }%s }%s }",
				typeName(s.name, names[i]), ordertest.Quoted(about), names[i], fields, required)
		}
	}
	ordertest.Made(t, "openapi.yaml", "# What follows is made from agent/order", "Done:", b.String(), *update)
}

// typeName is how generated clients call one action of an order: VisitOrder and level-read make
// VisitOrderLevelRead.
func typeName(orders, action string) string {
	for word := range strings.SplitSeq(action, "-") {
		orders += words.Capital(word)
	}
	return orders
}
