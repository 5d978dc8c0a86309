/* measures.h - by which measures dealers are compared with each other, as rules/outliers.csv lists them.
 *
 * A measure is a share of a dealer's claims: of those that the `of_` columns let in, the ones for which every
 * filled cell holds. Which findings or effects count is the office's to say, and stands in the file alone.
 * Everything lives in the arena.
 *
 * Not here: counting claims (ledger/outliers.h) and what chance allows (statistics/funnel.h).
 */
#ifndef WM_RULES_MEASURES_H
#define WM_RULES_MEASURES_H

#include <stdbool.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/diag.h"
#include "base/text.h"

/* Each a list of words separated by ; of which one must be the claim's. Empty: it does not matter. */
struct measure_words {
    struct text decision; /* as it is now */
    struct text outcome;
};

enum measure_side { SIDE_HIGH, SIDE_LOW, SIDE_BOTH };

struct measure {
    struct text name, title;
    struct measure_words of;     /* which claims are compared */
    struct measure_words is;     /* which of them count */
    struct text effect, finding; /* of one finding of the claim: its effect, its name */
    struct text followup;   /* opened: the claim left follow-up work; supplied: it brought a part for some */
    enum measure_side side; /* on which side of the limits a dealer stands out */
    int64_t near, far;      /* probabilities of the limits, millionths, above one half, near < far */
    int64_t draw_in;        /* the share of dealers on each side whose scores are drawn in, millionths */
    struct text definition; /* the row as written, cell by cell, for the record */
    uint64_t line;
};

struct measures {
    struct measure *list;
    uint32_t count;
    struct text file;
};

/* "high", "low", "both" */
const char *measure_side_name(enum measure_side side);

/* Reads outliers.csv:
 * measure,title,of_decision,of_outcome,decision,outcome,effect,finding,followup,side,near,far, draw_in,source.
 * Every error is reported. */
int measures_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
                  struct measures *ret_measures);

/* What was kept of a measure in a record. */
struct measure_record {
    struct text title, definition;
};

/* The measures as they were when this was recorded, read as outliers.csv is. WM_BAD_INPUT, reported: this program
 * cannot read one of them. */
int measures_of_record(struct arena *arena, struct text file, const struct measure_record *records, uint32_t count,
                       struct diag_sink *sink, struct measures *ret_measures);

#endif
