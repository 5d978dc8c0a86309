/* draw.h - a sample is drawn from a frame, and can be drawn again from what was recorded.
 *
 * Not here: the frame (frame.h), the selection itself (selection.h), files.
 */
#ifndef WM_AUDIT_DRAW_H
#define WM_AUDIT_DRAW_H

#include "audit/allocation.h"
#include "audit/frame.h"

/* What records call a method. */
#define METHOD_SIMPLE "simple"
#define METHOD_STRATIFIED "stratified"
#define METHOD_MONEY "money"
#define METHOD_PICKED "picked"

/* Strata of a sample by money. */
enum { STRATUM_CERTAIN = 1, STRATUM_INTERVAL };

enum { SAMPLE_BOUNDS = 20, SAMPLE_NAME_BYTES = 64 };

/* A claim that somebody picked by hand. */
struct picked_claim {
    struct text dealer, claim;
    struct place place;
};

struct draw_request {
    struct text name;
    struct paid_filter filter;
    struct text because; /* not empty */
    struct text by;      /* empty: simple; dealer, campaign, stratum: stratified; money */
    bool neyman;
    int64_t bounds[SAMPLE_BOUNDS]; /* cents, ascending: upper ends of strata, for `stratum` */
    uint32_t bound_count;
    int64_t size;                     /* claims; 0: by interval_cents */
    int64_t interval_cents;           /* for `money`; 0: paid on the frame over size */
    const struct picked_claim *picks; /* instead of size, by and seed; NULL: drawn at random */
    uint32_t pick_count;
    struct text seed;
    int32_t drawn_on;
    struct text recorded_at;
};

/* A name that a sample may have: letters, digits, `.` `_` `-`, 1 to SAMPLE_NAME_BYTES of them. */
bool sample_name_is_one(struct text name);

/* Gathers the frame, draws and records. Inside office_begin_write. WM_BAD_INPUT, reported: the name is taken,
 * the frame is empty or smaller than the sample. Texts of the sample are the request's or in the arena. */
int sample_draw(struct office *office, struct look_back *look_back, const struct draw_request *request,
                struct arena *arena, struct diag_sink *sink, struct sample *ret_sample);

/* Draws what a sample's seed, strata and frame give: places in the frame, in the arena. */
int sample_select(const struct sample *sample, struct arena *arena, uint32_t **ret_items, uint32_t *ret_count);

#endif
