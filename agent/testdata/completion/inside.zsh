# inside.zsh FOLDER: prepares the zsh that ask.zsh types into.
PROMPT= RPROMPT=
fpath=($1/script $fpath)
cd -q $1/work
autoload -Uz compinit && compinit -D -u
bindkey '^I' complete-word
bindkey '^U' kill-whole-line
begins() { compprefuncs=(begins); print -n $'\2' }
ends() { comppostfuncs=(ends); print -n $'\3' }
compprefuncs=(begins) comppostfuncs=(ends)
# compadd prints what it adds.
compadd() {
  local -a hits
  builtin compadd -O hits "$@"
  [[ ${@[1,(i)(-|--)]} == *-(O|A|D)\ * ]] || ((! $#hits)) || print -rl -- $hits
  builtin compadd "$@"
}
print -n $'ready\1'
