package config

import _ "embed" // for the schema

//go:embed bayward.schema.json
var schema []byte

// Schema is the JSON Schema (draft 2020-12) of the configuration, for editors.
// It says what a schema can say: keys, types, words and ranges. What depends on
// two values at once only Parse knows. The tests make it from the types.
func Schema() []byte { return schema }
