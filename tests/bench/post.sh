#!/bin/sh
# post.sh PROGRAM FOLDER [CLAIMS] - what a night costs to record, and what the nights before it cost it: three nights of
# CLAIMS claims each, one vehicle a claim, the checks that ship. A Markdown table; each line is the shortest of three runs
# and their largest memory. check of the third night, on an empty office and on one of two nights, shows the history alone.
set -eu
program=$1 bench=$2 claims=${3:-100000}
folder=$bench/nights-$claims

mkdir -p "$folder"
[ -f "$folder/loaded.db" ] || {
    "$bench/batches" "$folder" "$claims" 1 3
    for kind in vehicles dealers shipments; do
        "$program" load $kind "$folder/$kind.csv" --office "$folder/loading.db" --quiet
    done
    mv "$folder/loading.db" "$folder/loaded.db"
}

measure() { # LABEL COMMAND OFFICE NIGHT: a run on a copy of OFFICE, which stays as $folder/copy.db
    label=$1 command=$2 office=$3 night=$4
    for run in 1 2 3; do
        cp "$office" "$folder/copy.db"
        sync "$folder/copy.db"
        "$bench/measure" "$program" "$command" "$folder/claims-$night.csv" --office "$folder/copy.db" --today 2026-03-15 \
            --format csv --quiet --out "$folder/decisions.csv"
    done | sort -n | awk -v label="$label" -v claims="$claims" 'NR == 1 { wall = $1; cpu = $2 } $3 > memory { memory = $3 }
        END { printf "| %s | %d | %.2f | %.2f | %.2f | %.0f |\n", label, claims, wall, cpu, cpu * 1e6 / claims, memory / 1024 }'
}

echo "| what | claims | wall s | cpu s | us a claim | peak MiB |"
echo "| --- | --- | --- | --- | --- | --- |"
measure "history: check, nothing recorded" check "$folder/loaded.db" 03
measure "post, first night" post "$folder/loaded.db" 01
mv "$folder/copy.db" "$folder/one.db"
measure "post, second night" post "$folder/one.db" 02
mv "$folder/copy.db" "$folder/two.db"
measure "history: check, two nights recorded" check "$folder/two.db" 03
measure "post, third night" post "$folder/two.db" 03
rm -f "$folder/copy.db" "$folder/one.db" "$folder/two.db" "$folder/decisions.csv"
