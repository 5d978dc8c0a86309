/* recorded.h - claims as they are on record: every row with its content, what people decided since, what stands
 * and what is paid; as it is now, or as it was at an earlier point.
 *
 * A reader owns its statements and borrows the office; read inside office_begin_read or a write. Texts go to
 * the caller's arena. Not for two threads at once.
 */
#ifndef WM_LEDGER_RECORDED_H
#define WM_LEDGER_RECORDED_H

#include "facts/history.h"
#include "ledger/office.h"

/* How much of the ledger counts: rows and office decisions up to and including these. */
struct ledger_point {
    int64_t last_row, last_decision;
};

struct office_decision {
    int64_t number, row;
    struct text action; /* pay, return, refuse, reverse, chargeback */
    struct text decided_by, reason, recorded_at;
    int32_t decided_on;
    int64_t payable_cents, due_cents;
};

/* A row of a claim file as it was recorded. */
struct claim_row {
    int64_t row, batch, line, revision;
    struct text campaign, vin, outcome;
    int32_t completed_on, received_on, today;
    enum decision engine_decision;
    enum decision decision;                        /* the engine's, or a person's since */
    int64_t asked_cents, payable_cents, due_cents; /* as posted */
    int64_t payable_now_cents;               /* of the decision that counts; for hold what would be paid */
    int64_t reversed_cents;                  /* taken back by reversals and chargebacks of what was paid by this row */
    bool counts;                             /* its revision was higher than all before it */
    int64_t replaces;                        /* 0: none, or it does not count */
    const struct office_decision *decisions; /* in their order */
    uint32_t decision_count;
};

struct ledger_claim {
    struct text dealer, claim;
    const struct claim_row *rows; /* in the order of revision, equal ones in that of recording */
    uint32_t row_count;
    const struct claim_row *last;     /* the highest revision */
    const struct claim_row *standing; /* the highest that is decided pay or hold; NULL: none */
    const struct claim_row *paid;     /* the highest that is decided pay; NULL: none */
    int64_t paid_cents;               /* by it, less what was reversed */
    int32_t first_received_on;
};

struct ledger_reader;

int ledger_reader_open(struct office *office, struct ledger_point point, struct ledger_reader **ret_reader);
void ledger_reader_close(struct ledger_reader *reader); /* accepts NULL */
void ledger_reader_move(struct ledger_reader *reader, struct ledger_point point);
struct office *ledger_reader_office(const struct ledger_reader *reader);

/* What finds its rows; lives as long as the reader. */
struct packed_reader;
int ledger_reader_rows(struct ledger_reader *reader, struct packed_reader **ret_rows);

/* The last row and the last office decision that are recorded; 0 where there is none. */
int ledger_last(struct office *office, struct ledger_point *ret_point);

/* Rows are replaced by later ones. Where an office file that was changed by other means says otherwise, who follows
 * replacements would go round for ever: it is reported as damaged, WM_IO. Looks through all of them. */
int ledger_check_replaced(struct office *office);

/* WM_NOT_FOUND, without a report, where no row of it is recorded. */
int ledger_claim_read(struct ledger_reader *reader, struct arena *arena, struct text dealer, struct text claim,
                      struct ledger_claim *ret_claim);

/* The canonical text of a row. */
int ledger_content(struct ledger_reader *reader, struct arena *arena, int64_t row, struct text *ret_content);

/* The claim that a canonical text states. */
int ledger_content_claim(struct text content, int64_t line, struct arena *arena, struct claim *ret_claim);

/* Names of claims, in the arena: those that have a row on this VIN, or any row of the dealer, each once with
 * its first row; or a name for each row on this repair order of the dealer. */
struct claim_name {
    struct text dealer, claim;
    int64_t row;
};
int ledger_names_on_vin(struct ledger_reader *reader, struct arena *arena, struct text vin,
                        struct claim_name **ret_names, uint32_t *ret_count);
int ledger_names_of_dealer(struct ledger_reader *reader, struct arena *arena, struct text dealer,
                           struct claim_name **ret_names, uint32_t *ret_count);
int ledger_names_on_repair_order(struct ledger_reader *reader, struct arena *arena, struct text dealer,
                                 struct text repair_order, struct claim_name **ret_names, uint32_t *ret_count);

/* How many of these rows, which ascend, are not above this one. */
uint64_t ledger_rows_up_to(const int64_t *rows, uint64_t count, int64_t row);

/* Whether a row is wanted, by what is noted of it (ledger/packed.h). Rows come in no order. */
typedef bool ledger_row_wanted(void *context, int64_t row, uint32_t note);

/* All rows on a VIN (dealer empty) or of a dealer that are wanted (NULL: all are), ascending, in the arena. They may
 * hold some of another one, whose hash is the same. */
int ledger_rows_of(struct ledger_reader *reader, struct arena *arena, struct text dealer, struct text vin,
                   ledger_row_wanted *wanted, void *context, int64_t **ret_rows, uint32_t *ret_count);

#endif
