#!/bin/bash
# Changes the engine in one place at a time and looks whether the tests notice: run.sh BUILD [COUNT [SEED [FILE...]]]
#
# COUNT places (default 300) are drawn by SEED (default 20260301) from all that mutate.c finds in engine/tables,
# engine/facts and engine/verdict. For each, one file is compiled and linked into a shared library that every test program
# uses, and the tests below run until one fails, each for at most LIMIT seconds of the processor. A mutant that does not compile is none; one
# that the tests do not end with is caught. Survivors are named; those in tests/mutation/survivors.txt have a reason
# there and are counted apart. BUILD/mutation/results has a line for each: caught or survived, file, line, change, by which test.
set -u
cd "$(dirname "$0")/../.." || exit 2
build=$(cd "$1" && pwd) count=${2:-300} seed=${3:-20260301} limit=${LIMIT:-60}
work=$build/mutation
flags="-std=gnu11 -O0 -w -fPIC -D_GNU_SOURCE -DPCRE2_CODE_UNIT_WIDTH=8 -pthread -Iengine -I$build/generated"
libraries="-lsqlite3 -lpcre2-8 -lcsv -lsodium -ljansson"
shift $(($# < 3 ? $# : 3))
files=${*:-engine/tables/*.c engine/facts/*.c engine/verdict/*.c}
program_tests="test_verdict test_facts test_worksheet test_orders test_findings test_explain"
mkdir -p "$work/objects" "$work/tests" "$work/mutant"

tests_of() { # the tests of a file's folder, the fast ones first; TESTS names others
    case ${TESTS:+given}$1 in
    given*) echo "$TESTS" ;;
    engine/tables/*) echo "test_conditions test_tables test_tables_try test_tables_random test_rules test_units $program_tests" ;;
    engine/facts/vin.c) echo "test_vin test_facts test_findings" ;;
    *) echo "$program_tests" ;;
    esac
}

# --- The engine as it is: objects, a shared library, tests and the program on it ---
gcc -O1 -Wall -Wextra -o "$work/mutate" tests/mutation/mutate.c || exit 2
for source in engine/*/*.c; do
    object=$work/objects/$(echo "${source%.c}" | tr / _).o
    if [ "$source" -nt "$object" ] || [ engine/tables/table.h -nt "$object" ]; then
        # shellcheck disable=SC2086
        gcc $flags -c -o "$object" "$source" || exit 2
    fi
done
# shellcheck disable=SC2086
link() { gcc -shared -Wl,-Bsymbolic -o "$1" $2 $libraries; }
link "$work/libwitnessmark.so" "$(echo "$work"/objects/*.o)" || exit 2
# shellcheck disable=SC2086
for test in $(for file in $files; do tests_of "$file" | tr ' ' '\n'; done | sort -u); do
    # The random tables, fewer of them: what one mutant breaks shows in the first thousands.
    sed 's/i < 25000/i < 2500/' "tests/unit/$test.c" > "$work/tests/$test.c"
    gcc $flags -Itests/unit -o "$work/tests/$test" "$work/tests/$test.c" -L"$work" -lwitnessmark $libraries -lcmocka || exit 2
done
# shellcheck disable=SC2086
gcc $flags -o "$work/witnessmark" engine/main.c -L"$work" -lwitnessmark $libraries || exit 2
export WITNESSMARK=$work/witnessmark WITNESSMARK_BUILD=$build

run_tests() { # sets caught_by; fails where all tests pass
    for test in $(tests_of "$1"); do
        (ulimit -t "$limit"; LD_LIBRARY_PATH=$2 exec timeout 900 "$work/tests/$test") > "$work/out" 2>&1 && continue
        caught_by=$test
        return 0
    done
    return 1
}

# --- All tests pass on the engine as it is ---
seen=
for file in $files; do
    list=$(tests_of "$file")
    case " $seen" in *" $list|"*) continue ;; esac
    seen="$seen $list|"
    if run_tests "$file" "$work"; then echo "$caught_by does not pass unchanged" >&2; tail -n 20 "$work/out" >&2; exit 2; fi
done

# --- The mutants ---
for file in $files; do
    "$work/mutate" "$file" | sed "s|^|$file\t|"
done > "$work/places"
awk -v seed="$seed" 'BEGIN { srand(seed) } { print rand() "\t" $0 }' "$work/places" | sort -n | cut -f 2- | head -n "$count" > "$work/drawn"
: > "$work/results"
caught=0 survived=0 explained=0 none=0
while IFS=$'\t' read -r file number line change text; do
    object=$work/mutant/one.o
    "$work/mutate" "$file" "$number" > "$work/mutant/one.c"
    # shellcheck disable=SC2086
    if ! gcc $flags -c -o "$object" "$work/mutant/one.c" 2> /dev/null; then none=$((none + 1)); continue; fi
    own=$work/objects/$(echo "${file%.c}" | tr / _).o
    link "$work/mutant/libwitnessmark.so" "$(ls "$work"/objects/*.o | grep -vxF "$own") $object" || { none=$((none + 1)); continue; }
    if run_tests "$file" "$work/mutant"; then
        caught=$((caught + 1))
        printf 'caught\t%s:%s\t%s\t%s\t%s\n' "$file" "$line" "$change" "$text" "$caught_by" >> "$work/results"
    elif grep -qF "$file | $change | $text |" tests/mutation/survivors.txt; then
        explained=$((explained + 1))
        printf 'explained\t%s:%s\t%s\t%s\t\n' "$file" "$line" "$change" "$text" >> "$work/results"
    else
        survived=$((survived + 1))
        printf 'survived\t%s:%s\t%s\t%s\t\n' "$file" "$line" "$change" "$text" | tee -a "$work/results"
    fi
done < "$work/drawn"
made=$((caught + survived + explained))
echo "$(wc -l < "$work/places") places, $made mutants by seed $seed ($none did not compile): $caught caught, $explained explained, $survived survived"
[ $((caught * 100)) -ge $(((caught + survived) * 95)) ]
