// Package usage marks errors that whoever started the program can correct: wrong use or wrong input.
package usage

import (
	"errors"
	"fmt"
)

// wrong is an error of the user's.
type wrong struct{ error }

// Unwrap gives the cause.
func (e wrong) Unwrap() error { return e.error }

// Error marks an error as the user's to correct. Nil stays nil.
func Error(err error) error {
	if err == nil {
		return nil
	}
	return wrong{err}
}

// Errorf is fmt.Errorf, marked.
func Errorf(format string, args ...any) error { return wrong{fmt.Errorf(format, args...)} }

// Is reports whether an error was marked, however it has been wrapped since.
func Is(err error) bool {
	_, ok := errors.AsType[wrong](err)
	return ok
}
