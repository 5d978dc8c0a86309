#!/bin/sh
# bench.sh PROGRAM FOLDER [CLAIMS...] - how time and memory grow with the claims, and what each stage costs: Markdown
# tables for DEVELOPERS.md and RESULTS.md. Each size is run three times on a warm cache; the tables show the shortest
# run and the largest memory. Stages are of the second size, or the only one.
set -eu
program=$1 folder=$2
shift 2
[ $# -gt 0 ] || set -- 10000 100000 1000000

best_of_three() {
    for run in 1 2 3; do
        "$folder/measure" "$@"
    done | sort -n | awk 'NR == 1 { wall = $1; cpu = $2 } $3 > memory { memory = $3 } END { print wall, cpu, memory }'
}

echo "| claims | bytes a claim | check, wall s | cpu s | us a claim | peak MiB |"
echo "| --- | --- | --- | --- | --- | --- |"
for claims in "$@"; do
    mkdir -p "$folder/$claims"
    [ -f "$folder/$claims/office.db" ] || {
        "$folder/batches" "$folder/$claims" "$claims"
        for kind in vehicles dealers shipments; do
            "$program" load $kind "$folder/$claims/$kind.csv" --office "$folder/$claims/office.db" --quiet
        done
    }
    bytes=$(($(wc -c < "$folder/$claims/claims.csv") / claims))
    best_of_three "$program" check "$folder/$claims/claims.csv" --office "$folder/$claims/office.db" --today 2026-03-15 \
        --format csv --quiet --out "$folder/$claims/decisions.csv" |
        awk -v claims="$claims" -v bytes="$bytes" \
            '{ printf "| %d | %d | %.2f | %.2f | %.2f | %.0f |\n", claims, bytes, $1, $2, $2 * 1e6 / claims, $3 / 1024 }'
done

staged=$1
[ $# -lt 2 ] || staged=$2
echo
"$folder/stages" "$folder/$staged/claims.csv" "$folder/$staged/office.db" rules 2026-03-15
