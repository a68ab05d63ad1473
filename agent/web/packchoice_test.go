package web_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/web"
)

// newChoice returns a bay with two packs that a person chooses from.
func newChoice(t *testing.T, change func(*web.Options)) *bench {
	t.Helper()
	b := newBench(change, "bay-1")
	setup := baytest.Setup("bay-1")
	setup.Packs = baytest.Packs("lift-a", "lift-b")
	b.cores["bay-1"] = bay.New(setup)
	b.step("bay-1")
	return b
}

// seat does what the loop does between two ticks.
func (b *bench) seat(t *testing.T) {
	t.Helper()
	_, err := bay.NewHistories().Open([]*bay.Bay{b.cores["bay-1"]}, b.now)
	require.NoError(t, err)
	b.step("bay-1")
}

// TestThePageAsksWhichPackItIs: the page has a button for each pack and can take the
// answer back, all without a script.
func TestThePageAsksWhichPackItIs(t *testing.T) {
	b := newChoice(t, nil)
	page := b.get("/bays/bay-1").Body.String()
	require.Contains(t, page, "<h2>Which battery is this?</h2>")
	require.Contains(t, page, `<button name="pack" value="lift-a">lift-a</button>`)
	require.Contains(t, page, "Nobody has named the battery that is plugged in.")
	require.Contains(t, page, "battery not known")
	require.NotContains(t, page, "/bays/bay-1/visit")
	require.Contains(t, b.get("/").Body.String(), `href="/bays/bay-1#pack"><`)
	require.Contains(t, b.get("/").Body.String(), "Which battery is this?")
	require.NotContains(t, b.get("/api/v1/bays/bay-1").Body.String(), `"pack":`)

	answer := b.form("/bays/bay-1/pack", "pack=lift-b&by=A.+Person&id=p1")
	require.Equal(t, http.StatusSeeOther, answer.Code, answer.Body.String())
	b.seat(t)
	page = b.get("/bays/bay-1").Body.String()
	require.Contains(t, page, "<h2>This is battery lift-b</h2>")
	require.Contains(t, page, "A person has named it. It counts until the battery is unplugged.")
	require.NotContains(t, page, `value="lift-b"`)
	require.Contains(t, b.get("/api/v1/bays/bay-1").Body.String(), `"pack":"lift-b","pack_from":"person","packs":["lift-a","lift-b"]`)
	require.NotContains(t, b.get("/").Body.String(), "Which battery is this?")

	answer = b.form("/bays/bay-1/pack", "pack=&by=A.+Person&id=p2")
	require.Equal(t, http.StatusSeeOther, answer.Code, answer.Body.String())
	b.step("bay-1")
	require.Contains(t, b.get("/bays/bay-1").Body.String(), "<h2>Which battery is this?</h2>")
}

// TestAWrongPackIsRefused: the refusal names what is accepted and grants nothing.
func TestAWrongPackIsRefused(t *testing.T) {
	b := newChoice(t, nil)
	for body, want := range map[string]struct {
		status int
		text   string
	}{
		`{"action":"name","pack":"lift-x","by":"A"}`:             {http.StatusConflict, `this bay has no battery \"lift-x\"`},
		`{"action":"name","by":"A"}`:                             {http.StatusBadRequest, "field pack: is missing: must be 1 to 48 printable characters"},
		`{"action":"name","pack":"","by":"A"}`:                   {http.StatusBadRequest, `field pack: \"\" is not accepted`},
		`{"action":"name","pack":"a\u0007","by":"A"}`:            {http.StatusBadRequest, `field pack: \"a`},
		`{"action":"forget","pack":"lift-a","by":"A"}`:           {http.StatusBadRequest, "field pack: does not belong to this order"},
		`{"action":"hold","by":"A"}`:                             {http.StatusBadRequest, "must be one of name, forget"},
		`{"action":"name","pack":"lift-a","cell":1,"by":"A"}`:    {http.StatusBadRequest, "field cell: does not belong to this order"},
		`{"action":"name","pack":"lift-a","force":true,"by":""}`: {http.StatusBadRequest, "unknown field"},
	} {
		answer := b.post("/api/v1/bays/bay-1/pack", body)
		require.Equal(t, want.status, answer.Code, body)
		require.Contains(t, answer.Body.String(), want.text, body)
	}
	require.False(t, b.picture("bay-1").Named())
	dedicated := newBench(nil, "bay-1")
	answer := dedicated.post("/api/v1/bays/bay-1/pack", `{"action":"name","pack":"lift-a","by":"A"}`)
	require.Contains(t, answer.Body.String(), "this bay is only for battery lift-24v")
	require.NotContains(t, dedicated.get("/bays/bay-1").Body.String(), `id="pack"`)
}

// TestNamingAPackNeedsARight: an unknown caller may hold and do nothing more.
func TestNamingAPackNeedsARight(t *testing.T) {
	b := newChoice(t, func(o *web.Options) { o.Writable = false })
	require.Equal(t, http.StatusForbidden, b.post("/api/v1/bays/bay-1/pack", `{"action":"name","pack":"lift-a","by":"A"}`).Code)
	require.Equal(t, http.StatusForbidden, b.form("/bays/bay-1/pack", "pack=lift-a&by=A&id=p1").Code)
	page := b.get("/bays/bay-1").Body.String()
	require.Contains(t, page, "Naming a battery needs the role visit: sign in.")
	require.False(t, strings.Contains(page, `name="pack"`))
}
