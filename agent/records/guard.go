package records

import "regexp"

// runs finds a text that a spreadsheet may take for a formula: one of these
// characters first, after spaces at most, and their full-width forms. The list
// is the usual advice against CSV injection (common practice, no source).
// Apostrophes before it are those of guard.
var (
	runs    = regexp.MustCompile(`^'*\s*[=+\-@\t\r\n＝＋－＠]`)
	guarded = regexp.MustCompile(`^'+\s*[=+\-@\t\r\n＝＋－＠]`)
	breaks  = regexp.MustCompile(`\r\n?`)
)

// guard puts an apostrophe before a text that could run, by which spreadsheets
// know a text. Line breaks become line feeds: readers of CSV disagree on the
// others.
func guard(text string) string {
	text = breaks.ReplaceAllString(text, "\n")
	if runs.MatchString(text) {
		return "'" + text
	}
	return text
}

// unguard takes away the apostrophe that guard has put there, and no other.
func unguard(cell string) string {
	if guarded.MatchString(cell) {
		return cell[1:]
	}
	return cell
}
