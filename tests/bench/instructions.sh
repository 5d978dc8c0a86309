#!/bin/sh
# instructions.sh [--record] - how many instructions a claim takes, against tests/bench/instructions.baseline.
#
# Seconds differ from run to run, instructions hardly: a change that costs more than a tenth fails here. Counted is the
# difference between a file of 6,000 claims and one of its first 2,000, so that starting up does not count.
# The C library is told to leave out what it has for newer processors, so that the count goes by the compiler
# alone; a baseline counts for one compiler, and with another one this says its figure and passes.
# --record writes the figure of this compiler into the baseline.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
program=${WITNESSMARK:-$here/../../build/witnessmark}
build=${WITNESSMARK_BUILD:-$here/../../build}
baseline=$here/instructions.baseline
folder=$build/bench/instructions
MOST_PERCENT=110

if ! command -v valgrind > /dev/null; then
    echo "instructions: not counted, valgrind is not installed"
    exit 0
fi
if grep -q -e __asan_init -e __gcov_dump "$program"; then
    echo "instructions: not counted, this build watches itself"
    exit 0
fi

rm -rf "$folder"
mkdir -p "$folder"
"$build/bench/batches" "$folder" 6000 7
for kind in vehicles dealers shipments; do
    "$program" load $kind "$folder/$kind.csv" --office "$folder/office.db" --quiet
done
head -2001 "$folder/claims.csv" > "$folder/few.csv"

# The instructions that a check of this file takes.
count() {
    GLIBC_TUNABLES=glibc.cpu.hwcaps=-AVX2,-AVX,-AVX512F,-AVX512VL,-ERMS,-FSRM,-BMI1,-BMI2,-MOVBE,-LZCNT,-RTM \
        valgrind --tool=callgrind --callgrind-out-file="$folder/counted" "$program" check "$1" \
        --office "$folder/office.db" --rules "$here/../../rules" --today 2026-03-15 --format csv --quiet --threads 1 \
        --out "$folder/decisions.csv" > "$folder/log" 2>&1 || [ $? -eq 1 ]
    awk '$1 == "summary:" || $1 == "totals:" { print $2; exit }' "$folder/counted"
}

few=$(count "$folder/few.csv")
many=$(count "$folder/claims.csv")
now=$(((many - few) / 4000))
compiler="$(${CC:-gcc} -dumpfullversion -dumpversion) $(${CC:-gcc} -dumpmachine)"
rm -rf "$folder"

if [ "${1:-}" = --record ]; then
    [ ! -f "$baseline" ] || grep -v " for $compiler\$" "$baseline" > "$baseline.new" || true
    echo "$now for $compiler" >> "$baseline.new"
    mv "$baseline.new" "$baseline"
fi
was=$(sed -n "s/^\([0-9]*\) for $compiler\$/\1/p" "$baseline")
if [ -z "$was" ]; then
    echo "instructions: $now a claim; no baseline for $compiler (tests/bench/instructions.sh --record makes one)"
elif [ $((now * 100)) -gt $((was * MOST_PERCENT)) ]; then
    echo "instructions: a claim takes $now, and took $was: more than a tenth above. Make it cheaper, or say why in the" >&2
    echo "commit that records the new figure (tests/bench/instructions.sh --record)." >&2
    exit 1
else
    echo "instructions: $now a claim, baseline $was"
fi
