package mqtt

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"bayward/agent/order"
	"bayward/agent/order/ordertest"
)

// TestContractOrders: the orders in asyncapi.yaml are generated from the table.
func TestContractOrders(t *testing.T) {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("        order: { type: string, enum: [%s], description: %s }", strings.Join(append(orderNames(), askState), ", "), ordertest.Quoted(aboutOrders()))
	for _, f := range order.Fields() {
		line("        %s: %s", f.Name, ordertest.Property(f, strings.Join(takers(f), ", ")+": "+ordertest.About(f)+"."))
	}
	line("      allOf:")
	for k := order.None + 1; k < order.NumKinds; k++ {
		if required := ordertest.Required(k); required != "" {
			line("        - if: { properties: { order: { const: %s } } }\n          then: { %s }", k, required)
		}
	}
	for _, f := range order.Fields() {
		line("        - if: { properties: { order: { enum: [%s] } } }\n          else: { properties: { %s: false } }", strings.Join(takers(f), ", "), f.Name)
	}
	line("    open:\n      description: An order that needs no signature.\n      allOf:\n        - { $ref: '#/components/schemas/order' }")
	line("        - required: [by]\n          properties: { order: { enum: [%s] } }", strings.Join(append(needing(order.MayLook), askState), ", "))
	ordertest.Made(t, "asyncapi.yaml", "# The rest is generated from agent/order", "signed:", b.String(), *update)
}

// takers returns the orders that have a field.
func takers(f *order.Field) (names []string) {
	for k := order.None + 1; k < order.NumKinds; k++ {
		if k.Row().Takes(f) {
			names = append(names, k.String())
		}
	}
	return names
}

// needing returns the orders that need exactly this right.
func needing(r order.Right) (names []string) {
	for k := order.None + 1; k < order.NumKinds; k++ {
		if k.Row().Right == r {
			names = append(names, k.String())
		}
	}
	return names
}

func aboutOrders() string {
	text := "What to do. Without a signature: " + strings.Join(append(needing(order.MayLook), askState), ", ") +
		". With the role visit also: " + strings.Join(needing(order.MayVisit), ", ") +
		". With the role release also: " + strings.Join(needing(order.MayRelease), ", ") + "."
	for k := order.None + 1; k < order.NumKinds; k++ {
		text += " " + k.String() + ": " + lower(k.Row().Does)
	}
	return text + " " + askState + ": publish the state now."
}

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

// TestOrdersAreNamed: the documents about orders name each order and each field.
func TestOrdersAreNamed(t *testing.T) {
	for _, file := range []string{"README.md", "../deploy/mosquitto/order"} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range orderNames() {
			if !strings.Contains(string(text), name) {
				t.Errorf("%s does not name the order %s", file, name)
			}
		}
	}
	script, err := os.ReadFile("../deploy/mosquitto/order")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range order.Fields() {
		if n := strings.Count(string(script), f.Name); n < 2 || !strings.Contains(string(script), f.Name+"=") {
			t.Errorf("deploy/mosquitto/order does not accept or document the field %s", f.Name)
		}
	}
}
