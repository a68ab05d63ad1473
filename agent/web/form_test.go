package web_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// tags returns the tags of a page that have an attribute with a value.
func tags(page, attribute, value string) []string {
	return regexp.MustCompile(`<[a-z]+ [^>]*\b`+attribute+`="`+regexp.QuoteMeta(html.EscapeString(value))+`"[^>]*>`).FindAllString(page, -1)
}

// shownAgain requires that a page shows a form as it was sent, with each fault at
// its box and in a list that leads there. Faults are given by the names of boxes.
func shownAgain(t *testing.T, page string, sent url.Values, faults ...string) {
	t.Helper()
	_, own, found := strings.Cut(page, `name="action" value="`+sent.Get("action")+`"`)
	require.True(t, found, "the form %q is not on the page", sent.Get("action"))
	own, _, _ = strings.Cut(own, "</form>")
	for name := range sent {
		if name == "action" || name == "pin" {
			continue
		}
		whole := strings.Join(tags(own, "name", name), " ")
		if chosen := tags(own, "value", sent.Get(name)); strings.Contains(whole, "checkbox") || strings.Contains(whole, "radio") {
			require.Contains(t, strings.Join(chosen, " "), " checked", name)
			continue
		}
		if strings.Contains(whole, "<select") {
			require.Contains(t, strings.Join(tags(own, "value", sent.Get(name)), " "), " selected", name)
			continue
		}
		require.Contains(t, whole, `value="`+html.EscapeString(sent.Get(name))+`"`, "what was typed into %s is lost", name)
	}
	list := regexp.MustCompile(`(?s)<div class="faults" role="alert".*?</div>`).FindString(page)
	require.NotEmpty(t, list)
	for _, name := range faults {
		box := tags(own, "name", name)
		require.NotEmpty(t, box, name)
		require.Contains(t, box[0], `aria-invalid="true"`)
		id := regexp.MustCompile(` id="([^"]+)"`).FindStringSubmatch(box[0])
		require.Contains(t, list, `<a href="#`+id[1]+`">`)
		if described := regexp.MustCompile(`aria-describedby="([^"]+)"`).FindStringSubmatch(box[0]); !strings.Contains(box[0], "checkbox") {
			for _, by := range strings.Fields(described[1]) {
				require.Len(t, tags(page, "id", by), 1, "%s is described by %s", name, by)
			}
			require.Contains(t, described[1], id[1]+"-fault")
		}
	}
	require.Len(t, regexp.MustCompile(`aria-invalid`).FindAllString(page, -1), len(faults), "boxes marked")
}

// TestNoFormComesBackEmpty: each form of the page is shown again, filled in, with
// every fault at its box, and nothing is recorded.
func TestNoFormComesBackEmpty(t *testing.T) {
	for _, row := range []struct {
		name, path, body string
		status           int
		faults           []string
	}{
		{"open", visit, strings.Replace(strings.Replace(opening, "&ok-air=yes", "", 1), "&ok-wear=yes", "", 1) + "&by=A.+Person", 400, []string{"ok-wear", "ok-air"}},
		{"open, nobody", visit, opening + "&by=" + strings.Repeat("x", 61), 400, []string{"by"}},
		{"water quality", visit, "action=quality&kind=distilled&us=clean&unit=ppm&by=A", 400, []string{"us"}},
		{"level before", visit, "action=before&cell=3&level=two&by=A", 400, []string{"level"}},
		{"cell, two faults", visit, "action=cell&cell=3&ml=plenty&after=%3Ctop%3E&by=A", 400, []string{"ml", "after"}},
		{"cell, one fault", visit, "action=cell&cell=3&ml=110&after=200,5&by=A&given=0&id=x", 400, []string{"after"}},
		{"gravity", visit, "action=before&cell=3&level=5&gravity=1265&at=&by=A", 400, []string{"at"}},
		{"gravity, both", visit, "action=before&cell=3&gravity=126&at=hot&by=A", 400, []string{"gravity", "at"}},
		{"sheet", visit, "action=sheet&how=measured&ml-1=110&ml-4=x&after-4=13&after-12=-&mark-7=yes&by=A", 400, []string{"ml-4", "after-12"}},
		{"sheet, how", visit, "action=sheet&ml-1=110&by=A", 400, []string{"how"}},
		{"sheet, twice", visit, "action=sheet&how=measured&ml-2=110&mark-2=yes&by=A", 400, []string{"ml-2"}},
		{"close", visit, "action=close&ok-caps=yes&by=A", 400, []string{"ok-spills", "ok-latch"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := newBench(nil, "bay-1")
			if !strings.HasPrefix(row.name, "open") {
				b.leads(t, opening+"&by=A")
			}
			before := b.picture("bay-1")
			w := b.form(row.path, row.body)
			require.Equal(t, row.status, w.Code)
			sent, err := url.ParseQuery(row.body)
			require.NoError(t, err)
			shownAgain(t, text(t, w), sent, row.faults...)
			require.Same(t, before, b.picture("bay-1"), "an order was given")
		})
	}
}

