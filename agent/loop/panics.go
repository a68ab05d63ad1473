package loop

import (
	"fmt"
	"log/slog"
	"runtime/debug"
)

// panics contains those of one driver or output. It belongs to one goroutine.
// A panic in each call is counted each time and told once.
type panics struct {
	count func()
	log   *slog.Logger
	told  string
}

// contain makes one call.
func (c *panics) contain(call func()) {
	defer func() {
		if p := recover(); p != nil {
			c.tell(fmt.Sprint(p))
		}
	}()
	call()
	if c.told != "" {
		c.told = ""
		c.log.Info("no panic any more")
	}
}

func (c *panics) tell(text string) {
	c.count()
	if text == c.told {
		return
	}
	c.told = text
	c.log.Error("a panic was contained", "panic", text, "stack", string(debug.Stack()))
}
