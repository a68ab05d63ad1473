package records

import (
	"encoding/json"
	"io"
	"strings"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// WriteVerdict reports whether the chain holds and whose memories are damaged, as a
// text in the voice's language or as JSON.
func WriteVerdict(w io.Writer, v words.Voice, chain logbook.Chain, damaged []string, asJSON bool) error {
	if asJSON {
		out := struct {
			Holds     bool     `json:"holds"`
			Rows      int      `json:"rows"`
			Corrected int      `json:"corrections"`
			Signed    int      `json:"commissioning"`
			Late      int      `json:"commissioning_from_before"`
			Head      string   `json:"head"`
			Break     string   `json:"break,omitempty"`
			Damaged   []string `json:"damaged_memories,omitempty"` // of bays and packs
		}{Damaged: damaged, Holds: chain.Break == nil, Rows: chain.Rows, Corrected: chain.Corrected, Signed: chain.Signed, Late: chain.Late, Head: chain.Head}
		if chain.Break != nil {
			out.Break = chain.Break.String()
		}
		return json.NewEncoder(w).Encode(out)
	}
	text := v.Say("records.holds", covers(v, &chain)) + "\n" + v.Say("records.head", chain.Head) + "\n"
	if chain.Break != nil {
		text = v.Say("records.breaks", chain.Rows, covers(v, &chain)) + "\n"
	}
	for _, name := range damaged {
		text += v.Say("records.memory", name) + "\n"
	}
	_, err := io.WriteString(w, text)
	return err
}

// BrokenAt describes where and how a chain breaks.
func BrokenAt(b *logbook.Break) words.Sentence {
	if b.Code == "" {
		return words.Of("break.kept", b.String())
	}
	what := words.Of("break."+b.Code, b.Args...)
	switch {
	case b.Kind == "":
		return words.Of("break.at.link", b.No, what)
	case b.No == 0:
		return words.Of("break.at.row", b.Kind, b.ID, what)
	}
	return words.Of("break.at", b.No, b.Kind, b.ID, what)
}

// breakText is the same in a language.
func breakText(v words.Voice, b *logbook.Break) string { return v.Word(BrokenAt(b)) }

// covers describes what is in a chain as far as it holds.
func covers(v words.Voice, c *logbook.Chain) string {
	parts := []string{v.Say("report.chain.rows", c.Rows-c.Signed-c.Corrected)}
	if c.Corrected > 0 {
		parts = append(parts, v.Say("report.chain.corrections", c.Corrected))
	}
	if c.Signed > 0 {
		parts = append(parts, v.Say("report.chain.signed", c.Signed))
	}
	text := strings.Join(parts, ", ")
	if c.Late > 0 {
		text += " (" + v.Say("report.chain.late", c.Late) + ")"
	}
	if c.Again != nil {
		text += " (" + v.Say("report.chain.again", c.Again.Links, c.Again.Head) + ")"
	}
	return text
}
