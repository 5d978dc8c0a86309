#!/bin/sh
# Runs test programs, some at a time, and says of each what it said and how long it took: run.sh AT_A_TIME LOGS PROGRAM...
# Ends with 1 and the names of those that failed.
set -u
at_a_time=$1 logs=$2
shift 2
mkdir -p "$logs"
rm -f "$logs"/*.log "$logs/failed"
export logs
# shellcheck disable=SC2016
printf '%s\n' "$@" | xargs -P "$at_a_time" -I '{}' sh -c '
    log=$logs/$(basename {}).log began=$(date +%s)
    {} > "$log" 2>&1 || echo {} >> "$logs/failed"
    cat "$log"
    echo "== {}: $(($(date +%s) - began)) s"'
if [ -s "$logs/failed" ]; then
    echo "failed: $(tr '\n' ' ' < "$logs/failed")" >&2
    exit 1
fi
