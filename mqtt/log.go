package mqtt

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// LogTo sends the library's own messages to a log from now on; nil drops them.
// The library has one set of messages for the process: with several agents in
// one process, the last log given gets all of them.
func LogTo(log *slog.Logger) { libraryTo.Store(log) }

// libraryTo is where the library's messages go.
var libraryTo atomic.Pointer[slog.Logger]

// hookLibrary sets the library's variables before the first client is made, and
// never again: a running client reads them without a lock. New calls it, so that
// clients of others in the process, made after New, are safe too.
var hookLibrary = sync.OnceFunc(func() {
	paho.CRITICAL = libraryLog(slog.LevelError)
	paho.ERROR = libraryLog(slog.LevelDebug) // the client also reports each, in its own words
	paho.WARN = libraryLog(slog.LevelDebug)
})

// libraryLog is a log for one of the library's levels.
type libraryLog slog.Level

// spurious is the end of a line that version 1.5.1 writes at each loss when its
// reconnection is off.
const spurious = "BUG reconnection function is nil"

// Println implements paho.Logger.
func (l libraryLog) Println(v ...any) { l.say(fmt.Sprintln(v...)) }

// Printf implements paho.Logger.
func (l libraryLog) Printf(format string, v ...any) { l.say(fmt.Sprintf(format, v...)) }

func (l libraryLog) say(text string) {
	if log := libraryTo.Load(); log != nil && !strings.Contains(text, spurious) {
		log.Log(context.Background(), slog.Level(l), "mqtt library", "text", strings.TrimSpace(text))
	}
}

var _ paho.Logger = libraryLog(0)
