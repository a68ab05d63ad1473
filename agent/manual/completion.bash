# bash completion for bayward, printed by "bayward completion"

# _bayward_words CHOICE...: completes the word at the cursor from these.
_bayward_words() {
  local word
  while IFS= read -r word; do
    COMPREPLY+=("$word")
  done < <(compgen -W "$*" -- "${COMP_WORDS[COMP_CWORD]}")
}

_bayward_files() {
  local word
  compopt -o filenames 2>/dev/null
  while IFS= read -r word; do
    COMPREPLY+=("$word")
  done < <(compgen -f -- "${COMP_WORDS[COMP_CWORD]}")
}

_bayward() {
  local i words='' previous=''
  COMPREPLY=()
  [ "$COMP_CWORD" -lt 1 ] || previous=${COMP_WORDS[COMP_CWORD - 1]}
  # The command is the run of plain words at the beginning.
  for ((i = 1; i < COMP_CWORD; i++)); do
    case ${COMP_WORDS[i]} in -*) break ;; esac
    words+="${words:+ }${COMP_WORDS[i]}"
  done
  case "$words $previous" in
{{- range .Values}}
    "{{.After}}")
{{- if .Words}}
      _bayward_words {{range $i, $w := .Words}}{{if $i}} {{end}}{{$w}}{{end}}
{{- end}}
{{- if .Files}}
      _bayward_files
{{- end}}
      return
      ;;
{{- end}}
  esac
  case $words in
{{- range .Commands}}
    "{{.After}}")
      _bayward_words {{range $i, $w := .Words}}{{if $i}} {{end}}{{$w}}{{end}}
{{- if .Files}}
      _bayward_files
{{- end}}
      ;;
{{- end}}
  esac
}

complete -F _bayward bayward
