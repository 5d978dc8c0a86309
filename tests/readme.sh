#!/bin/sh
# Runs every `$ ./witnessmark ...` of README.md at the top of the repository and compares what it prints with what
# README.md shows below it, to the letter. `tests/readme.sh --update` writes what it prints into README.md.
# WITNESSMARK and WITNESSMARK_BUILD may name another program and build folder than those that README.md names.
set -u
cd "$(dirname "$0")/.." || exit 2
work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT
awk -v work="$work" '
    /^\$ \.\/witnessmark / { n++; command = substr($0, 3); print command > (work "/" n ".command"); inside = 1; next }
    /^```/ { inside = 0 }
    inside { print > (work "/" n ".shown") }' README.md
passed=0 failed=0
for command in "$work"/*.command; do
    number=${command%.command}
    sed "s#^\./witnessmark#${WITNESSMARK:-./witnessmark}#; s# build/# ${WITNESSMARK_BUILD:-build}/#g" "$command" > "$number.run"
    sh "$number.run" > "$number.printed" 2>&1
    touch "$number.shown"
    if cmp -s "$number.shown" "$number.printed"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "README.md: $(cat "$command") prints something else:"
        diff "$number.shown" "$number.printed"
    fi
done
if [ "${1:-}" = --update ]; then
    awk -v work="$work" '
        /^\$ \.\/witnessmark / { n++; print; while ((getline line < (work "/" n ".printed")) > 0) print line; skip = 1; next }
        /^```/ { skip = 0 }
        !skip { print }' README.md > "$work/README.md" && cp "$work/README.md" README.md
fi
echo "$passed passed, $failed failed"
[ "$failed" = 0 ] && [ "$passed" -gt 0 ]
