#!/bin/sh
# ten.sh PROGRAM FOLDER CLAIMS - what an office of ten years answers in: a Markdown table for DEVELOPERS.md.
# The office is made once, with 1000 dealers and CLAIMS recorded claims in twenty batches: for 10,000,000 some twenty
# minutes and 9 GB in FOLDER/ten-CLAIMS. Each row is run three times, or as often as there is something left to post;
# the table shows the shortest run and the largest memory.
set -eu
program=$1 bench=$2 claims=$3
folder=$bench/ten-$claims office=$bench/ten-$claims/office.db

make_office() {
    mkdir -p "$folder"
    rm -f "$office" "$office"-*
    "$bench/batches" "$folder" $((claims / 20)) 1 21
    for kind in vehicles dealers shipments; do
        "$program" load $kind "$folder/$kind.csv" --office "$office" --quiet
    done
    tail -n +2 "$folder/nights.csv" | head -n 20 | while IFS=, read -r file day; do
        "$program" post "$folder/$file" --office "$office" --today "$day" --quiet
        sed -n '2p' "$folder/$file" >> "$folder/samples"
        rm "$folder/$file"
    done
    # what is left to be posted, 10,000 claims a file
    tail -n +2 "$folder/claims-21.csv" | split -l 10000 -d -a 3 - "$folder/rest-"
    for piece in "$folder"/rest-*; do
        { head -n 1 "$folder/claims-21.csv"; cat "$piece"; } > "$folder/left-${piece##*-}.csv"
        rm "$piece"
    done
    rm "$folder/claims-21.csv" "$folder/vehicles.csv"
    touch "$folder/made"
}

row() { # what, then three runs on standard input
    sort -n | awk -v what="$1" 'NR == 1 { wall = $1; cpu = $2 } $3 > memory { memory = $3 }
        END { printf "| %s | %.3f | %.3f | %.0f |\n", what, wall, cpu, memory / 1024 }'
}

three() { # what, command ...
    what=$1
    shift
    for run in 1 2 3; do "$bench/measure" "$program" "$@" --office "$office" --out /dev/null; done | row "$what"
}

[ -f "$folder/made" ] || make_office
echo "| on $claims recorded claims | wall s | cpu s | peak MiB |"
echo "| --- | --- | --- | --- |"
today=$(tail -n 1 "$folder/nights.csv" | cut -d, -f2)
for piece in $(ls "$folder" | grep '^left-' | head -n 3); do
    "$bench/measure" "$program" post "$folder/$piece" --office "$office" --today "$today" --quiet
    rm "$folder/$piece"
done | row "post of 10,000"
for place in 1 11 20; do
    sample=$(sed -n "${place}p" "$folder/samples")
    three "explain, a claim of batch $place" explain "$(echo "$sample" | cut -d, -f3)/$(echo "$sample" | cut -d, -f1)"
done
three "explain --vin" explain --vin "$(echo "$sample" | cut -d, -f6)"
dealer=$(echo "$sample" | cut -d, -f3)
count=$("$program" flags --dealer "$dealer" --office "$office" --format csv | wc -l)
three "flags --dealer, $((count - 1)) claims" flags --dealer "$dealer"
three "flags --dealer --limit 20" flags --dealer "$dealer" --limit 20
three "report night" report night --today "$today"
