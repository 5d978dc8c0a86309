#include "verdict/checks.h"

#include "base/buffer.h"
#include "base/limits.h"
#include "base/status.h"
#include "facts/items.h"

struct asking {
    const struct rules *rules;
    struct table_scratch *scratch;
    struct arena *arena;
    struct dossier *dossier;
    bool with_messages;
    struct item_memo *memo;    /* NULL: none */
};

/* Place of an item's findings: the claim first, then what is expected, then what is only claimed. */
static uint32_t item_order(const struct dossier *dossier, uint32_t number)
{
    bool expected = dossier->items[number].expected != NEED_NONE;
    return 1 + number + (expected ? 0 : dossier->item_count);
}

static int write_message(struct asking *asking, const struct check *check, uint32_t row, struct text *ret_message)
{
    struct buffer words = BUFFER_EMPTY;

    table_output_write(check->table, row, (uint32_t)check->message_output, asking->dossier->facts, &words);
    if (words.length > LIMIT_MESSAGE_BYTES) {
        size_t cut = LIMIT_MESSAGE_BYTES - 3;
        while (cut > 0 && ((unsigned char)words.bytes[cut] & 0xc0) == 0x80)
            cut--;
        words.length = cut;
        buffer_add_string(&words, "...");
    }
    *ret_message = words.failed ? (struct text){NULL, 0} : text_copy(asking->arena, buffer_text(&words));
    buffer_free(&words);
    return ret_message->bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

static int add_finding(struct asking *asking, const struct check *check, uint32_t row, const struct item *item,
                       uint32_t order)
{
    const struct flag *flag = &check->flags[row];
    struct finding made = {.effect = flag->effect, .effect_of_table = flag->effect, .name = flag->finding,
                           .rule_file = table_file(check->table), .rule_row = table_row_name(check->table, row),
                           .item_order = order, .row = row};

    if (flag->finding.length == 0)
        return WM_OK;
    if (item != NULL)
        made.item = item->shown;
    if (asking->with_messages && write_message(asking, check, row, &made.message) != WM_OK)
        return WM_NO_MEMORY;
    struct finding *finding = dossier_add_finding(asking->arena, asking->dossier);
    if (finding == NULL)
        return WM_NO_MEMORY;
    *finding = made;
    return WM_OK;
}

static bool stands(const uint64_t *rows, uint32_t words)
{
    uint64_t any = 0;

    for (uint32_t i = 0; i < words; i++)
        any |= rows[i];
    return any != 0;
}

/* Applies the hit policy to the rows that stand. */
static int take_hits(struct asking *asking, const struct check *check, const uint64_t *rows, const struct item *item,
                     uint32_t order)
{
    struct table_hits hits;
    int status = table_hits(check->table, rows, asking->scratch, &hits);

    if (status == WM_OK && hits.fault != TABLE_OK)
        return dossier_add_ambiguity(asking->arena, asking->dossier,
                                     &(struct ambiguity){check->table, hits.fault, hits.first_row, hits.second_row});
    for (uint32_t i = 0; status == WM_OK && i < hits.count; i++)
        status = add_finding(asking, check, hits.rows[i], item, order);
    return status;
}

/* Second stage and hit policy; rows is used up. */
static int finish(struct asking *asking, const struct check *check, uint64_t *rows, const struct item *item,
                  uint32_t order)
{
    uint32_t row;
    int status = table_match_late(check->table, asking->dossier->facts, asking->scratch, rows, &row);

    if (status == WM_LIMIT)
        return dossier_add_ambiguity(asking->arena, asking->dossier,
                                     &(struct ambiguity){check->table, TABLE_PATTERN_GIVEN_UP, row, row});
    if (status != WM_OK || !stands(rows, table_set_words(check->table)))
        return status;
    return take_hits(asking, check, rows, item, order);
}

/* A row set; nearly all tables have up to 64 rows, and their sets need no memory of the arena. */
struct row_set {
    uint64_t word;
    uint64_t *more;     /* of larger ones; NULL: word is it */
    uint32_t words;
};

static int row_set_open(struct asking *asking, const struct check *check, struct row_set *set)
{
    set->word = 0;
    set->words = table_set_words(check->table);
    set->more = set->words > 1 ? arena_bytes(asking->arena, set->words * sizeof(uint64_t)) : NULL;
    return set->words > 1 && set->more == NULL ? WM_NO_MEMORY : WM_OK;
}

static uint64_t *row_set_rows(struct row_set *set)
{
    return set->more != NULL ? set->more : &set->word;
}

static bool row_set_stands(struct row_set *set)
{
    return set->more == NULL ? set->word != 0 : stands(set->more, set->words);
}

/* A check that is asked about each item of a claim: the rows that may still hit whatever the item. */
struct item_check {
    const struct check *check;
    uint32_t number;           /* among the checks of its scope */
    struct row_set shared, rows;
};

static int ask_check(struct asking *asking, const struct check *check)
{
    struct row_set set;

    if (row_set_open(asking, check, &set) != WM_OK)
        return WM_NO_MEMORY;
    uint64_t *rows = row_set_rows(&set);
    table_match_early(check->table, asking->dossier->facts, rows);
    return row_set_stands(&set) ? finish(asking, check, rows, NULL, 0) : WM_OK;
}

static int ask_claim_checks(struct asking *asking)
{
    const struct rules *rules = asking->rules;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < rules->check_count[SCOPE_CLAIM]; i++) {
        const struct check *check = &rules->checks[SCOPE_CLAIM][i];
        if (check->is_late)
            table_match_early(check->table, asking->dossier->facts, asking->dossier->late_rows + check->late_word);
        else
            status = ask_check(asking, check);
    }
    return status;
}

