#!/bin/bash
# Changes the engine in one place at a time and looks whether the tests notice: run.sh BUILD [COUNT [SEED [FILE...]]]
#
# COUNT places (default 300) are drawn by SEED (default 20260301) from all that mutate.c finds in engine/tables,
# engine/facts and engine/verdict. A mutant costs one compiled file: the engine is a shared library whose functions can
# be stood in for, every test program asks libmutant.so before it, and the changed file alone is put there. The tests of
# the file's folder then run, the quickest first, until an assertion fails, each for at most three times the processor
# time that it takes on the engine as it is, JOBS at a time (as many as there are processors, where nobody says how
# many). A mutant that does not compile is none; one that the tests do not end with is caught.
# Survivors are named; those in tests/mutation/survivors.txt have a reason there and are counted apart.
# BUILD/mutation/results has a line for each: caught or survived, file, line, change, text, by which test.
# TESTS="test_a test_b" names other tests; PLACES=FILE runs what an earlier run drew or left (lines of BUILD/mutation/drawn).
set -u
cd "$(dirname "$0")/../.." || exit 2
build=$(cd "$1" && pwd) count=${2:-300} seed=${3:-20260301}
work=$build/mutation
flags="-std=gnu11 -O0 -w -fPIC -D_GNU_SOURCE -DPCRE2_CODE_UNIT_WIDTH=8 -pthread -Iengine -I$build/generated"
libraries="-lsqlite3 -lpcre2-8 -lcsv -lsodium -ljansson -lgsl -lgslcblas -lm"
shift $(($# < 3 ? $# : 3))
files=${*:-engine/tables/*.c engine/facts/*.c engine/verdict/*.c}
program_tests="test_expectations test_verdict test_facts test_orders test_findings test_explain test_steady test_worksheet"
mkdir -p "$work/objects" "$work/tests" "$work/mutant"

tests_of() { # the tests of a file's folder; TESTS names others
    case ${TESTS:+given}$1 in
    given*) echo "$TESTS" ;;
    engine/tables/try*) echo "test_tables_try test_rules_workbench" ;;
    engine/tables/*) echo "test_conditions test_tables test_tables_try test_tables_random test_rules $program_tests" ;;
    engine/facts/deadlines.c) echo "test_reports_office test_audit $program_tests" ;;
    engine/facts/history.c) echo "$program_tests test_ledger test_ledger_random test_post_again" ;;
    engine/facts/fleet.c) echo "test_register test_lint_command test_rules_workbench" ;;
    engine/facts/totals.c) echo "test_totals $program_tests" ;;
    engine/facts/vin.c) echo "test_vin test_facts test_findings" ;;
    *) echo "$program_tests" ;;
    esac
}

all_tests=$(for file in $files; do tests_of "$file"; done | xargs -n 1 | sort -u)

# --- The engine as it is: objects, a shared library, tests and the program on it ---
gcc -O1 -Wall -Wextra -o "$work/mutate" tests/mutation/mutate.c || exit 2
newest_header=$(ls -t engine/*/*.h tests/unit/*.h | head -n 1)
for source in engine/*/*.c; do
    name=${source%.c}
    object=$work/objects/${name//\//_}.o
    [ "$object" -nt "$source" ] && [ "$object" -nt "$newest_header" ] || echo "$flags -c -o $object $source"
done | xargs -r -L 1 -P "$(nproc)" gcc || exit 2
# shellcheck disable=SC2086
gcc -shared -o "$work/libwitnessmark.so" "$work"/objects/*.o $libraries || exit 2
: > "$work/none.c"
gcc -shared -o "$work/libmutant.so" "$work/none.c" || exit 2
link_with="-L$work -Wl,--no-as-needed -lmutant -lwitnessmark $libraries"
# shellcheck disable=SC2086
for test in $all_tests; do
    # The random tables, fewer of them: what one mutant breaks shows in the first thousands.
    made=$work/tests/$test
    [ "$made" -nt "tests/unit/$test.c" ] && [ "$made" -nt "$newest_header" ] && continue
    sed 's/i < 25000/i < 2500/' "tests/unit/$test.c" > "$made.c"
    gcc $flags -Itests/unit -o "$made" "$made.c" $link_with -lcmocka || exit 2
done
# shellcheck disable=SC2086
gcc $flags -o "$work/witnessmark" engine/main.c $link_with || exit 2
export WITNESSMARK=$work/witnessmark WITNESSMARK_BUILD=$build
ulimit -c 0

# --- All tests pass on the engine as it is, and what each takes: hundredths of a second of the processor, and seconds ---
: > "$work/times"
TIMEFORMAT='%U %S %R'
for test in $all_tests; do
    { time LD_LIBRARY_PATH=$work "$work/tests/$test" > "$work/out" 2>&1; } 2> "$work/time" ||
        { echo "$test does not pass unchanged" >&2; tail -n 20 "$work/out" >&2; exit 2; }
    awk -v test="$test" '{ printf "%d %d %s\n", 100 * ($1 + $2), $3, test }' "$work/time" >> "$work/times"
done
sort -n -o "$work/times" "$work/times"

run_tests() { # FILE FOLDER: sets caught_by; fails where all tests pass with the library of the folder
    local own hundredths seconds test
    own=" $(tests_of "$1") "
    while read -r hundredths seconds test; do
        case $own in *" $test "*) ;; *) continue ;; esac
        (ulimit -t $((hundredths * 3 / 100 + 2))
         LD_LIBRARY_PATH=$2:$work TMPDIR=$2/tmp CMOCKA_TEST_ABORT=1 exec timeout $((seconds * 10 + 60)) "$work/tests/$test") \
            < /dev/null > "$2/out" 2>&1 && continue
        caught_by=$test
        return 0
    done < "$work/times"
    return 1
} 2> /dev/null

# --- The mutants ---
for file in $files; do
    "$work/mutate" "$file" | sed "s|^|$file\t|"
done > "$work/places"
if [ -n "${PLACES:-}" ]; then
    cp "$PLACES" "$work/drawn"
else
    awk -v seed="$seed" 'BEGIN { srand(seed) } { print rand() "\t" $0 }' "$work/places" | sort -n | cut -f 2- | head -n "$count" > "$work/drawn"
fi

try_mutants() { # NUMBER: every JOBS-th mutant, from this one on; each worker has a folder of its own
    local own=$work/mutant/$1 turn=0 verdict caught_by file number line change text
    mkdir -p "$own/tmp"
    : > "$own/results"
    while IFS=$'\t' read -r file number line change text; do
        [ $((turn++ % jobs)) -eq "$1" ] || continue
        caught_by=
        "$work/mutate" "$file" "$number" > "$own/one.c"
        # shellcheck disable=SC2086
        if ! gcc $flags -I"$(dirname "$file")" -shared -o "$own/libmutant.so" "$own/one.c" 2> /dev/null; then
            verdict=none
        elif run_tests "$file" "$own"; then
            verdict=caught
        elif grep -qF "$file | $change | $text |" tests/mutation/survivors.txt; then
            verdict=explained
        else
            verdict=survived
        fi
        printf '%s\t%s:%s\t%s\t%s\t%s\t%s\n' $verdict "$file" "$line" "$change" "$text" "$caught_by" "$number" >> "$own/results"
        [ $verdict != survived ] || tail -n 1 "$own/results"
        rm -rf "$own/tmp"/*
    done < "$work/drawn"
}

jobs=${JOBS:-$(nproc)}
for ((worker = 0; worker < jobs; worker++)); do try_mutants $worker & done
wait
for ((worker = 0; worker < jobs; worker++)); do cat "$work/mutant/$worker/results"; done > "$work/results"
number_of() { grep -c "^$1" "$work/results"; }
caught=$(number_of caught) survived=$(number_of survived) explained=$(number_of explained)
echo "$(wc -l < "$work/places") places, $((caught + survived + explained)) mutants by seed $seed ($(number_of none) did not compile): $caught caught, $explained explained, $survived survived"
[ $((caught * 100)) -ge $(((caught + survived) * 95)) ]
