package replay

import _ "embed" // for the schema

//go:embed schema.json
var schema []byte

// Schema returns the JSON Schema (draft 2020-12) of everything that a replay reads and
// prints: a line of its output, a row of a trace, a row of orders. It is the one place
// in which the keys are written down.
func Schema() []byte { return schema }
