package web

import (
	"crypto/subtle"
	"net/http"
	"net/url"

	"bayward/agent/words"
)

// wallPage is the work list for a screen on the wall: every bay on one screen, the first
// to go to at the top.
type wallPage struct {
	workPage
	First string // the bay to go to first, "" if none calls
	More  string // how many bays are not on the screen, "" for none
	Clock string
}

// wallLines is how many bays a wall's screen holds in letters that are read across a room.
const wallLines = 16

// wall shows the wall's page. With its key it needs no person, and its stream neither.
func (s *server) wall(w http.ResponseWriter, r *http.Request) {
	page := wallPage{workPage: s.newWorkPage(r), Clock: s.clock().Local().Format("15:04")}
	page.Title = s.view(r).Say("wall.title") + " · " + page.Title
	if key := r.URL.Query().Get("key"); key != "" {
		page.LiveAt += "?" + url.Values{"key": {key}}.Encode()
	}
	if len(page.Lines) > 0 && page.Lines[0].Urgency.CallsPerson() {
		page.First = page.Lines[0].Name
	}
	page.cut(s.view(r))
	s.write(w, r, http.StatusOK, "wall", page)
}

// cut leaves the bays that need somebody first, and says how many are left out. The bays
// of a whole yard do not fit on one screen.
func (p *wallPage) cut(v words.Voice) {
	more := len(p.Lines) + len(p.Quiet) - wallLines
	if more <= 0 {
		return
	}
	more++ // the last line says so
	p.More = v.Say("wall.more", more)
	p.Lines = p.Lines[:min(len(p.Lines), wallLines-1)]
	p.Quiet = p.Quiet[:wallLines-1-len(p.Lines)]
}

// wallKeyed reports whether a request for the wall's page, or its stream, has the key.
func (s *server) wallKeyed(r *http.Request) bool {
	if s.WallKey == "" || r.Method != http.MethodGet || r.URL.Path != "/wall" && r.URL.Path != "/live" {
		return false
	}
	return subtle.ConstantTimeCompare([]byte(r.URL.Query().Get("key")), []byte(s.WallKey)) == 1
}
