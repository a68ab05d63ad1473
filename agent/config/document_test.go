package config

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// yardFile is a document of another shape than a configuration.
type yardFile struct {
	Name string `yaml:"name"`
	Days int    `yaml:"days" accept:"1 to 9 days" default:"3"`
	Part Piece  `yaml:"part"`
}

// TestPiece: a value is taken as written, so that whoever reads it later sees the same
// numbers and the same texts.
func TestPiece(t *testing.T) {
	var f yardFile
	doc, err := Decode("f", []byte("name: a\npart:\n  n: 0x48\n  f: 1.50\n  t: \"06:30\"\n  b: true\n  e: []\n  l: [1, {k: v}]\n  m: |\n    two\n    lines\n"), 1<<10, &f)
	require.NoError(t, err)
	doc.Fields("", &f)
	require.NoError(t, doc.Err())
	assert.Equal(t, 3, f.Days)
	for key, want := range map[string]string{"n": "0x48", "f": "1.50", "t": `"06:30"`, "b": "true", "m": `"two\nlines\n"`} {
		require.NotNil(t, f.Part.Get(key), key)
		assert.Equal(t, want, f.Part.Get(key).Text, key)
	}
	assert.True(t, f.Part.Get("e").List)
	assert.Equal(t, `"v"`, f.Part.Get("l").Items[1].Get("k").Text)
	assert.Equal(t, 8, doc.Line("part.l[1].k"))
	assert.Equal(t, 8, doc.Line("part.l[1].other"), "that of the part which lacks it")
	assert.Nil(t, f.Part.Get("other"))
}

// TestDocumentFaults: they are those of a configuration, in the order of the lines.
func TestDocumentFaults(t *testing.T) {
	for text, want := range map[string]string{
		"name: a\npart: {k: 1, k: 2}\n":            "f:2: not well-formed YAML: mapping key",
		"name: a\npart:\n  k: &a 1\n  l: *a\n":     "f:3: field part.k: anchors, aliases and tags are not accepted",
		"days: 12\nnames: a\n":                     "f:1: field days: value 12 is not accepted: must be 1 to 9 days\nf:2: field names: unknown key; did you mean name?",
		"name: a\n---\nname: b\n":                  "f:3: a second YAML document begins here",
		"name: a # " + string(make([]byte, 1<<10)): "f: the file is larger than 1 KiB",
	} {
		var f yardFile
		doc, err := Decode("f", []byte(text), 1<<10, &f)
		if err == nil {
			doc.Fields("", &f)
			err = doc.Err()
		}
		assert.ErrorContains(t, err, want)
	}
}
