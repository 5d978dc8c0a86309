/* audit_records.h - samples, judgements and chargebacks as they are on record: their canonical forms, written
 * and read.
 *
 * A canonical form is made as records.h says: the fields of the record's row in the order of schema_audit.sql,
 * then, for each table that belongs to it, the digest of the fields of its rows in the order of their key. It
 * is made from what the file holds, when it is written as when it is verified. This is a file format.
 *
 * The writing functions run inside office_begin_write, number what they record, and append to the chain; the
 * reading ones inside office_begin_read or a write. Texts and arrays of what is read are in the caller's arena.
 * Not here: how claims are drawn, what follows from judgements (engine/audit).
 */
#ifndef WM_LEDGER_AUDIT_RECORDS_H
#define WM_LEDGER_AUDIT_RECORDS_H

#include "ledger/office.h"
#include "ledger/paid.h"
#include "ledger/records.h"

/* --- Samples ----------------------------------------------------------------------------------------- */

struct sample_region {
    struct text region;
    int32_t audit_within_days; /* -1: no limit */
    int64_t frame_count, older_count, older_cents;
};

struct sample_stratum {
    struct text name;
    int64_t frame_count, frame_cents, item_count;
};

/* A claim of the frame. Dealer and claim are not part of the record (the row is). */
struct sample_claim {
    int64_t row;
    int64_t stratum; /* from 1 */
    int64_t paid_cents;
    struct text dealer, claim;
};

struct sample {
    int64_t sample;
    struct text name, method, strata_by, allocation, bounds;
    struct paid_filter filter;
    struct text because;
    int32_t drawn_on;
    struct text recorded_at, generator, seed;
    int64_t size_asked;
    int64_t interval_cents; /* 0: none */
    int64_t frame_cents;
    uint8_t frame_digest[DIGEST_BYTES];
    int64_t unpaid_count, older_count, older_cents, covered_count, covered_cents;
    struct sample_region *regions; /* in the order of their codes */
    uint32_t region_count;
    struct sample_stratum *strata;
    uint32_t stratum_count;
    struct sample_claim *frame; /* in the order of dealer and claim */
    uint32_t frame_count;
    uint32_t *items; /* places in the frame, in the order of drawing */
    uint32_t item_count;
};

/* The frame's digest, over dealer, claim, row and paid_cents of each claim in order. */
void sample_frame_digest(const struct sample *sample, uint8_t ret_digest[DIGEST_BYTES]);

/* Gives it its number. WM_BAD_INPUT, without a report: there is a sample of this name. */
int sample_write(struct office *office, struct sample *sample);

/* WM_NOT_FOUND, without a report: there is none of this name. */
int sample_read(struct office *office, struct arena *arena, struct text name, struct sample *ret_sample);

/* --- Judgements -------------------------------------------------------------------------------------- */

struct judgement {
    int64_t item;          /* from 1, of the sample */
    struct text judgement; /* upheld, error, missing; empty: none yet */
    int64_t right_cents;
    struct text note;
};

struct judgement_file {
    int64_t recording, sample;
    struct text file_name;
    uint8_t file_digest[DIGEST_BYTES];
    struct text judged_by;
    int32_t judged_on;
    struct text recorded_at;
    const struct judgement *judgements; /* ascending by item */
    uint32_t count;
};

int judgements_write(struct office *office, struct judgement_file *file);

/* Those that count now, one for each item of the sample, in their order; ret_judgements has room for them. */
int judgements_read(struct office *office, struct arena *arena, const struct sample *sample,
                    struct judgement *ret_judgements);

/* --- Chargebacks ------------------------------------------------------------------------------------- */

struct chargeback_item {
    int64_t item, row, decision;
    int64_t cents;
    struct text basis;
    int64_t payable_cents; /* of the row; goes to the office decision alone */
};

struct chargeback {
    int64_t chargeback, sample;
    struct text dealer, method, decided_by, reason;
    int32_t decided_on;
    struct text recorded_at;
    int32_t notified_on;           /* DAY_NONE: not said */
    int32_t notice_days;           /* -1: none */
    int64_t confidence_millionths; /* 0: not extrapolated; then the next three are null too */
    int64_t estimate_cents, error_cents, lower_cents;
    int64_t items_cents, beyond_cents;
    struct text basis;
    struct chargeback_item *items; /* ascending by item */
    uint32_t count;
};

/* With an office decision for each item. */
int chargeback_write(struct office *office, struct chargeback *chargeback);

/* What this sample took back so far: of each item (ret_item_cents has room for them), and beyond them. */
int chargebacks_read(struct office *office, const struct sample *sample, int64_t *ret_item_cents,
                     int64_t *ret_beyond_cents);

/* What was taken back of the claims of a sample's frame since it was drawn, by reversals and other samples. */
int sample_taken_otherwise(struct office *office, int64_t sample, int64_t *ret_cents);

/* --- Digests ----------------------------------------------------------------------------------------- */

/* What kind of record: CHAIN_SAMPLE, CHAIN_JUDGEMENT or CHAIN_CHARGEBACK. */
enum audit_record { AUDIT_SAMPLE, AUDIT_JUDGEMENT, AUDIT_CHARGEBACK, AUDIT_RECORDS };

/* The digest of what the file holds under this number. WM_NOT_FOUND, without a report: nothing. */
int audit_record_digest(struct office *office, enum audit_record kind, int64_t number,
                        uint8_t ret_digest[DIGEST_BYTES]);

#endif
