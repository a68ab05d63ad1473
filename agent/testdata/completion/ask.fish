# ask.fish FOLDER LINE...: what fish offers for each line, with the script of FOLDER.
source $argv[1]/script/bayward.fish
cd $argv[1]/work
for line in $argv[2..-1]
    set -l words (complete -C $line | string split -f1 \t)
    echo (string join -- \t $words)
end
