/* evaluation_parts.h - what figures and words of an evaluation share. Private to engine/audit/evaluation*.c. */
#ifndef WM_AUDIT_EVALUATION_PARTS_H
#define WM_AUDIT_EVALUATION_PARTS_H

#include "audit/evaluation.h"

/* Says what the figures mean, warns, and refuses; sets may_extrapolate. */
int evaluation_write_notes(const struct sample *sample, struct evaluation *evaluation, struct arena *arena);

/* Whether every claim of the frame was looked at. */
static inline bool evaluation_is_census(const struct sample *sample, const struct evaluation *evaluation)
{
    return evaluation->judged == sample->frame_count;
}

#endif
