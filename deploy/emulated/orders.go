package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"bayward/deploy/emulated/control"
)

// numbered gives an order a number of its own.
func numbered(body string) string {
	return fmt.Sprintf(`%s,"id":"bench-%d"}`, strings.TrimSuffix(body, "}"), time.Now().UnixNano())
}

// ask sends a person's order to the page from inside. If no tick of a stuttering
// board accepted it in time, ask sends it again under the same number; if its record
// could not be written in time, as a new order.
func (s *scene) ask(ctx context.Context, path, body string) error {
	order, again := numbered(body), false
	for {
		e, err := s.guest.order(ctx, control.Order{Do: control.HTTP, Method: "POST", Path: "/api/v1/bays/bay-1/" + path, Body: order})
		switch taken := strings.HasPrefix(e.Text, "409"); {
		case err == nil && strings.Contains(e.Text, `"no-record"`):
			order, again = numbered(body), false
		case err != nil || strings.HasPrefix(e.Text, "2") || taken && again:
			return err
		case !strings.HasPrefix(e.Text, "503"):
			return fmt.Errorf("the page answered %s", e.Text)
		default:
			again = true
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the page answered %s: %w", e.Text, ctx.Err())
		case <-time.After(time.Second):
		}
	}
}

// asks is the step of one order.
func (s *scene) asks(path, body string) {
	s.step("a person orders "+body, func(ctx context.Context) error { return s.ask(ctx, path, body) })
}

// metric reads a metric without labels from the page, from inside.
func (s *scene) metric(ctx context.Context, name string) (float64, error) {
	e, err := s.guest.order(ctx, control.Order{Do: control.HTTP, Method: "GET", Path: "/metrics"})
	if err != nil {
		return 0, err
	}
	for line := range strings.Lines(e.Text) {
		if value, ok := strings.CutPrefix(line, name+" "); ok {
			return strconv.ParseFloat(strings.TrimSpace(value), 64)
		}
	}
	return 0, fmt.Errorf("the page has no metric %s: %.200s", name, e.Text)
}
