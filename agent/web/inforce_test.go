package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
)

// TestInForceButNotOnRecord: what is not on record is never answered as done, to a
// program or to a person.
func TestInForceButNotOnRecord(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.unrecorded()
	w := b.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"A. Person","id":"a"}`)
	require.Equal(t, http.StatusAccepted, w.Code)
	require.JSONEq(t, `{"v":1,"bay":"bay-1","id":"a","on_record":false,
		"text":"The bay is on hold. It is in force, but not on record yet: if the power fails before it is, give it again."}`, text(t, w))
	require.Len(t, b.picture("bay-1").Holds, 1)
	w = b.form("/bays/bay-1/visit", opening+"&by=A.+Person&id=v")
	require.Equal(t, http.StatusAccepted, w.Code)
	page := text(t, w)
	require.Contains(t, page, "<h1>In force, not yet on record</h1>")
	require.Contains(t, page, "The visit is open. It is in force, but not on record yet")
	require.Contains(t, page, `href="/bays/bay-1/visit`)
	require.True(t, b.picture("bay-1").Visit.Open)
	w = b.form("/bays/bay-1/visit", opening+"&by=A.+Person&id=v")
	require.Equal(t, http.StatusAccepted, w.Code, "sent again it is not done either")
	require.Contains(t, text(t, w), "not on record yet")
	spanish := newBench(func(o *web.Options) { o.Language = "es" }, "bay-1")
	spanish.unrecorded()
	page = text(t, spanish.form("/bays/bay-1/hold", "action=hold&by=A.+Person"))
	require.Contains(t, page, "<h1>En vigor, aún sin registrar</h1>")
	require.Contains(t, page, `href="/bays/bay-1"`)
}
