# ask.zsh FOLDER LINE...: what zsh offers for each line, with the script of FOLDER. It types into a
# zsh at a terminal of its own, where completion alone runs.
zmodload zsh/zpty
zpty z zsh -f -i
zpty -w z "source ${(q)0:A:h}/inside.zsh ${(q)1}"
zpty -r -m z answer $'*ready\1*'
shift
for line; do
  zpty -w -n z "$line"$'\t'
  zpty -r -m z answer $'*\2*\3*'
  answer=${${answer##*$'\2'}%%$'\3'*}
  print -r -- ${${(f)answer//$'\r'/}}
  zpty -w -n z $'\25' # kill the line
done
zpty -d z
