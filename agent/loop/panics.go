package loop

import (
	"fmt"
	"log/slog"
	"runtime/debug"
)

// panics contains those of one driver or output. It belongs to one goroutine.
// A panic in each tick is counted each time and told once.
type panics struct {
	count func()
	log   *slog.Logger
	what  string
	told  string
}

// contain is to be deferred.
func (c *panics) contain() {
	p := recover()
	if p == nil {
		return
	}
	c.count()
	if text := fmt.Sprint(p); text != c.told {
		c.told = text
		c.log.Error(c.what, "panic", text, "stack", string(debug.Stack()))
	}
}

// over says that a call has ended well.
func (c *panics) over() {
	if c.told != "" {
		c.told = ""
		c.log.Info("no panic any more")
	}
}
