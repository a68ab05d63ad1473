package records

import (
	"regexp"
	"strconv"
	"time"

	"bayward/agent/words"
)

var span = regexp.MustCompile(`^(\d{1,5})(h|d|w|y)$`)

// When reads the beginning or end of a range: RFC 3339, a date, meaning its
// midnight in zone, or a span back from now. "" is the zero time, meaning no bound.
func When(text string, now time.Time, zone *time.Location) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if m := span.FindStringSubmatch(text); m != nil {
		n, err := strconv.Atoi(m[1])
		if err != nil {
			return time.Time{}, words.Fail("records.when", text)
		}
		return back(now, n, m[2]), nil
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	if t, err := time.ParseInLocation(time.DateOnly, text, zone); err == nil {
		return t, nil
	}
	return time.Time{}, words.Fail("records.when", text)
}

func back(now time.Time, n int, unit string) time.Time {
	switch unit {
	case "h":
		return now.Add(-time.Duration(n) * time.Hour)
	case "w":
		return now.AddDate(0, 0, -7*n)
	case "y":
		return now.AddDate(-n, 0, 0)
	}
	return now.AddDate(0, 0, -n)
}
