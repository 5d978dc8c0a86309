/* Comparisons of dealers: the digest of each run, and nothing that belongs to none. */
#include "base/status.h"
#include "ledger/outlier_runs.h"
#include "ledger/verify_parts.h"

int verify_outliers(struct verification *verification)
{
    int status = verify_numbering(verification, "outlier_runs", "run", &verification->outlier_count);

    if (status == WM_OK)
        status = verify_digests(verification, verification->outlier_count, &verification->outlier_digests);
    for (int64_t run = 1; status == WM_OK && run <= verification->outlier_count; run++) {
        status = outlier_run_digest(verification->office, run, verification->outlier_digests[run]);
        if (status == WM_NOT_FOUND) /* the gap is said already */
            status = WM_OK;
    }
    if (status == WM_OK)
        status = verify_query(
            verification,
            "SELECT 'outlier_measures names run ' || run || ', which is not recorded; restore the "
            "file from a copy' FROM outlier_measures WHERE run NOT IN (SELECT run FROM outlier_runs) "
            "LIMIT 1");
    if (status == WM_OK)
        status = verify_query(
            verification,
            "SELECT 'outlier_flags names run ' || run || ', which is not recorded; restore the file "
            "from a copy' FROM outlier_flags WHERE run NOT IN (SELECT run FROM outlier_runs) LIMIT 1");
    verification->result.outlier_runs = (uint64_t)verification->outlier_count;
    return status;
}
