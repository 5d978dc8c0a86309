#!/bin/sh
# What the tests reached: report.sh BUILD [BUILD...], after runs of programs that were compiled with --coverage; what
# was reached in one of the builds was reached.
# Prints lines and branches for each folder of engine/, and writes to coverage/ of the first
#   folders   the same table
#   lines     every line that nothing ran, as file:line: text
#   branches  every branch that nothing took, as file:line: how many of how many: text
#   unnamed   those of them that tests/coverage/exceptions.txt does not name behind [left]
# Exit code 1 where a line did not run, or a branch is not taken and not named.
# A line of a function in a header counts once, and has run (a branch: was taken) where it has in any of its copies.
# "Apart", and not asked for, are
#   - what tests/coverage/exceptions.txt names, each with its reason;
#   - the branches of assert(): the one that ends the program must never be taken;
#   - of a switch without default, the one branch for a value that no case names: each enumerator has a case, which
#     -Wswitch holds;
#   - the branches of a line that tests only whether an allocation failed or whether a status is passed on, where the
#     calm way was taken, if CALM=1: to see what is left without the fault tests.
set -u
cd "$(dirname "$0")/../.." || exit 2
build=$(cd "$1" && pwd) || exit 2
rm -rf "$build/coverage"
mkdir "$build/coverage"
number=0
for each in "$@"; do
    number=$((number + 1))
    objects=$(find "$(cd "$each" && pwd)/engine" -name '*.gcda')
    texts="$build/coverage/gcov-$number"
    mkdir "$texts"
    ln -s "$PWD/engine" "$texts/engine" # where gcov looks for the text of the lines
    (cd "$texts" && gcov -b -c -p -r $objects >> ../log 2>&1)
done
awk -v out="$build/coverage/" -v calm="${CALM:-}" '
    FILENAME == "tests/coverage/exceptions.txt" {
        # FILE | text of the line | reason
        if (/^#/ || NF == 0) next
        if ($0 == "[left]") { left = 1; next }
        n = split($0, part, / \| /)
        if (n < 3) { print "no reason: " $0 > "/dev/stderr"; bad = 1; next }
        if (left) named[part[1] SUBSEP part[2]] = 1
        else excepted[part[1] SUBSEP part[2]] = 1
        next
    }
    FNR == 1 { source = ""; usable = 0 }
    /^ *-: *0:Source:/ { source = $0; sub(/^ *-: *0:Source:/, "", source); sub(/^.*\/engine\//, "engine/", source)
                         usable = source ~ /^engine\//; folder = source; sub(/^engine\//, "", folder)
                         if (!sub(/\/.*$/, "", folder)) folder = "."
                         next }
    !usable { next }
    /^ *[^:]+: *[0-9]+:/ {
        count = $0; sub(/:.*$/, "", count); gsub(/ /, "", count)
        text = $0; sub(/^[^:]*: */, "", text); number = text; sub(/:.*$/, "", number); sub(/^[0-9]+:/, "", text)
        gsub(/^[ \t]+|[ \t]+$/, "", text)
        if (text ~ /^assert\(/) in_assert = 1
        asserted = in_assert
        if (text ~ /;$/) in_assert = 0
        indent = $0; sub(/^[^:]*:[^:]*:/, "", indent)
        match(indent, /^ */); depth = RLENGTH
        if (switch_line != "" && text ~ /^default:/ && depth == switch_depth) has_default[switch_line] = 1
        if (switch_line != "" && text == "}" && depth == switch_depth) switch_line = ""
        if (text ~ /^switch \(/) { switch_line = source SUBSEP number; switch_depth = depth; is_switch[switch_line] = 1 }
        open = 0
        if (count == "-" || number == 0) next
        open = 1
        line = source SUBSEP number
        if (!(line in text_of)) { order[++seen] = line; text_of[line] = text; folder_of[line] = folder }
        if (count !~ /^[#=]/) ran[line] = 1
        is_asserted[line] = asserted
        next
    }
    /^branch / && open {
        # the numbers are shared with calls, so that some are left out
        if (!((line SUBSEP $2) in taken)) { taken[line SUBSEP $2] = 0; branches_of[line] = branches_of[line] " " $2 }
        if (!/never executed/ && !/taken 0( |$)/) taken[line SUBSEP $2] = 1
        next
    }
    function passes_on(text) {
        return text ~ /WM_OK|WM_NO_MEMORY|NULL|status|no_memory|failed|rc /
    }
    function row(name, l, m, b, bm, x) {
        return sprintf("| %-10s | %6d | %6d | %6.1f | %6d | %6d | %6.1f | %5d |", name, l, l - m,
                       l ? 100 * (l - m) / l : 100, b, b - bm, b ? 100 * (b - bm) / b : 100, x)
    }
    END {
        for (i = 1; i <= seen; i++) {
            line = order[i]; split(line, part, SUBSEP); f = folder_of[line]; text = text_of[line]
            key = part[1] SUBSEP text; there[key] = 1; skip = key in excepted; n = split(branches_of[line], branch, " ")
            if (skip) { used[key] = 1; apart[f] += 1 + n; continue }
            lines[f]++
            if (!(line in ran)) { missed[f]++; print part[1] ":" part[2] ": " text > (out "lines") }
            if (is_asserted[line]) { apart[f] += n; continue }
            not_taken = 0
            for (b = 1; b <= n; b++) not_taken += !taken[line SUBSEP branch[b]]
            if (line in is_switch && !(line in has_default) && not_taken > 0) { not_taken--; n--; apart[f]++ }
            if (calm && not_taken > 0 && (line in ran) && passes_on(text)) { apart[f] += n; continue }
            branches[f] += n; branches_missed[f] += not_taken
            if (not_taken == 0) continue
            words = part[1] ":" part[2] ": " not_taken " of " n " not taken: " text
            print words > (out "branches")
            if (!(key in named)) { unnamed += not_taken; print words > (out "unnamed") }
        }
        for (f in lines) {
            print row(f, lines[f], missed[f], branches[f], branches_missed[f], apart[f]) > (out "rows")
            l += lines[f]; m += missed[f]; s += branches[f]; bm += branches_missed[f]; x += apart[f]
        }
        print row("all", l, m, s, bm, x) > (out "sum")
        for (e in excepted) if (!(e in used)) { split(e, p, SUBSEP); print "an exception that is none: " p[1] " | " p[2] > "/dev/stderr" }
        for (e in named) if (!(e in there)) { split(e, p, SUBSEP); print "left, and not there: " p[1] " | " p[2] > "/dev/stderr" }
        if (m > 0 || unnamed > 0)
            print m + 0 " lines did not run, " unnamed + 0 " branches are not taken and not named" > "/dev/stderr"
        exit bad || m > 0 || unnamed > 0
    }' tests/coverage/exceptions.txt "$build"/coverage/gcov-*/*.gcov
result=$?
{
    echo "| folder     |  lines |    run |      % | branch |  taken |      % | apart |"
    echo "| --- | --- | --- | --- | --- | --- | --- | --- |"
    LC_ALL=C sort "$build/coverage/rows"
    cat "$build/coverage/sum"
} > "$build/coverage/folders"
cat "$build/coverage/folders"
exit $result
