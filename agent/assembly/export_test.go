package assembly

import (
	"context"
	"net/http"
)

// RecallAll gives the page the events from before this start.
func (a *Agent) RecallAll(ctx context.Context) error { return a.recallAll(ctx) }

// Page returns the page without its server.
func (a *Agent) Page(metrics http.Handler) http.Handler { return a.page(metrics) }