/* The checks of a scope that can hit some item of this claim at all. */
static int list_item_checks(struct asking *asking, enum scope scope, bool late, struct item_check *ret_checks,
                            uint32_t *ret_count)
{
    const struct rules *rules = asking->rules;
    uint32_t count = 0;

    for (uint32_t i = 0; i < rules->check_count[scope]; i++) {
        const struct check *check = &rules->checks[scope][i];
        struct item_check *one = &ret_checks[count];
        if (check->is_late != late)
            continue;
        one->check = check;
        one->number = i;
        if (row_set_open(asking, check, &one->shared) != WM_OK || row_set_open(asking, check, &one->rows) != WM_OK)
            return WM_NO_MEMORY;
        table_match_shared(check->table, asking->dossier->facts, row_set_rows(&one->shared));
        count += row_set_stands(&one->shared);
    }
    *ret_count = count;
    return WM_OK;
}

/* Puts into check->rows those that stand when the item's facts are looked at. known: where the rows that hold for its
 * steady facts are remembered, NULL: nowhere. */
static void match_item(const struct value *facts, struct item_check *check, uint64_t *known)
{
    const struct table *table = check->check->table;

    if (known == NULL || check->shared.more != NULL) {
        table_match_item(table, facts, row_set_rows(&check->shared), row_set_rows(&check->rows));
        return;
    }
    if (*known == ROWS_NOT_KNOWN)
        table_match_steady(table, facts, known);
    check->rows.word = check->shared.word & *known;
    table_match_rest(table, facts, &check->rows.word);
}

/* Whether it is remembered that this item can hit no row. */
static bool is_known_to_miss(const struct item_check *check, const uint64_t *known)
{
    return known != NULL && check->shared.more == NULL && *known != ROWS_NOT_KNOWN &&
           (check->shared.word & *known) == 0;
}

static int ask_item(struct asking *asking, struct item_check *checks, uint32_t count, uint32_t number, uint64_t *memo)
{
    struct dossier *dossier = asking->dossier;
    const struct item *item = &dossier->items[number];
    bool facts_are_put = false;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < count; i++) {
        uint64_t *known = memo != NULL ? &memo[checks[i].number] : NULL;
        if (is_known_to_miss(&checks[i], known))
            continue;
        if (!facts_are_put)
            facts_of_item(asking->rules, item, dossier->facts);
        facts_are_put = true;
        match_item(dossier->facts, &checks[i], known);
        if (row_set_stands(&checks[i].rows))
            status = finish(asking, checks[i].check, row_set_rows(&checks[i].rows), item, item_order(dossier, number));
    }
    return status;
}

