#include "audit/judging.h"

#include "base/sheet.h"
#include "base/status.h"
#include "base/text_index.h"

const char *const WORKSHEET_NAMES[WORKSHEET_COLUMNS] = {
    [SHEET_SAMPLE] = "sample",
    [SHEET_ITEM] = "item",
    [SHEET_DEALER] = "dealer",
    [SHEET_CLAIM] = "claim",
    [SHEET_REVISION] = "revision",
    [SHEET_CAMPAIGN] = "campaign",
    [SHEET_VIN] = "vin",
    [SHEET_REPAIR_ORDER] = "repair_order",
    [SHEET_OUTCOME] = "outcome",
    [SHEET_COMPLETED_ON] = "completed_on",
    [SHEET_PAID_ON] = "paid_on",
    [SHEET_STRATUM] = "stratum",
    [SHEET_PAID] = "paid",
    [SHEET_JUDGEMENT] = "judgement",
    [SHEET_RIGHT_AMOUNT] = "right_amount",
    [SHEET_NOTE] = "note",
};

struct reading {
    const struct sample *sample;
    const struct judgement *now;
    struct arena *arena;
    struct text_index index; /* dealer/claim to item, from 0 */
    uint64_t *seen;          /* the line of each item; 0: none yet */
    struct judgement *read;  /* of each item; judgement empty: no line, or none there */
    struct judging judging;
};

static int index_items(struct reading *reading)
{
    const struct sample *sample = reading->sample;

    reading->seen = ARENA_ARRAY(reading->arena, uint64_t, sample->item_count);
    reading->read = ARENA_ARRAY(reading->arena, struct judgement, sample->item_count);
    if (reading->seen == NULL || reading->read == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < sample->item_count; i++) {
        const struct sample_claim *claim = &sample->frame[sample->items[i]];
        struct text key = text_pair(reading->arena, claim->dealer, claim->claim);
        if (key.bytes == NULL || text_index_add(&reading->index, key, i) == TEXT_INDEX_NONE)
            return WM_NO_MEMORY;
    }
    return WM_OK;
}

/* --- One line ---------------------------------------------------------------------------------------- */

static bool refuse(const struct sheet *sheet, int column, const char *what)
{
    diag_error(sheet->sink, sheet_place(sheet, column), "%s", what);
    return false;
}

static bool read_money(const struct sheet *sheet, int column, int64_t *ret_cents)
{
    struct text cell = sheet_cell(sheet, column);
    int64_t millionths;
    enum number_fault fault = decimal_read(cell, 2, &millionths);

    if (fault == NUMBER_OK && millionths >= 0) {
        *ret_cents = millionths / DECIMAL_CENT;
        return true;
    }
    diag_error(sheet->sink, sheet_place(sheet, column), "\"%.*s\" %s; write an amount as 391.65",
               TEXT_ARGUMENTS(cell), fault != NUMBER_OK ? number_fault_words(fault) : "is below 0");
    return false;
}

/* Which item the line is about; what the office printed must still stand there. */
static bool find_item(struct reading *reading, const struct sheet *sheet, struct text key, uint32_t *ret_item)
{
    struct text dealer = sheet_cell(sheet, SHEET_DEALER), claim = sheet_cell(sheet, SHEET_CLAIM);
    struct text sample = sheet_cell(sheet, SHEET_SAMPLE), paid = sheet_cell(sheet, SHEET_PAID);
    uint32_t item = text_index_find(&reading->index, key);
    int64_t cents;

    if (sample.length > 0 && !text_equal(sample, reading->sample->name)) {
        diag_error(sheet->sink, sheet_place(sheet, SHEET_SAMPLE),
                   "this line is of sample %.*s, not of %.*s; take it out", TEXT_ARGUMENTS(sample),
                   TEXT_ARGUMENTS(reading->sample->name));
        return false;
    }
    if (item == TEXT_INDEX_NONE) {
        diag_error(sheet->sink, sheet_place(sheet, SHEET_CLAIM),
                   "claim %.*s/%.*s was not drawn into this sample; only drawn claims are judged, so take the "
                   "line out or "
                   "correct dealer and claim",
                   TEXT_ARGUMENTS(dealer), TEXT_ARGUMENTS(claim));
        return false;
    }
    if (reading->seen[item] != 0) {
        diag_error(sheet->sink, sheet_place(sheet, SHEET_CLAIM),
                   "claim %.*s/%.*s is on line %llu already; leave one of the two", TEXT_ARGUMENTS(dealer),
                   TEXT_ARGUMENTS(claim), (unsigned long long)reading->seen[item]);
        return false;
    }
    reading->seen[item] = sheet->row->line;
    if (paid.length > 0 && (!read_money(sheet, SHEET_PAID, &cents) ||
                            cents != reading->sample->frame[reading->sample->items[item]].paid_cents))
        return refuse(sheet, SHEET_PAID,
                      "this is not what was paid on the claim when the sample was drawn; the sheet may have "
                      "been sorted in "
                      "part: print it again with `sample redraw` and compare");
    *ret_item = item;
    return true;
}

