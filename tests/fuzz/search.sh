#!/bin/sh
# Lets each fuzz target search: search.sh BUILD SECONDS TARGET...
# The inputs that reach something new are kept in BUILD/corpus/TARGET between runs, and how many inputs were run in all
# is added up in BUILD/counts/TARGET. Ends at the first input on which something is wrong, and says where it is.
set -u
build=$1 seconds=$2
shift 2
cd "$(dirname "$0")/../.." || exit 2
# Little memory is kept from being used again, and few frames of each allocation: five times as many inputs.
export ASAN_OPTIONS=quarantine_size_mb=1:malloc_context_size=4
mkdir -p "$build/counts" "$build/found" "$build/logs"
for target; do
    mkdir -p "$build/corpus/$target"
    "$build/fuzzer/$target" -max_total_time="$seconds" -timeout=25 -rss_limit_mb=4096 -print_final_stats=1 -reduce_inputs=0 \
        -verbosity=1 -max_len=4096 $(cat "tests/fuzz/$target.options" 2>/dev/null) \
        -dict="tests/fuzz/$target.dict" -artifact_prefix="$build/found/$target-" \
        "$build/corpus/$target" "tests/fuzz/corpus/$target" > "$build/logs/$target" 2>&1
    code=$?
    ran=$(sed -n 's/^stat::number_of_executed_units: *//p' "$build/logs/$target")
    all=$(($(cat "$build/counts/$target" 2>/dev/null || echo 0) + ${ran:-0}))
    echo "$all" > "$build/counts/$target"
    printf '%-20s %12d inputs now, %12d in all\n' "$target" "${ran:-0}" "$all"
    if [ "$code" -ne 0 ]; then
        echo "$target: something is wrong; see the end of $build/logs/$target and the input in $build/found" >&2
        tail -n 40 "$build/logs/$target" >&2
        exit 1
    fi
done
