#include "rules/lint_table.h"

#include "base/status.h"

enum {
    MOST_COVERING = 40,   /* rows that are taken out one by one to see whether they are needed */
    MOST_GAP_DEPTH = 2000 /* pieces that a search for gaps leaves open at a time */
};

static int proceed(int status)
{
    return status == WM_LIMIT ? WM_OK : status;
}

uint64_t *lint_rows_of_table(const struct lint_space *space, uint32_t table)
{
    uint64_t *rows = lint_rows_new(space);

    for (uint32_t row = 0; rows != NULL && row < table_row_count(space->tables[table]); row++)
        bit_set(rows, lint_row(space, table, row));
    return rows;
}

bool lint_outputs_equal(const struct table *table, uint32_t row, uint32_t other)
{
    for (uint32_t output = 0; output < table_output_count(table); output++)
        if (!value_equal(table_output(table, row, output), table_output(table, other, output), false) ||
            table_output_has_places(table, row, output) != table_output_has_places(table, other, output))
            return false;
    return true;
}

/* --- Overlaps ------------------------------------------------------------------------------------- */

/* The rows that may hold together with this one in every column. */
static void meet_rows(const struct lint_space *space, uint32_t row, uint64_t *meeting, uint64_t *some)
{
    for (uint32_t d = 0; d < space->dim_count; d++) {
        const struct lint_dim *dim = &space->dims[d];
        memset(some, 0, space->row_words * sizeof *some);
        for (uint32_t k = 0; k < dim->class_count; k++) {
            const uint64_t *set = dim->may + (size_t)k * space->row_words;
            for (uint32_t w = 0; w < space->row_words && bit_is_set(set, row) && dim->classes[k].in_domain; w++)
                some[w] |= set[w];
        }
        for (uint32_t w = 0; w < space->row_words; w++)
            meeting[w] &= some[w];
    }
}

static int ask_overlap(const struct lint_table *table, uint32_t row, uint32_t other, lint_take_case *take,
                       void *context)
{
    struct lint_question question = LINT_QUESTION;
    struct lint_found found;

    question.hits[0] = row;
    question.hits[1] = other;
    question.hit_count = 2;
    question.region = table->region;
    int status = lint_ask(table->space, &question, &found);
    if (status != WM_OK || found.answer == LINT_NO)
        return status;
    return take(context, &(struct lint_case){.kind = CASE_OVERLAP,
                                             .answer = found.answer,
                                             .row = row,
                                             .other_row = other,
                                             .box = found.box,
                                             .part = found.part,
                                             .dim = -1});
}

static int overlaps_of_row(const struct lint_table *table, uint32_t own_row, uint64_t *meeting, uint64_t *some,
                           lint_take_case *take, void *context)
{
    const struct lint_space *space = table->space;
    const struct table *of = space->tables[table->number];
    uint32_t row = lint_row(space, table->number, own_row);
    int status = WM_OK;

    memset(meeting, 0xff, space->row_words * sizeof *meeting);
    meet_rows(space, row, meeting, some);
    for (uint32_t other = own_row + 1; status == WM_OK && other < table_row_count(of); other++) {
        if (!bit_is_set(meeting, lint_row(space, table->number, other)))
            continue;
        if (table_policy(of) == HIT_ANY && lint_outputs_equal(of, own_row, other))
            continue;
        status = ask_overlap(table, row, lint_row(space, table->number, other), take, context);
    }
    return status;
}

int lint_overlaps(const struct lint_table *table, lint_take_case *take, void *context)
{
    const struct lint_space *space = table->space;
    const struct table *of = space->tables[table->number];
    uint64_t *meeting = lint_rows_new(space), *some = lint_rows_new(space);
    int status = WM_OK;

    if (meeting == NULL || some == NULL)
        return WM_NO_MEMORY;
    if (table_policy(of) != HIT_UNIQUE && table_policy(of) != HIT_ANY)
        return WM_OK;
    if (space->too_large)
        return proceed(
            take(context, &(struct lint_case){.kind = CASE_OVERLAP, .answer = LINT_TOO_LARGE, .dim = -1}));
    for (uint32_t row = 0; status == WM_OK && row + 1 < table_row_count(of); row++)
        status = overlaps_of_row(table, row, meeting, some, take, context);
    return proceed(status);
}

/* --- Dead rows ------------------------------------------------------------------------------------ */

/* The rows that come before this one where both hit; false: under this policy none keeps another from its hit.
 */
static bool rows_before(const struct lint_table *table, uint32_t row, uint64_t *before)
{
    const struct table *of = table->space->tables[table->number];
    bool first = table_policy(of) == HIT_FIRST;

    if (!first && table_policy(of) != HIT_PRIORITY)
        return false;
    memset(before, 0, table->space->row_words * sizeof *before);
    for (uint32_t other = 0; other < table_row_count(of); other++)
        if (first ? other < row : table_row_priority(of, other) < table_row_priority(of, row))
            bit_set(before, lint_row(table->space, table->number, other));
    return true;
}

/* Of the rows to avoid, takes out those without which the answer is still no. */
static int find_needed(const struct lint_space *space, struct lint_question *question, uint64_t *avoid,
                       struct lint_case *dead)
{
    uint32_t *needed = ARENA_ARRAY(space->arena, uint32_t, space->row_count);
    struct lint_found found;
    int status = WM_OK;

