package assembly

import (
	"context"
	"net/http"
)

// RecallAll shows the page what happened before this start.
func (a *Agent) RecallAll(ctx context.Context) error { return a.recallAll(ctx) }

// Page is the page without its server.
func (a *Agent) Page(metrics http.Handler) http.Handler { return a.page(metrics) }
