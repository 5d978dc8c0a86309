#include "cli/claim_row.h"

#include "base/status.h"
#include "cli/expected.h"

bool claim_row_requires(enum claim_column column)
{
    switch (column) {
    case COLUMN_CLAIM:
    case COLUMN_DEALER:
    case COLUMN_REPAIR_ORDER:
    case COLUMN_CAMPAIGN:
    case COLUMN_VIN:
    case COLUMN_OUTCOME: return true;
    default: return false;
    }
}

/* --- Lists ------------------------------------------------------------------------------------------- */

static void add_separator(struct buffer *list)
{
    if (list->length > 0)
        buffer_add_string(list, "; ");
}

static void list_parts(const struct expectation *expectation, int32_t day, struct buffer *list)
{
    int64_t price;

    for (uint32_t i = 0; i < expectation->part_count; i++) {
        const struct expected_part *part = &expectation->parts[i];
        if (part->need == NEED_ALLOWED)
            continue;
        add_separator(list);
        buffer_add_text(list, part->shown);
        buffer_add_byte(list, '=');
        expected_add_number(list, part->quantity);
        if (campaign_price(part->part, day, &price)) {
            buffer_add_byte(list, '@');
            expected_add_price(list, price);
        }
    }
}

static void list_labor(const struct expectation *expectation, struct buffer *list)
{
    for (uint32_t i = 0; i < expectation->operation_count; i++) {
        if (expectation->operations[i].need == NEED_ALLOWED)
            continue;
        add_separator(list);
        buffer_add_text(list, expectation->operations[i].shown);
        buffer_add_byte(list, '=');
        expected_add_number(list, expectation->operations[i].hours);
    }
}

static void list_inspections(const struct expectation *expectation, struct buffer *list)
{
    for (uint32_t i = 0; i < expectation->inspection_count; i++) {
        if (expectation->inspections[i].need == NEED_ALLOWED)
            continue;
        add_separator(list);
        buffer_add_text(list, expectation->inspections[i].shown);
        buffer_add_byte(list, '=');
    }
}

struct text claim_row_list(const struct expectation *expectation, enum claim_column column, int32_t day,
                           struct arena *arena)
{
    struct buffer list = BUFFER_EMPTY;

    if (column == COLUMN_PARTS)
        list_parts(expectation, day, &list);
    else if (column == COLUMN_LABOR)
        list_labor(expectation, &list);
    else
        list_inspections(expectation, &list);
    struct text copy = list.failed ? (struct text){NULL, 0} : text_copy(arena, buffer_text(&list));
    buffer_free(&list);
    return copy;
}

static struct text amount(int64_t cents, struct arena *arena)
{
    char room[DECIMAL_ROOM];
    size_t length = money_write(cents, room);

    return text_copy(arena, (struct text){room, length});
}

int claim_row_amounts(int64_t parts_cents, int64_t labor_cents, int64_t total_cents, struct arena *arena,
                      struct text ret_cells[CLAIM_COLUMNS])
{
    struct text parts = amount(parts_cents, arena), labor = amount(labor_cents, arena),
                total = amount(total_cents, arena);

    if (parts.bytes == NULL || labor.bytes == NULL || total.bytes == NULL)
        return WM_NO_MEMORY;
    ret_cells[COLUMN_PARTS_AMOUNT] = parts;
    ret_cells[COLUMN_LABOR_AMOUNT] = labor;
    ret_cells[COLUMN_TOTAL_AMOUNT] = total;
    return WM_OK;
}

/* --- What follows from what is answered ---------------------------------------------------------------- */

/* The facts of the cells as they would be with what must be there. */
static int establish(struct fact_worker *worker, struct arena *arena, const struct text cells[CLAIM_COLUMNS],
                     struct dossier *ret_dossier)
{
    struct text stated[CLAIM_COLUMNS];
    char today[DATE_ROOM];

    memcpy(stated, cells, sizeof stated);
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        if (stated[column].length == 0)
            stated[column] = claim_row_requires((enum claim_column)column) ? TEXT("-") : TEXT("");
    if (text_is(stated[COLUMN_OUTCOME], "-"))
        stated[COLUMN_OUTCOME] = TEXT("repaired");
    if (stated[COLUMN_COMPLETED_ON].length == 0)
        stated[COLUMN_COMPLETED_ON] =
            text_copy(arena, (struct text){today, date_write(worker->day->today, today)});
    if (stated[COLUMN_COMPLETED_ON].bytes == NULL)
        return WM_NO_MEMORY;
    *ret_dossier = (struct dossier){.campaign_number = -1};
    int status = claim_of_cells(stated, 1, arena, &ret_dossier->claim);
    return status == WM_OK && !ret_dossier->claim.unreadable ? facts_establish(worker, arena, ret_dossier)
                                                             : status;
}

