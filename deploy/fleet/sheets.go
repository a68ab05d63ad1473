package main

import (
	"crypto/rand"
	"fmt"
	"html/template"
	"net/url"
	"strings"

	"github.com/skip2/go-qrcode"

	"bayward/agent/config"
	"bayward/agent/words"
)

// sheet is one page of paper: what hangs beside a bay, or beside a wall's screen.
type sheet struct {
	Language string
	Title    string
	Where    string // site and agent
	Codes    []code
	Aid      string // where help is at this site
	Eyes     string
	Cautions string
}

// code is a QR code and what it is for.
type code struct {
	Says, Address string
	SVG           template.HTML
}

var sheetPage = template.Must(template.New("sheets").Parse(`<!DOCTYPE html>
<html lang="{{(index . 0).Language}}"><meta charset="utf-8"><title>{{(index . 0).Where}}</title>
<style>
body { font: 12pt/1.3 sans-serif; margin: 0 }
section { break-after: page; padding: 10mm 12mm }
h1 { font-size: 40pt; margin: 0 }
figure { margin: 2mm 0; display: flex; align-items: center; gap: 8mm; break-inside: avoid }
svg { width: 50mm; height: 50mm; flex: none }
figcaption small { display: block; overflow-wrap: anywhere }
@page { size: A4; margin: 0 }
</style>
{{range .}}<section>
<h1>{{.Title}}</h1><p>{{.Where}}</p>
{{range .Codes}}<figure>{{.SVG}}<figcaption>{{.Says}}<small>{{.Address}}</small></figcaption></figure>
{{end}}{{with .Aid}}<p><strong>{{.}}</strong></p>
{{end}}<p>{{.Eyes}}</p>
<p>{{.Cautions}}</p>
</section>
{{end}}</html>
`))

// qrCode draws the code of an address. It reads with a quarter of it dirty or torn.
func qrCode(address string) (template.HTML, error) {
	q, err := qrcode.New(address, qrcode.High)
	if err != nil {
		return "", err
	}
	rows := q.Bitmap()
	var path strings.Builder
	for y, row := range rows {
		for x := 0; x < len(row); {
			run := 0
			for x+run < len(row) && row[x+run] {
				run++
			}
			if run > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x, y, run, run)
			}
			x += run + 1
		}
	}
	return template.HTML(fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges"><path fill="#fff" d="M0 0h%dv%dH0z"/><path d="%s"/></svg>`, //nolint:gosec // only numbers are put in
		len(rows), len(rows), len(rows), len(rows), &path)), nil
}

// sheets adds a page for each bay of an agent, and one for its wall's screen, which has a
// secret.
func (m *made) sheets(o *output) error {
	v := words.New(m.Language, m.Units)
	base := "https://" + m.page()
	var all []sheet
	for i := range m.Bays {
		s, err := m.sheet(v, m.Bays[i].Name, [][2]string{
			{m.Bays[i].PackList(), base + "/bays/" + m.Bays[i].Name},
			{v.Say("hold.button"), base + "/hold"},
			{v.Say("aid.title"), base + "/first-aid"},
		})
		if err != nil {
			return err
		}
		all = append(all, s)
	}
	name := "sheets/" + m.site.Name + "." + m.agent.Name
	if err := o.html(name+".html", all); err != nil || m.HTTP.WallKey == "" {
		return err
	}
	wall, err := m.sheet(v, v.Say("wall.title"), [][2]string{{"", base + "/wall?" + url.Values{"key": {m.HTTP.WallKey}}.Encode()}})
	if err != nil {
		return err
	}
	return o.html(name+"-wall.html", []sheet{wall})
}

func (m *made) sheet(v words.Voice, title string, codes [][2]string) (sheet, error) {
	s := sheet{
		Language: m.Language, Title: title, Where: m.site.Name + " · " + m.agent.Name,
		Aid: v.SiteAid(m.FirstAid.Words()), Eyes: v.Say("aid.eyes") + ": " + v.Say("aid.eyes.text"), Cautions: v.Cautions(),
	}
	for _, c := range codes {
		svg, err := qrCode(c[1])
		if err != nil {
			return s, err
		}
		s.Codes = append(s.Codes, code{c[0], c[1], svg})
	}
	return s, nil
}

func (o *output) html(path string, all []sheet) error {
	var b strings.Builder
	err := sheetPage.Execute(&b, all)
	o.secret(path, []byte(b.String()))
	return err
}

// wallKey puts the key of an agent's wall screen into its configuration: that of the
// last run, or a new one.
func (p *plan) wallKey(d *draft, at string, s *site, a *agent) {
	if !a.Wall {
		return
	}
	path := "authority/wall/" + s.Name + "." + a.Name
	key := strings.TrimSpace(string(p.out.kept(path)))
	if key == "" {
		key = rand.Text()
	}
	p.out.secret(path, []byte(key+"\n"))
	d.put("http.wall_key", config.Piece{Text: fmt.Sprintf("%q", key)}, at+".wall")
}