// TestARefusalComesOnThePageOfItsForm: what the bay refuses is in the list, in the
// page's own form.
func TestARefusalComesOnThePageOfItsForm(t *testing.T) {
	b := newBench(nil, "bay-1")
	w := b.form(visit, "action=cell&cell=3&ml=110&after=13&by=A")
	require.Equal(t, http.StatusConflict, w.Code)
	page := text(t, w)
	shownAgain(t, page, url.Values{"action": {"cell"}, "cell": {"3"}, "ml": {"110"}, "after": {"13"}, "by": {"A"}})
	require.Contains(t, page, "No visit is open.")
	require.NotContains(t, page, "Charging is locked out.", "no visit is open")

	require.Equal(t, http.StatusSeeOther, b.form("/bays/bay-1/hold", "action=hold&by=A&id=x").Code)
	require.Equal(t, http.StatusSeeOther, b.form("/bays/bay-1/hold", "action=hold&by=A&id=x").Code, "sent twice, it is done")
	w = b.form("/bays/bay-1/hold", "action=dance&by=A&id=x")
	require.Equal(t, http.StatusBadRequest, w.Code)
	page = text(t, w)
	require.Contains(t, page, `action="/bays/bay-1/hold"`)
	require.Contains(t, page, `data-here="/bays/bay-1"`, "the address of the form has no page to follow")

	choice := newChoice(t, nil)
	w = choice.form("/bays/bay-1/pack", "pack=lift-a&by="+strings.Repeat("x", 61))
	require.Equal(t, http.StatusBadRequest, w.Code)
	page = text(t, w)
	require.Contains(t, page, `<a href="#pack-by">`)
	require.Contains(t, page, `value="`+strings.Repeat("x", 61)+`"`)
	require.Len(t, regexp.MustCompile(`aria-invalid`).FindAllString(page, -1), 1, "the other form has no fault")
}

// TestASignInComesBackWithItsName, and without its PIN.
func TestASignInComesBackWithItsName(t *testing.T) {
	y := newYard(t)
	w := y.form("/sign-in", url.Values{"name": {"Bos\"s"}, "pin": {"guess 1"}, "to": {visit}}.Encode())
	require.Equal(t, http.StatusUnauthorized, w.Code)
	page := text(t, w)
	require.Contains(t, page, `value="Bos&#34;s"`)
	require.NotContains(t, page, "guess 1")
	require.Equal(t, visit, hidden(t, page, "to"))
	require.Contains(t, page, `<a href="#sign-pin">PIN or passphrase: Name or PIN is wrong.</a>`)
	require.Regexp(t, `<input type="password"[^>]* aria-invalid="true" aria-describedby="sign-pin-fault">`, page)
}

// TestAFloodedCellIsTakenOn by a person with the right and a reason, on the page.
func TestAFloodedCellIsTakenOn(t *testing.T) {
	b := newBench(nil, "bay-1")
	require.NotContains(t, text(t, b.get("/bays/bay-1")), `value="accept"`)
	b.leads(t, opening+"&by=A")
	b.leads(t, "action=cell&cell=4&ml=500&how=measured&sure=yes&by=A")
	require.Contains(t, b.picture("bay-1").Codes(), "overfilled")
	require.Contains(t, text(t, b.get("/bays/bay-1")), `value="accept"`)
	w := b.form("/bays/bay-1/hold", "action=accept&by=A.+Person&reason=&id=x")
	require.Equal(t, http.StatusBadRequest, w.Code)
	shownAgain(t, text(t, w), url.Values{"action": {"accept"}, "id": {"x"}, "by": {"A. Person"}}, "reason")
	require.Equal(t, http.StatusSeeOther, b.form("/bays/bay-1/hold", "action=accept&by=A.+Person&reason=Drawn+off+by+pump&id=x").Code)
	b.step("bay-1")
	require.NotContains(t, b.picture("bay-1").Codes(), "overfilled")
	require.NotContains(t, text(t, b.get("/bays/bay-1")), `value="accept"`)
}
