package config

import _ "embed" // for the schema

//go:embed bayward.schema.json
var schema []byte

// Schema returns the JSON Schema (draft 2020-12) of the configuration, for editors.
// It has what a schema can express: keys, types, words and ranges. Only Parse checks
// rules that involve two values. The tests generate it from the types.
func Schema() []byte { return schema }
