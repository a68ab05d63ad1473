package main

import (
	"strings"

	"github.com/alecthomas/kong"

	"bayward/agent/words"
)

// voiceOfTerminal is the language that a person's terminal asks for (POSIX, LC_ALL,
// LC_MESSAGES, LANG), English where it is none of ours.
func voiceOfTerminal(env func(string) string) words.Voice {
	for _, name := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		if value := env(name); value != "" {
			language, _, _ := strings.Cut(value, "_")
			language, _, _ = strings.Cut(language, ".")
			return words.New(language, "")
		}
	}
	return words.EnglishSI()
}

// describe gives every command, flag and argument its help, which agent/words has under
// "cli", the command's path and its name, or under "cli.flag" for one that is the same in
// several commands.
func describe(n *kong.Node, path string, v words.Voice) {
	say := func(name string) string {
		if key := "cli." + strings.TrimPrefix(path+"."+name, "."); v.Has(key) {
			return v.Say(key)
		}
		return v.Say("cli.flag." + name)
	}
	if path != "" {
		n.Help = v.Say("cli." + path)
		if more := "cli." + path + ".more"; v.Has(more) {
			n.Detail = v.Say(more)
		}
	}
	for _, f := range n.Flags {
		f.Help = filled(say(f.Name), f.Value)
	}
	for _, a := range n.Positional {
		a.Help = filled(say(a.Name), a)
	}
	for _, c := range n.Children {
		describe(c, strings.TrimPrefix(path+"."+c.Name, "."), v)
	}
}

// filled puts a flag's default and choices into its help.
func filled(help string, v *kong.Value) string {
	return strings.NewReplacer("${default}", v.Default, "${enum}", v.Enum).Replace(help)
}

// isForFiles reports whether a command's output is a file of the package, which is in
// English whatever the terminal of who builds it speaks.
func isForFiles(args []string) bool { return args[0] == "manual" || args[0] == "completion" }
