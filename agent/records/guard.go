package records

import (
	"regexp"
	"strings"
)

// runs matches a text that a spreadsheet may take for a formula: one of these
// characters first, after at most blanks, quotes and apostrophes, including their
// full-width forms. The list is the usual advice against CSV injection (common
// practice, no source).
var (
	runs   = regexp.MustCompile(`^['"\s]*[=+\-@\t\r\n＝＋－＠]`)
	breaks = regexp.MustCompile(`\r\n?`)
)

// splits are the characters at which a spreadsheet may begin another cell within a
// text of ours: one that is set to semicolons or tabs ignores our quotes, which are
// then in the middle of its own cell.
const splits = ";\t\n"

// guard puts an apostrophe, which marks a text in spreadsheets, before a text that
// could run, and before each part of a text that could run as a cell of its own.
// Line breaks become line feeds: readers of CSV disagree on the others.
func guard(text string) string {
	return eachCell(breaks.ReplaceAllString(text, "\n"), func(out *strings.Builder, rest string) int {
		if runs.MatchString(rest) {
			out.WriteByte('\'')
		}
		return 0
	})
}

// unguard removes the apostrophes that guard added, and no others: guard looks past
// apostrophes, so one that it left alone has nothing after it that could run.
func unguard(cell string) string {
	return eachCell(cell, func(_ *strings.Builder, rest string) int {
		if rest[0] == '\'' && runs.MatchString(rest[1:]) {
			return 1
		}
		return 0
	})
}

// eachCell copies a text and stops at each place where a spreadsheet may begin a
// cell; at may write something there, and returns how many bytes to leave out.
func eachCell(text string, at func(out *strings.Builder, rest string) (skip int)) string {
	var out strings.Builder
	for len(text) > 0 {
		text = text[at(&out, text):]
		end := strings.IndexAny(text, splits) + 1
		if end == 0 {
			end = len(text)
		}
		out.WriteString(text[:end])
		text = text[end:]
	}
	return out.String()
}