/* The items of one scope. */
struct items_of_scope {
    enum scope scope;
    uint32_t first, end;        /* among the dossier's */
    uint32_t expected;          /* how many of them, the first ones, the expectation has */
    uint32_t expected_before;   /* items of the expectation before these */
};

static uint64_t *memo_of(const struct asking *asking, const struct items_of_scope *items)
{
    const struct expectation *expectation = asking->dossier->expectation;

    if (asking->memo == NULL || items->expected == 0 || expectation->first_item == ITEM_NOT_REMEMBERED)
        return NULL;
    return item_memo_rows(asking->memo, asking->rules, items->scope, expectation->first_item + items->expected_before,
                          items->expected);
}

static int ask_scope(struct asking *asking, const struct items_of_scope *items, bool late)
{
    enum { FEW_CHECKS = 8 };
    struct item_check few[FEW_CHECKS], *checks = few;
    uint32_t check_count = asking->rules->check_count[items->scope], count = 0;
    uint64_t *memo = memo_of(asking, items);

    if (check_count > FEW_CHECKS)
        checks = ARENA_ARRAY(asking->arena, struct item_check, check_count);
    if (checks == NULL)
        return WM_NO_MEMORY;
    int status = list_item_checks(asking, items->scope, late, checks, &count);
    for (uint32_t i = 0; status == WM_OK && count > 0 && items->first + i < items->end; i++) {
        uint64_t *of_item = NULL;
        if (memo != NULL && i < items->expected)
            of_item = memo + (size_t)(2 * i + asking->dossier->items[items->first + i].claimed) * check_count;
        status = ask_item(asking, checks, count, items->first + i, of_item);
    }
    return status;
}

static int ask_item_checks(struct asking *asking, bool late)
{
    static const struct expectation NOTHING = {.first_item = ITEM_NOT_REMEMBERED};
    const struct dossier *dossier = asking->dossier;
    const struct expectation *expected = dossier->expectation != NULL ? dossier->expectation : &NOTHING;
    const uint32_t counts[SCOPES] = {0, dossier->part_count, dossier->operation_count, dossier->inspection_count};
    const uint32_t expected_counts[SCOPES] = {0, expected->part_count, expected->operation_count,
                                              expected->inspection_count};
    struct items_of_scope items = {0};
    int status = WM_OK;

    for (int scope = SCOPE_PART; status == WM_OK && scope < SCOPES; scope++) {
        items.scope = (enum scope)scope;
        items.end = items.first + counts[scope];
        items.expected = expected_counts[scope];
        if (items.first < items.end)
            status = ask_scope(asking, &items, late);
        items.first = items.end;
        items.expected_before += expected_counts[scope];
    }
    return status;
}

int checks_early(struct fact_worker *worker, struct item_memo *memo, struct arena *arena, struct dossier *dossier,
                 bool with_messages)
{
    struct asking asking = {worker->day->rules, worker->scratch, arena, dossier, with_messages, memo};
    int status = ask_claim_checks(&asking);

    return status == WM_OK ? ask_item_checks(&asking, false) : status;
}

int checks_late(const struct rules *rules, struct table_scratch *scratch, struct arena *arena,
                struct dossier *dossier, bool with_messages)
{
    struct asking asking = {rules, scratch, arena, dossier, with_messages, NULL};
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < rules->check_count[SCOPE_CLAIM]; i++) {
        const struct check *check = &rules->checks[SCOPE_CLAIM][i];
        uint64_t *rows = dossier->late_rows + check->late_word;
        if (check->is_late && stands(rows, table_set_words(check->table)))
            status = finish(&asking, check, rows, NULL, 0);
    }
    if (status == WM_OK && rules->has_late_item_checks)
        status = ask_item_checks(&asking, true);
    return status;
}

int checks_unreadable(struct arena *arena, struct dossier *dossier)
{
    struct finding *finding = dossier_add_finding(arena, dossier);

    if (finding == NULL)
        return WM_NO_MEMORY;
    *finding = (struct finding){.effect = EFFECT_RETURN, .effect_of_table = EFFECT_RETURN,
                                .name = TEXT("row-unreadable"), .message = dossier->claim.fault_reason};
    return WM_OK;
}