    if (needed == NULL)
        return WM_NO_MEMORY;
    for (uint32_t other = space->row_count; status == WM_OK && other > 0; other--) {
        uint32_t row = other - 1;
        if (!bit_is_set(avoid, row))
            continue;
        uint64_t *box = lint_box_new(space);
        if (box == NULL)
            return WM_NO_MEMORY;
        lint_box_meet_row(space, box, question->hits[0], false);
        lint_box_meet_row(space, box, row, true);
        bit_clear(avoid, row);
        if (lint_box_empty_dim(space, box) >= 0)
            continue;
        found.answer = LINT_YES;
        if (dead->covering_count < MOST_COVERING)
            status = lint_ask(space, question, &found);
        if (status == WM_OK && found.answer != LINT_NO) {
            bit_set(avoid, row);
            dead->covering_count++;
        }
    }
    dead->covering_count = 0;
    for (uint32_t row = 0; row < space->row_count; row++)
        if (bit_is_set(avoid, row))
            needed[dead->covering_count++] = row;
    dead->covering = needed;
    return status;
}

static int look_before(const struct lint_table *table, uint32_t own_row, struct lint_question *question,
                       uint64_t *before, struct lint_case *dead)
{
    struct lint_found found;

    if (!rows_before(table, own_row, before))
        return WM_OK;
    question->avoid = before;
    int status = lint_ask(table->space, question, &found);
    if (status != WM_OK || found.answer == LINT_YES)
        return status;
    dead->kind = CASE_COVERED;
    dead->answer = found.answer == LINT_NO ? LINT_YES : found.answer;
    return dead->answer == LINT_YES ? find_needed(table->space, question, before, dead) : WM_OK;
}

/* dead->answer stays LINT_NO where the row lives. */
static int look_at_row(const struct lint_table *table, uint32_t own_row, uint64_t *before,
                       struct lint_case *dead)
{
    struct lint_question question = LINT_QUESTION;
    struct lint_found found;

    *dead = (struct lint_case){
        .row = lint_row(table->space, table->number, own_row), .dim = -1, .box = lint_box_new(table->space)};
    if (dead->box == NULL)
        return WM_NO_MEMORY;
    lint_box_meet_row(table->space, dead->box, dead->row, false);
    dead->dim = lint_box_empty_dim(table->space, dead->box);
    if (dead->dim >= 0) {
        dead->kind = CASE_NO_VALUE;
        dead->answer = LINT_YES;
        return WM_OK;
    }
    question.hits[0] = dead->row;
    question.hit_count = 1;
    question.may_hit = true;
    question.region = table->region;
    int status = lint_ask(table->space, &question, &found);
    if (status != WM_OK)
        return status;
    if (found.answer == LINT_NO) {
        dead->kind = CASE_OUTSIDE;
        dead->answer = LINT_YES;
        return WM_OK;
    }
    if (found.answer == LINT_TOO_LARGE) {
        dead->kind = CASE_COVERED;
        dead->answer = LINT_TOO_LARGE;
        return WM_OK;
    }
    return look_before(table, own_row, &question, before, dead);
}

int lint_dead_rows(const struct lint_table *table, lint_take_case *take, void *context)
{
    const struct table *of = table->space->tables[table->number];
    uint64_t *before = lint_rows_new(table->space);
    int status = WM_OK;

    if (before == NULL)
        return WM_NO_MEMORY;
    if (table->space->too_large)
        return proceed(
            take(context, &(struct lint_case){.kind = CASE_COVERED, .answer = LINT_TOO_LARGE, .dim = -1}));
    for (uint32_t row = 0; status == WM_OK && row < table_row_count(of); row++) {
        struct lint_case dead;
        status = look_at_row(table, row, before, &dead);
        if (status == WM_OK && dead.answer != LINT_NO)
            status = take(context, &dead);
    }
    return proceed(status);
}

/* --- Gaps ----------------------------------------------------------------------------------------- */

/* Boxes still to be searched. */
struct pieces {
    uint64_t **boxes;
    uint32_t count;
};

/* What is left of a box without a box inside it: one piece a dimension, none met by another. */
static int cut_out(const struct lint_space *space, const uint64_t *outer, const uint64_t *inner,
                   struct pieces *pieces)
{
    for (uint32_t d = 0; d < space->dim_count && pieces->count < MOST_GAP_DEPTH; d++) {
        uint64_t *piece = lint_box_new(space);
        if (piece == NULL)
            return WM_NO_MEMORY;
        for (uint32_t e = 0; e < space->dim_count; e++)
            for (uint32_t w = space->dims[e].first_word; w < space->dims[e].first_word + space->dims[e].words;
                 w++)
                piece[w] = e < d ? outer[w] & inner[w] : e == d ? outer[w] & ~inner[w] : outer[w];
        if (lint_box_width(space, piece, d) > 0)
            pieces->boxes[pieces->count++] = piece;
    }
    return WM_OK;
}

int lint_gaps(const struct lint_space *space, const struct lint_question *question, lint_take_case *take,
              void *context)
{
    struct pieces pieces = {ARENA_ARRAY(space->arena, uint64_t *, MOST_GAP_DEPTH), 1};
    struct lint_question asked = *question;
    int status = WM_OK;

    if (pieces.boxes == NULL || (pieces.boxes[0] = lint_box_new(space)) == NULL)
        return WM_NO_MEMORY;
    for (uint32_t w = 0; question->within != NULL && w < space->box_words; w++)
        pieces.boxes[0][w] = question->within[w];
    while (status == WM_OK && pieces.count > 0) {
        uint64_t *piece = pieces.boxes[--pieces.count];
        struct lint_found found;
        asked.within = piece;
        status = lint_ask(space, &asked, &found);
        if (status != WM_OK || found.answer == LINT_NO)
            continue;
        status = take(
            context,
            &(struct lint_case){
                .kind = CASE_GAP, .answer = found.answer, .box = found.box, .part = found.part, .dim = -1});
        if (status == WM_OK && found.answer != LINT_TOO_LARGE)
            status = cut_out(space, piece, found.box, &pieces);
    }
    return proceed(status);
}
