#!/bin/sh
# A day at a claims office, from the first load to the proof: day.sh PROGRAM DATA FOLDER THREADS
#
# DATA holds vehicles.csv, dealers.csv, shipments.csv, perhaps approvals.csv, and claim files night-*.csv or claims.csv. Each
# command must end with 0 or 1, and with nothing on standard error that a checker of memory or threads says (it ends
# with 99). WRAP is put before the program: WRAP="valgrind --error-exitcode=99 ...". Decisions of one thread and of
# THREADS are compared, byte by byte.
set -u
program=$1 data=$2 folder=$3 threads=$4
office=$folder/office.db
rm -rf "$folder"
mkdir -p "$folder" || exit 2
ran=0

run() { # arguments of the program
    # shellcheck disable=SC2086
    ${WRAP:-} "$program" "$@" > "$folder/out" 2> "$folder/err"
    code=$?
    ran=$((ran + 1))
    if [ "$code" -gt 1 ]; then
        echo "exit $code: $*" >&2
        cat "$folder/err" >&2
        exit 1
    fi
}

for kind in vehicles dealers shipments approvals; do
    [ -f "$data/$kind.csv" ] && run load "$kind" "$data/$kind.csv" --office "$office" --today 2026-03-01
done
set -- "$data"/night-*.csv
[ -f "$1" ] || set -- "$data/claims.csv"
first=$1
run check "$@" --office "$office" --today 2026-07-01 --threads 1 --format csv --out "$folder/one.csv" --findings "$folder/one-findings.csv"
run check "$@" --office "$office" --today 2026-07-01 --threads "$threads" --format csv --out "$folder/many.csv" \
    --findings "$folder/many-findings.csv"
cmp "$folder/one.csv" "$folder/many.csv" && cmp "$folder/one-findings.csv" "$folder/many-findings.csv" || exit 1
run check "$first" --office "$office" --today 2026-07-01 --format json
run check "$first" --office "$office" --today 2026-07-01 --format csv --out "$folder/first.csv"
run check "$first" --office "$office" --today 2026-07-01 --threads "$threads"
for night; do
    run post "$night" --office "$office" --today 2026-07-01 --threads "$threads" --replies "$folder/replies"
done
run post "$first" --office "$office" --today 2026-07-01
run flags --office "$office" --today 2026-07-01 --format csv --out "$folder/flags.csv"
claim=$(awk -F, 'NR > 1 && $4 ~ /^[A-Za-z0-9]+$/ { print $4 "/" $2; exit }' "$folder/first.csv")
vin=$(awk -F, 'NR > 1 && length($6) == 17 { print $6; exit }' "$folder/first.csv")
held=$(awk -F, '$7 == "hold" { print $4 "/" $2; exit }' "$folder/first.csv")
paid=$(awk -F, '$7 == "pay" && $10 != "0.00" { print $4 "/" $2; exit }' "$folder/first.csv")
run explain "$claim" --office "$office"
run explain --vin "$vin" --office "$office" --format json
[ -n "$held" ] && run decide "$held" return --by office --reason "Send the photograph." --office "$office" --today 2026-07-02
[ -n "$paid" ] && run reverse "$paid" --by office --reason "Paid in error." --office "$office" --today 2026-07-02
run followups --office "$office" --today 2026-07-02
run worksheet "$vin" --office "$office" --today 2026-07-02
run rules lint
run verify --office "$office" --again --threads "$threads"
grep -q "everything fits" "$folder/out" || { echo "verify does not pass" >&2; cat "$folder/out" >&2; exit 1; }
echo "a day of $ran commands"
