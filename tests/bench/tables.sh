#!/bin/sh
# tables.sh PROGRAM FOLDER - how fast a table answers, and whether its length matters: `rules try` of a kit table of 5, 50 and
# 500 rows and three conditions on 1,000,000 rows of facts. Each is run three times; the table shows the shortest run.
set -eu
program=$1 folder=$2/tables

mkdir -p "$folder"
[ -f "$folder/facts.csv" ] || awk 'BEGIN {
    print "model_year,engine,transmission"
    for (seed = 1; i < 1000000; i++) {
        seed = (seed * 69069 + 12345) % 4294967296
        pick = int(seed / 65536)
        print 2016 + pick % 10 ",E" int(pick / 10) % 25 "," (pick % 2 ? "manual" : "automatic")
    }
}' > "$folder/facts.csv"

echo "| rows of the table | wall s | cpu s | decisions a second |"
echo "| --- | --- | --- | --- |"
for rows in 5 50 500; do
    awk -v rows="$rows" 'BEGIN {
        print "U,model_year,engine,transmission,>kit,>quantity"
        for (i = 0; i < rows; i++)
            printf "k%d,%d,\"\"\"E%d\"\"\",%s,KT-%04d,1\n", i + 1, 2016 + i % 10, int(i / 10) % 25, i < 250 ? "manual" : "automatic", i
    }' > "$folder/kits.csv"
    for run in 1 2 3; do
        "$2/measure" "$program" rules try "$folder/kits.csv" "$folder/facts.csv" --format csv --quiet --out /dev/null
    done | sort -n | awk -v rows="$rows" 'NR == 1 { printf "| %d | %.2f | %.2f | %d |\n", rows, $1, $2, 1000000 / $1 }'
done
