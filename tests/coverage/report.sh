#!/bin/sh
# What the tests reached: report.sh BUILD, after a run of programs that were compiled with --coverage.
# Prints lines and branches for each folder of engine/, and writes to BUILD/coverage/
#   folders   the same table
#   lines     every line that nothing ran, as file:line: text
#   branches  every branch that nothing took, as file:line: how many of how many: text
# What tests/coverage/exceptions.txt names is left out of what is asked for, and counted by itself.
set -u
cd "$(dirname "$0")/../.." || exit 2
build=$(cd "$1" && pwd) || exit 2
rm -rf "$build/coverage"
mkdir -p "$build/coverage/gcov"
objects=$(find "$build/engine" -name '*.gcda')
ln -s "$PWD/engine" "$build/coverage/gcov/engine" # where gcov looks for the text of the lines
(cd "$build/coverage/gcov" && gcov -b -c -p -r $objects > ../log 2>&1)
awk -v out="$build/coverage/" '
    FILENAME == "tests/coverage/exceptions.txt" {
        # FILE | text of the line | reason
        if (/^#/ || NF == 0) next
        n = split($0, part, / \| /)
        if (n < 3) { print "no reason: " $0 > "/dev/stderr"; bad = 1; next }
        excepted[part[1] SUBSEP part[2]] = 1
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
        skip = (source SUBSEP text) in excepted
        if (skip) used[source SUBSEP text] = 1
        open = 0
        if (count == "-" || number == 0) next
        open = 1
        at = 0
        where = source ":" number
        # functions of headers are in several programs: what one of them ran is run
        if (!(where in text_of)) { order[++wheres] = where; text_of[where] = text; folder_of[where] = folder; apart[where] = skip }
        if (count !~ /^[#=]/) ran[where] = 1
        next
    }
    /^branch / && open {
        if (++at > branches_of[where]) branches_of[where] = at
        if (!/never executed/ && !/taken 0( |$)/) taken[where SUBSEP at] = 1
    }
    function add_up(where,    folder, at) {
        folder = folder_of[where]
        if (apart[where]) { left[folder] += 1 + branches_of[where]; lines[folder] += 0; return }
        lines[folder]++
        if (!(where in ran)) { missed[folder]++; print where ": " text_of[where] > (out "lines") }
        for (at = 1; at <= branches_of[where]; at++) {
            branches[folder]++
            if (!((where SUBSEP at) in taken)) { branches_missed[folder]++; not_taken[where]++ }
        }
        if (where in not_taken) print where ": " not_taken[where] " not taken: " text_of[where] > (out "branches")
    }
    function row(name, l, m, b, bm, x) {
        return sprintf("| %-9s | %6d | %6d | %6.1f | %6d | %6d | %6.1f | %5d |", name, l, l - m, l ? 100 * (l - m) / l : 100,
                       b, b - bm, b ? 100 * (b - bm) / b : 100, x)
    }
    END {
        for (i = 1; i <= wheres; i++) add_up(order[i])
        for (f in lines) {
            print row(f, lines[f], missed[f], branches[f], branches_missed[f], left[f]) > (out "rows")
            l += lines[f]; m += missed[f]; b += branches[f]; bm += branches_missed[f]; x += left[f]
        }
        print row("all", l, m, b, bm, x) > (out "sum")
        for (e in excepted) if (!(e in used)) { split(e, p, SUBSEP); print "an exception that is none: " p[1] " | " p[2] > "/dev/stderr" }
        exit bad
    }' tests/coverage/exceptions.txt "$build"/coverage/gcov/*.gcov
{
    echo "| folder    |  lines |    run |      % | branch |  taken |      % | apart |"
    echo "| --- | --- | --- | --- | --- | --- | --- | --- |"
    LC_ALL=C sort "$build/coverage/rows"
    cat "$build/coverage/sum"
} > "$build/coverage/folders"
cat "$build/coverage/folders"
