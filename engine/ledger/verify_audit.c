/* Samples, judgements and chargebacks: each with all that belongs to it; and that nothing belongs to none. */
#include "base/status.h"
#include "ledger/verify_parts.h"

static const struct {
    const char *table, *key, *orphans[4]; /* orphans: tables that belong to it by the same key */
} TABLES[AUDIT_RECORDS] = {
    [AUDIT_SAMPLE] = {"samples", "sample", {"sample_regions", "sample_strata", "sample_frame", "sample_items"}},
    [AUDIT_JUDGEMENT] = {"judgement_files", "recording", {"judgements"}},
    [AUDIT_CHARGEBACK] = {"chargebacks", "chargeback", {"chargeback_items"}},
};

/* The numbers were seen to have no gap; one that is not found is named by the chain. */
static int read_records(struct verification *verification, enum audit_record kind)
{
    int64_t *count = &verification->audit_counts[kind];
    int status = verify_numbering(verification, TABLES[kind].table, TABLES[kind].key, count);

    if (status == WM_OK)
        status = verify_digests(verification, *count, &verification->audit_digests[kind]);
    for (int64_t number = 1; status == WM_OK && number <= *count; number++) {
        status =
            audit_record_digest(verification->office, kind, number, verification->audit_digests[kind][number]);
        if (status == WM_NOT_FOUND)
            status = WM_OK;
    }
    return status;
}

static int find_orphans(struct verification *verification, enum audit_record kind)
{
    char sql[320];
    int status = WM_OK;

    for (int i = 0; i < 4 && TABLES[kind].orphans[i] != NULL && status == WM_OK; i++) {
        snprintf(sql, sizeof sql,
                 "SELECT '%s names %s ' || %s || ', which is not recorded; restore the file from a copy' "
                 "FROM %s WHERE %s NOT IN (SELECT %s FROM %s) LIMIT 1",
                 TABLES[kind].orphans[i], TABLES[kind].key, TABLES[kind].key, TABLES[kind].orphans[i],
                 TABLES[kind].key, TABLES[kind].key, TABLES[kind].table);
        status = verify_query(verification, sql);
    }
    return status;
}

/* An amount taken back on a claim is an office decision too, and the two say the same. */
static int compare_decisions(struct verification *verification)
{
    int status = verify_query(
        verification,
        "SELECT 'chargeback ' || i.chargeback || ' and its office decision ' || i.decision || ' differ; "
        "restore the file from a copy' FROM chargeback_items AS i LEFT JOIN office_decisions AS d "
        "ON d.number = i.decision WHERE d.row IS NOT i.row OR d.due_cents IS NOT -i.cents "
        "OR d.action IS NOT 'chargeback' LIMIT 1");

    return status == WM_OK
               ? verify_query(
                     verification,
                     "SELECT 'office decision ' || number || ' is a chargeback that is not recorded; restore "
                     "the file from a copy' FROM office_decisions WHERE action = 'chargeback' "
                     "AND number NOT IN (SELECT decision FROM chargeback_items) LIMIT 1")
               : status;
}

int verify_audit(struct verification *verification)
{
    int status = WM_OK;

    for (enum audit_record kind = 0; kind < AUDIT_RECORDS && status == WM_OK; kind++) {
        status = read_records(verification, kind);
        if (status == WM_OK)
            status = find_orphans(verification, kind);
    }
    verification->result.samples = (uint64_t)verification->audit_counts[AUDIT_SAMPLE];
    verification->result.chargebacks = (uint64_t)verification->audit_counts[AUDIT_CHARGEBACK];
    return status == WM_OK ? compare_decisions(verification) : status;
}
