# fish completion for bayward, printed by "bayward completion fish"

function __bayward_choices
    set -l tokens (commandline -opc)
    set -l previous $tokens[-1]
    set -l said
    # The command is the run of plain words at the beginning.
    for word in $tokens[2..-1]
        string match -q -- '-*' $word; and break
        set -a said $word
    end
    switch "$said $previous"
{{- range .Values}}
        case '{{.After}}'
{{- range .Words}}
            echo {{.}}
{{- end}}
{{- if .Files}}
            __fish_complete_path (commandline -ct)
{{- end}}
            return
{{- end}}
    end
    switch "$said"
{{- range .Commands}}
        case '{{.After}}'
{{- range .Words}}
            echo {{.}}
{{- end}}
{{- if .Files}}
            __fish_complete_path (commandline -ct)
{{- end}}
{{- end}}
    end
end

complete -c bayward -f -a '(__bayward_choices)'
