package loop

import (
	"fmt"
	"log/slog"
	"runtime/debug"
)

// panics contains the panics of one driver or output. It belongs to one goroutine.
// A panic in every call is counted each time and logged once.
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
		c.log.Info("no more panics")
	}
}

func (c *panics) tell(text string) {
	c.count()
	if text == c.told {
		return
	}
	c.told = text
	c.log.Error("panic contained", "panic", text, "stack", string(debug.Stack()))
}
