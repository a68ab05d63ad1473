package web

import (
	"math"
	"net/http"
	"strconv"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// sheetPage is the visit sheet for a technician without a phone.
type sheetPage struct {
	base
	Bays    []sheetBay
	Confirm []confirm
	Close   []confirm
	Length  string // units in which people write
	Volume  string
}

type sheetBay struct {
	Name, Pack, Says, Kind, Read string
	Cells                        []sheetCell
}

type sheetCell struct{ Name, Add string }

// sheet prints the bays that need water now, or the requested one.
func (s *server) sheet(w http.ResponseWriter, r *http.Request) {
	v := s.view(r)
	page := sheetPage{
		base: s.base(r, v.Say("sheet.title")), Length: v.Units().Length.Symbol, Volume: v.Units().Volume.Symbol,
		Confirm: confirms(v, order.VisitOpen), Close: confirms(v, order.VisitClose),
	}
	for _, p := range s.Pictures() {
		if p == nil {
			continue
		}
		if only := r.URL.Query().Get("bay"); only == p.Bay || only == "" && wantsVisit(p) {
			page.Bays = append(page.Bays, newSheetBay(p, v))
		}
	}
	if r.URL.RawQuery == "" {
		w.Header().Set(keepHeader, "yes")
	}
	s.write(w, r, http.StatusOK, "sheet", page)
}

func wantsVisit(p *bay.Picture) bool {
	perCell, _ := words.Proposal(p)
	return perCell != nil
}

func newSheetBay(p *bay.Picture, v words.Voice) sheetBay {
	b := sheetBay{Name: p.Bay, Pack: p.Pack.Name, Says: v.Says(p), Kind: visitHint(p, v), Read: v.Readings(p)}
	for i := range p.Pack.Cells {
		c := sheetCell{Name: strconv.Itoa(i + 1)}
		if perCell, _ := words.Proposal(p); i < len(perCell) {
			c.Add = v.VolumeNumber(math.Floor(perCell[i]))
		}
		b.Cells = append(b.Cells, c)
	}
	return b
}
