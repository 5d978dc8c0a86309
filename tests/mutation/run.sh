#!/bin/bash
# Changes the engine in one place at a time and looks whether the tests notice: run.sh BUILD [COUNT [SEED [FILE...]]]
#
# COUNT places (default 300) are drawn by SEED (default 20260301) from all that mutate.c finds in engine/tables,
# engine/facts and engine/verdict. A mutant costs one compiled file: the engine is a shared library whose functions can
# be stood in for, every test program asks libmutant.so before it, and the changed file alone is put there. The tests of
# the file's folder then run, the quickest first, until an assertion fails, each for at most ten times what it takes
# on the engine as it is. A mutant that does not compile is none; one that the tests do not end with is caught.
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
program_tests="test_verdict test_facts test_orders test_findings test_explain test_steady test_worksheet"
mkdir -p "$work/objects" "$work/tests" "$work/mutant" "$work/tmp"
export TMPDIR=$work/tmp

tests_of() { # the tests of a file's folder; TESTS names others
    case ${TESTS:+given}$1 in
    given*) echo "$TESTS" ;;
    engine/tables/try*) echo "test_tables_try test_rules_workbench" ;;
    engine/tables/*) echo "test_conditions test_tables test_tables_try test_tables_random test_rules $program_tests" ;;
    engine/facts/vin.c) echo "test_vin test_facts test_findings" ;;
    *) echo "$program_tests" ;;
    esac
}

# --- The engine as it is: objects, a shared library, tests and the program on it ---
gcc -O1 -Wall -Wextra -o "$work/mutate" tests/mutation/mutate.c || exit 2
newest_header=$(ls -t engine/*/*.h | head -n 1)
for source in engine/*/*.c; do
    object=$work/objects/$(echo "${source%.c}" | tr / _).o
    [ "$object" -nt "$source" ] && [ "$object" -nt "$newest_header" ] || echo "$flags -c -o $object $source"
done | xargs -r -L 1 -P "$(nproc)" gcc || exit 2
# shellcheck disable=SC2086
gcc -shared -o "$work/libwitnessmark.so" "$work"/objects/*.o $libraries || exit 2
gcc -shared -o "$work/libmutant.so" -x c /dev/null || exit 2
link_with="-L$work -Wl,--no-as-needed -lmutant -lwitnessmark $libraries"
# shellcheck disable=SC2086
for test in $(for file in $files; do tests_of "$file" | tr ' ' '\n'; done | sort -u); do
    # The random tables, fewer of them: what one mutant breaks shows in the first thousands.
    sed 's/i < 25000/i < 2500/' "tests/unit/$test.c" > "$work/tests/$test.c"
    gcc $flags -Itests/unit -o "$work/tests/$test" "$work/tests/$test.c" $link_with -lcmocka || exit 2
done
# shellcheck disable=SC2086
gcc $flags -o "$work/witnessmark" engine/main.c $link_with || exit 2
export WITNESSMARK=$work/witnessmark WITNESSMARK_BUILD=$build
ulimit -c 0

# --- All tests pass on the engine as it is, and how many hundredths of a second each takes ---
: > "$work/times"
for test in $(for file in $files; do tests_of "$file" | tr ' ' '\n'; done | sort -u); do
    from=$(date +%s%N)
    LD_LIBRARY_PATH=$work "$work/tests/$test" > "$work/out" 2>&1 ||
        { echo "$test does not pass unchanged" >&2; tail -n 20 "$work/out" >&2; exit 2; }
    echo "$((($(date +%s%N) - from) / 10000000)) $test" >> "$work/times"
done
sort -n -o "$work/times" "$work/times"

run_tests() { # sets caught_by; fails where all tests pass
    local own hundredths test
    own=" $(tests_of "$1") "
    while read -r hundredths test; do
        case $own in *" $test "*) ;; *) continue ;; esac
        (ulimit -t $((hundredths / 10 + 5)); LD_LIBRARY_PATH=$2:$work CMOCKA_TEST_ABORT=1 \
            exec timeout $((hundredths / 5 + 60)) "$work/tests/$test") < /dev/null > "$work/out" 2>&1 && continue
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
: > "$work/results"
caught=0 survived=0 explained=0 none=0
tell() { printf '%s\t%s:%s\t%s\t%s\t%s\t%s\n' "$1" "$file" "$line" "$change" "$text" "$2" "$number" | tee -a "$work/results"; }
while IFS=$'\t' read -r file number line change text; do
    "$work/mutate" "$file" "$number" > "$work/mutant/one.c"
    # shellcheck disable=SC2086
    if ! gcc $flags -I"$(dirname "$file")" -shared -o "$work/mutant/libmutant.so" "$work/mutant/one.c" 2> /dev/null; then
        none=$((none + 1))
    elif run_tests "$file" "$work/mutant"; then
        caught=$((caught + 1))
        tell caught "$caught_by" > /dev/null
    elif grep -qF "$file | $change | $text |" tests/mutation/survivors.txt; then
        explained=$((explained + 1))
        tell explained "" > /dev/null
    else
        survived=$((survived + 1))
        tell survived ""
    fi
    rm -rf "$work/tmp"/*
done < "$work/drawn"
made=$((caught + survived + explained))
echo "$(wc -l < "$work/places") places, $made mutants by seed $seed ($none did not compile): $caught caught, $explained explained, $survived survived"
[ $((caught * 100)) -ge $(((caught + survived) * 95)) ]
