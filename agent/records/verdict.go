package records

import (
	"encoding/json"
	"fmt"
	"io"

	"bayward/agent/logbook"
)

// WriteVerdict reports whether the chain holds, as a text or as JSON.
func WriteVerdict(w io.Writer, chain logbook.Chain, asJSON bool) error {
	if asJSON {
		out := struct {
			Holds  bool   `json:"holds"`
			Rows   int    `json:"rows"`
			Signed int    `json:"commissioning"`
			Late   int    `json:"commissioning_from_before"`
			Head   string `json:"head"`
			Break  string `json:"break,omitempty"`
		}{Holds: chain.Break == nil, Rows: chain.Rows, Signed: chain.Signed, Late: chain.Late, Head: chain.Head}
		if chain.Break != nil {
			out.Break = chain.Break.String()
		}
		return json.NewEncoder(w).Encode(out)
	}
	if chain.Break != nil {
		_, err := fmt.Fprintf(w, "The chain holds for its first %d rows and no further: %s.\n", chain.Rows, chain.Covers())
		return err
	}
	_, err := fmt.Fprintf(w, "The chain holds: %s.\nlast link %s\n", chain.Covers(), chain.Head)
	return err
}
