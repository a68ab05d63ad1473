package manual

import (
	"embed"
	"io"
	"strings"
	"text/template"

	"github.com/alecthomas/kong"
)

//go:embed completion.bash completion.zsh completion.fish
var completions embed.FS

// choice is what may follow some words.
type choice struct {
	After string   // the command's words, with a flag after them where its value is meant
	Words []string // to choose from
	Files bool     // files as well
}

// WriteCompletion prints the script that completes a command line in a shell, which is
// "bash", "zsh" or "fish"; for another one it fails.
func WriteCompletion(w io.Writer, root *kong.Node, shell string) error {
	script, err := template.ParseFS(completions, "completion."+shell)
	if err != nil {
		return err
	}
	var commands, values []choice
	follow(root, "", &commands, &values)
	return script.Execute(w, struct{ Commands, Values []choice }{commands, values})
}

// follow collects the choices of a command and of those below it.
func follow(n *kong.Node, after string, commands, values *[]choice) {
	c := choice{After: after}
	for _, child := range n.Children {
		if child.Hidden {
			continue
		}
		c.Words = append(c.Words, child.Name)
		follow(child, strings.TrimSpace(after+" "+child.Name), commands, values)
	}
	for _, f := range n.Flags {
		if f.Hidden {
			continue
		}
		c.Words = append(c.Words, "--"+f.Name)
		if !f.IsBool() {
			v := choice{After: strings.TrimSpace(after + " --" + f.Name), Files: isPath(f.Value)}
			if f.Enum != "" {
				v.Words = f.EnumSlice()
			}
			*values = append(*values, v)
		}
	}
	if after != "" {
		c.Words = append(c.Words, "--help")
	}
	for _, a := range n.Positional {
		c.Files = c.Files || isPath(a) || strings.Contains(a.Name, ".") // TRACE.csv
	}
	*commands = append(*commands, c)
}

func isPath(v *kong.Value) bool {
	switch v.Tag.Type {
	case "path", "existingfile", "existingdir":
		return true
	}
	return false
}
