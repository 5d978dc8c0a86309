#!/bin/sh
# Runs each fuzz target, built by gcc without sanitizers, on random changes of its inputs: change.sh BUILD INPUTS TARGET...
# until it was run on so many in all. They are added up in BUILD/fuzz-counts/TARGET; rounds of some 500,000 have seeds
# of their own. Inputs that `make fuzz` found are begun with too. Ends at the first on which something is wrong.
set -u
build=$1 inputs=$2
shift 2
cd "$(dirname "$0")/../.." || exit 2
mkdir -p "$build/fuzz-counts" "$build/fuzz-found"
for target; do
    counts=$build/fuzz-counts/$target
    all=$(cat "$counts" 2>/dev/null || echo 0)
    seeds=$build/fuzz-seeds/$target
    rm -rf "$seeds"
    mkdir -p "$seeds"
    cp tests/fuzz/corpus/"$target"/* "$seeds"
    find "$build/clang-fuzz/corpus/$target" -type f -size -8 -exec cp {} "$seeds" \; 2>/dev/null
    times=$((500000 / $(find "$seeds" -type f | wc -l) + 1))
    while [ "$all" -lt "$inputs" ]; do
        said=$(WM_SEED=$((all + 1)) WM_FOUND="$build/fuzz-found/$target" "$build/fuzz/$target" "$seeds" $times \
            "tests/fuzz/$target.dict" 2>"$build/fuzz-found/$target.said") || {
            echo "$target: something is wrong: $said $(cat "$build/fuzz-found/$target.said"); see $build/fuzz-found/$target" >&2
            exit 1
        }
        ran=$(printf '%s' "$said" | sed -n 's/.*: \([0-9]*\) inputs$/\1/p')
        all=$((all + ran))
        echo "$all" > "$counts"
    done
    printf '%-20s %12d inputs in all\n' "$target" "$all"
done