static bool expects_something(const struct dossier *dossier)
{
    const struct expectation *expectation = dossier->expectation;

    return expectation != NULL && expectation->ambiguity_count == 0 && expectation->eligible.number;
}

static int expect_items(const struct dossier *dossier, struct arena *arena, struct text *ret_cells)
{
    const struct vehicle_profile *profile = dossier->vehicle_known ? dossier->vehicle.profile : NULL;

    if (profile != NULL)
        ret_cells[COLUMN_ENGINE] = profile->engine;
    if (profile != NULL && profile->has_model_year) {
        ret_cells[COLUMN_MODEL_YEAR] = text_format(arena, "%d", profile->model_year);
        if (ret_cells[COLUMN_MODEL_YEAR].bytes == NULL)
            return WM_NO_MEMORY;
    }
    if (!expects_something(dossier))
        return WM_OK;
    ret_cells[COLUMN_PARTS] =
        claim_row_list(dossier->expectation, COLUMN_PARTS, dossier->claim.completed_on, arena);
    ret_cells[COLUMN_LABOR] =
        claim_row_list(dossier->expectation, COLUMN_LABOR, dossier->claim.completed_on, arena);
    return ret_cells[COLUMN_PARTS].bytes == NULL || ret_cells[COLUMN_LABOR].bytes == NULL ? WM_NO_MEMORY
                                                                                          : WM_OK;
}

static int expect_amounts(const struct dossier *dossier, const bool *answered, struct arena *arena,
                          struct text *ret_cells)
{
    const struct claim *claim = &dossier->claim;

    if (claim->unreadable || !dossier->amounts_known)
        return WM_OK;
    int64_t parts = answered[COLUMN_PARTS_AMOUNT] ? claim->parts_amount_cents : dossier->parts_allowed_cents;
    int64_t labor = answered[COLUMN_LABOR_AMOUNT] ? claim->labor_amount_cents : dossier->labor_allowed_cents;
    return claim_row_amounts(dossier->parts_allowed_cents, dossier->labor_allowed_cents,
                             decimal_sum(decimal_sum(parts, labor), claim->other_amount_cents), arena,
                             ret_cells);
}

int claim_row_expected(struct fact_worker *worker, struct arena *arena, const struct text cells[CLAIM_COLUMNS],
                       const bool answered[CLAIM_COLUMNS], struct text ret_cells[CLAIM_COLUMNS])
{
    struct text stated[CLAIM_COLUMNS];
    struct dossier dossier;

    memset(ret_cells, 0, sizeof stated);
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        stated[column] = answered[column] ? cells[column] : TEXT("");
    int status = establish(worker, arena, stated, &dossier);
    if (status != WM_OK || dossier.claim.unreadable)
        return status;
    status = expect_items(&dossier, arena, ret_cells);
    for (int column = COLUMN_PARTS; column <= COLUMN_LABOR; column++)
        if (!answered[column] && ret_cells[column].bytes != NULL)
            stated[column] = ret_cells[column];
    if (status == WM_OK)
        status = establish(worker, arena, stated, &dossier);
    return status == WM_OK ? expect_amounts(&dossier, answered, arena, ret_cells) : status;
}

/* --- Campaigns ----------------------------------------------------------------------------------------- */

bool claim_row_is_open(const struct campaign *campaign, int32_t day)
{
    return (campaign->opens_on == DAY_NONE || campaign->opens_on <= day) &&
           (campaign->closes_on == DAY_NONE || day <= campaign->closes_on);
}

int claim_row_eligible(struct fact_worker *worker, struct arena *arena, const struct campaign *campaign,
                       struct text vin, bool *ret_eligible)
{
    const struct text cells[CLAIM_COLUMNS] = {[COLUMN_CAMPAIGN] = campaign->id, [COLUMN_VIN] = vin};
    struct dossier dossier;
    int status = establish(worker, arena, cells, &dossier);

    *ret_eligible = status == WM_OK && expects_something(&dossier);
    return status;
}

/* --- CSV ------------------------------------------------------------------------------------------------ */

void claim_row_header(struct buffer *out)
{
    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        if (column > 0)
            buffer_add_byte(out, ',');
        buffer_add_string(out, claim_column_name((enum claim_column)column));
    }
    buffer_add_byte(out, '\n');
}

void claim_row_write(struct buffer *out, const struct text cells[CLAIM_COLUMNS])
{
    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        if (column > 0)
            buffer_add_byte(out, ',');
        buffer_add_csv(out, cells[column]);
    }
    buffer_add_byte(out, '\n');
}
