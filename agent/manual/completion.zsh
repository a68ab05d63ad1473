#compdef bayward
# zsh completion for bayward, printed by "bayward completion zsh"

_bayward() {
  local said='' previous='' i
  (( CURRENT < 2 )) || previous=${words[CURRENT-1]}
  # The command is the run of plain words at the beginning.
  for ((i = 2; i < CURRENT; i++)); do
    [[ ${words[i]} != -* ]] || break
    said+="${said:+ }${words[i]}"
  done
  case "$said $previous" in
{{- range .Values}}
    "{{.After}}")
{{- if .Words}}
      compadd -- {{range $i, $w := .Words}}{{if $i}} {{end}}{{$w}}{{end}}
{{- end}}
{{- if .Files}}
      _files
{{- end}}
      return
      ;;
{{- end}}
  esac
  case $said in
{{- range .Commands}}
    "{{.After}}")
      compadd -- {{range $i, $w := .Words}}{{if $i}} {{end}}{{$w}}{{end}}
{{- if .Files}}
      _files
{{- end}}
      ;;
{{- end}}
  esac
}

if [[ ${funcstack[1]-} == _bayward ]]; then
  _bayward "$@"
else
  compdef _bayward bayward
fi
