package mqtt

import (
	"context"
	"fmt"
	"log/slog"
	"strings"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// LogTo sends the library's own messages to a log. They are variables of the
// whole process: main calls this once, before any client runs.
func LogTo(log *slog.Logger) {
	paho.CRITICAL = libraryLog{log, slog.LevelError}
	paho.ERROR = libraryLog{log, slog.LevelDebug} // each is told by the client as well, in its own words
	paho.WARN = libraryLog{log, slog.LevelDebug}
}

// libraryLog is one of the library's levels.
type libraryLog struct {
	log   *slog.Logger
	level slog.Level
}

// spurious ends the line that version 1.5.1 writes at each loss when its
// reconnection is off.
const spurious = "BUG reconnection function is nil"

// Println is the library's call.
func (l libraryLog) Println(v ...any) { l.say(fmt.Sprintln(v...)) }

// Printf is the library's call.
func (l libraryLog) Printf(format string, v ...any) { l.say(fmt.Sprintf(format, v...)) }

func (l libraryLog) say(text string) {
	if !strings.Contains(text, spurious) {
		l.log.Log(context.Background(), l.level, "mqtt library", "text", strings.TrimSpace(text))
	}
}

var _ paho.Logger = libraryLog{}
