# ask.bash FOLDER LINE...: what bash offers for each line, with the script of FOLDER.
# shellcheck disable=SC1091 # the script is made by the test
source "$1/script/bayward"
cd "$1/work" || exit
shift
for line; do
  read -ra COMP_WORDS <<<"$line"
  case $line in *' ') COMP_WORDS+=('') ;; esac
  COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
  _bayward
  (IFS=$'\t'; printf '%s\n' "${COMPREPLY[*]}")
done
