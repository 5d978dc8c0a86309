#!/bin/bash
# `make install` puts the program, its manual page and its completion in place; both tell of every command and option that
# --help tells of, and the completion completes.
set -u
cd "$(dirname "$0")/.." || exit 2
program=${WITNESSMARK:-build/witnessmark}
work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT
passed=0 failed=0
expect() { # what it is, what was expected, what is
    if [ "$2" = "$3" ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "$1: expected \"$2\", is \"$3\"" >&2; fi
}
has() { # what it is, file, text
    if grep -qF -- "$3" "$2"; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "$1: no \"$3\"" >&2; fi
}

MAKEFLAGS= make -s BUILD="${WITNESSMARK_BUILD:-build}" DESTDIR="$work/root" PREFIX=/usr install || exit 1
page=$work/root/usr/share/man/man1/witnessmark.1
completion=$work/root/usr/share/bash-completion/completions/witnessmark
expect "installed files" "$page $completion $work/root/usr/bin/witnessmark" \
    "$(find "$work/root" -type f | LC_ALL=C sort -r | awk '/man1/ {m=$0} /bash/ {c=$0} /bin\// {b=$0} END {print m, c, b}')"
reports=$work/root/usr/share/witnessmark/reports
expect "installed reports" "$(ls reports)" "$(ls "$reports")"
expect "how many other files" 3 "$(find "$work/root" -type f ! -path "$reports/*" | wc -l)"
expect "modes" "644 644 755" "$(stat -c %a "$page" "$completion" "$work/root/usr/bin/witnessmark" | tr '\n' ' ' | sed 's/ $//')"

# The page as people read it, where there is something that shows it; else its source.
if command -v groff > /dev/null; then
    groff -man -Tascii -ww "$page" 2> "$work/complaints" | sed 's/\x1b\[[0-9;]*m//g; s/.\x08//g' > "$work/page"
    expect "complaints of groff" "" "$(cat "$work/complaints")"
else
    sed 's/\\-/-/g; s/\\f[A-Z]//g; s/\\(dq/"/g' "$page" > "$work/page"
fi
"$program" --help | sed -n '/^commands:/,/^$/s/^  \([a-z]*\( [a-z]\{3,\}\)\{0,1\}\)  *.*/\1/p' > "$work/commands"
expect "there are commands" yes "$([ "$(wc -l < "$work/commands")" -gt 10 ] && echo yes)"
while read -r command; do
    has "the page" "$work/page" "$command"
    # shellcheck disable=SC2086
    "$program" $command --help > "$work/help" || failed=$((failed + 1))
    sed -n '/^options:/,$s/^  --\([a-z-]*\).*/--\1/p' "$work/help" > "$work/options"
    while read -r option; do
        has "the page" "$work/page" "$option"
        has "the completion of $command" <(grep -F "'$command')" "$completion") "$option"
    done < "$work/options"
done < "$work/commands"

complete_words() { # words of a line, the last one being typed
    COMP_WORDS=("$@") COMP_CWORD=$(($# - 1)) COMPREPLY=()
    _witnessmark
    echo "${COMPREPLY[*]}"
}
# shellcheck disable=SC1090
. "$completion" || failed=$((failed + 1))
expect "a command" "check" "$(complete_words witnessmark che)"
expect "a second word" "lint" "$(complete_words witnessmark rules li)"
expect "an option" "--today" "$(complete_words witnessmark check --tod)"
expect "an option of two words' command" "--out" "$(complete_words witnessmark rules lint --ou)"
expect "a choice" "json" "$(complete_words witnessmark check --format j)"
expect "a format of a command that has more" "html" "$(complete_words witnessmark report --format h)"
expect "the formats of a command that has fewer" "text json" "$(complete_words witnessmark explain --format '')"
expect "help names the formats" "--format text|html" "$("$program" rules print --help | grep -o -e '--format text|html')"
has "the page names the formats" "$work/page" "--format text|csv|json|html"
expect "what to load" "vehicles" "$(complete_words witnessmark load v)"
expect "a folder" "rules" "$(complete_words witnessmark check --rules rul)"
expect "a file" "Makefile" "$(complete_words witnessmark check Makef)"
expect "nothing to offer" "" "$(complete_words witnessmark check --today 2)"
echo "install: $passed passed, $failed failed"
[ "$failed" -eq 0 ]
