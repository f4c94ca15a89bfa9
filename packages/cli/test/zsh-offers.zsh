# Types a command line into a zsh on a pseudo-terminal, asks it to complete, and prints the words that it offers.
# Arguments: how the script is loaded, a scratch folder, the line.
zmodload zsh/zpty
local loading=$1 folder=$2 line=$3
print -r -- $loading >$folder/loading.zsh
cat >$folder/setup.zsh <<'END'
source ./loading.zsh 2>>./errors
# What is offered goes into a file; calls that only ask what matches are let through.
compadd() {
  if [[ ${@[1,(i)(-|--)]} == *-(O|A|D)\ * ]]; then builtin compadd "$@"; return; fi
  local -a hits
  builtin compadd -A hits "$@"
  (( $#hits )) && print -rl -- $hits >>./offered
  builtin compadd "$@"
}
tell-end() { print -r done >>./ended }
zle -N tell-end
bindkey '^I' complete-word
bindkey '^X' tell-end
# From here on the line editor reads what is typed.
zle-line-init() { print -r ready >>./ready }
zle -N zle-line-init
END
cd $folder
: >offered
zpty z zsh -f -i
zpty -w z "cd ${(q)folder}; source ./setup.zsh"
wait_for() {
  integer tries=0
  until [[ -s $1 ]]; do
    (( ++tries > 400 )) && { print -u2 "zsh is not $1"; exit 1 }
    # Whatever the terminal shows is read, so that it does not fill up.
    zpty -r -t z >/dev/null
    sleep 0.05
  done
}
wait_for ready
zpty -w -n z $line$'\t\x18'
wait_for ended
zpty -d z
[[ -s errors ]] && cat errors >&2
cat offered
