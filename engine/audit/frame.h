/* frame.h - the claims that a sample can be drawn from: recorded and paid, picked by a filter, within the
 * look-back of the dealer's region, and not taken back already.
 *
 * The order is that of dealer and claim, by their bytes; the digest over it says later whether the frame is the
 * same.
 */
#ifndef WM_AUDIT_FRAME_H
#define WM_AUDIT_FRAME_H

#include "audit/look_back.h"
#include "ledger/audit_records.h"

/* Fills the frame, its sums and digest, the regions, and how many claims were left out; sample->filter and
 * drawn_on say which. All claims are in stratum 1; campaigns, if not NULL, gets the campaign of each claim. In
 * the arena. */
int frame_gather(struct office *office, struct look_back *look_back, struct arena *arena, struct sample *sample,
                 struct text **ret_campaigns);

/* What a claim of the frame has become. */
enum frame_change { FRAME_NEW, FRAME_GONE, FRAME_REVISED, FRAME_AMOUNT, FRAME_CHANGES };

struct frame_difference {
    enum frame_change change;
    struct text dealer, claim;
    int64_t before_cents, now_cents; /* 0 where it is not in the frame */
};

/* Compares two frames, each in order. In the arena. WM_NO_MEMORY. */
int frame_compare(const struct sample *before, const struct sample *now, struct arena *arena,
                  struct frame_difference **ret_differences, uint32_t *ret_count);

#endif