static bool read_error(const struct reading *reading, const struct sheet *sheet, uint32_t item,
                       struct judgement *judgement)
{
    int64_t paid_cents = reading->sample->frame[reading->sample->items[item]].paid_cents;

    if (sheet_cell(sheet, SHEET_RIGHT_AMOUNT).length == 0)
        return refuse(
            sheet, sheet->at[SHEET_RIGHT_AMOUNT] < 0 ? SHEET_JUDGEMENT : SHEET_RIGHT_AMOUNT,
            "an error needs the amount that would have been right to pay; write it into right_amount (0 where "
            "nothing was owed)");
    if (!read_money(sheet, SHEET_RIGHT_AMOUNT, &judgement->right_cents))
        return false;
    if (judgement->right_cents != paid_cents)
        return true;
    return refuse(sheet, SHEET_RIGHT_AMOUNT,
                  "this is what was paid, so nothing is wrong with the amount; write `upheld` as the judgement, or "
                  "correct the amount");
}

static bool read_judgement(const struct reading *reading, const struct sheet *sheet, uint32_t item,
                           struct judgement *judgement)
{
    struct text word = sheet_cell(sheet, SHEET_JUDGEMENT), amount = sheet_cell(sheet, SHEET_RIGHT_AMOUNT);

    judgement->item = (int64_t)item + 1;
    judgement->note = text_copy(reading->arena, sheet_cell(sheet, SHEET_NOTE));
    if (text_equal_any_case(word, TEXT(JUDGED_ERROR))) {
        judgement->judgement = TEXT(JUDGED_ERROR);
        return read_error(reading, sheet, item, judgement);
    }
    if (amount.length > 0)
        return refuse(sheet, SHEET_RIGHT_AMOUNT,
                      word.length == 0
                          ? "there is an amount and no judgement; write `error` as the judgement, or take the "
                            "amount out"
                          : "only an `error` has a right amount; take it out, or correct the judgement");
    if (text_equal_any_case(word, TEXT(JUDGED_UPHELD))) {
        judgement->judgement = TEXT(JUDGED_UPHELD);
        judgement->right_cents = reading->sample->frame[reading->sample->items[item]].paid_cents;
    } else if (text_equal_any_case(word, TEXT(JUDGED_MISSING))) {
        judgement->judgement = TEXT(JUDGED_MISSING);
    } else if (word.length > 0) {
        diag_error(sheet->sink, sheet_place(sheet, SHEET_JUDGEMENT),
                   "\"%.*s\" is no judgement; write upheld, error or missing", TEXT_ARGUMENTS(word));
        return false;
    }
    return true;
}

static int read_line(void *context, const struct sheet *sheet)
{
    struct reading *reading = context;
    struct judgement judgement = {.judgement = TEXT("")};
    struct text key = text_pair(reading->arena, sheet_cell(sheet, SHEET_DEALER), sheet_cell(sheet, SHEET_CLAIM));
    uint32_t item = 0;

    if (key.bytes == NULL)
        return WM_NO_MEMORY;
    if (!find_item(reading, sheet, key, &item) || !read_judgement(reading, sheet, item, &judgement))
        return WM_OK; /* reported; the other lines are looked at too */
    if (judgement.note.bytes == NULL)
        return WM_NO_MEMORY;
    reading->read[item] = judgement;
    reading->judging.empty += judgement.judgement.length == 0;
    return WM_OK;
}

/* --- All of it --------------------------------------------------------------------------------------- */

static bool is_same(const struct judgement *a, const struct judgement *b)
{
    return text_equal(a->judgement, b->judgement) && a->right_cents == b->right_cents &&
           text_equal(a->note, b->note);
}

static int keep_changed(struct reading *reading)
{
    struct judging *judging = &reading->judging;

    judging->changed = ARENA_ARRAY(reading->arena, struct judgement, reading->sample->item_count);
    if (judging->changed == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < reading->sample->item_count; i++) {
        const struct judgement *now = &reading->now[i], *read = &reading->read[i];
        if (read->judgement.length == 0)
            continue;
        if (is_same(now, read)) {
            judging->same++;
            continue;
        }
        judging->changed[judging->changed_count++] = *read;
        judging->fresh += now->judgement.length == 0;
        judging->corrected += now->judgement.length > 0;
    }
    return WM_OK;
}

int judging_read(const struct sample *sample, const struct judgement *now, struct text file, struct text csv,
                 struct arena *arena, struct diag_sink *sink, struct judging *ret_judging)
{
    struct reading reading = {.sample = sample, .now = now, .arena = arena};
    struct csv_column columns[WORKSHEET_COLUMNS];

    for (int i = 0; i < WORKSHEET_COLUMNS; i++)
        columns[i] = (struct csv_column){WORKSHEET_NAMES[i],
                                         i == SHEET_DEALER || i == SHEET_CLAIM || i == SHEET_JUDGEMENT};
    int status = index_items(&reading);
    if (status == WM_OK)
        status = sheet_read(arena, file, csv, columns, WORKSHEET_COLUMNS, read_line, &reading, sink);
    if (status == WM_OK)
        status = keep_changed(&reading);
    text_index_free(&reading.index);
    if (status == WM_OK)
        *ret_judging = reading.judging;
    return status;
}
