#!/bin/sh
# 1,000 random cases of each function of sampling in engine/statistics, which R must find the same. Without R it is skipped.
set -u
cd "$(dirname "$0")/.." || exit 2
if ! command -v Rscript > /dev/null; then
    echo "statistics.sh: skipped, R is not installed (Debian's r-base-core)"
    exit 0
fi
"${WITNESSMARK_BUILD:-build}/tests/test_statistics" cases | Rscript --vanilla tests/statistics.R
