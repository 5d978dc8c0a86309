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
    return status == WM_OK ? take_hits(asking, check, rows, item, order) : status;
}

static bool stands(const uint64_t *rows, uint32_t words)
{
    uint64_t any = 0;

    for (uint32_t i = 0; i < words; i++)
        any |= rows[i];
    return any != 0;
}

enum { SMALL_SET_WORDS = 16 };

static int ask_check(struct asking *asking, const struct check *check, const struct item *item, uint32_t order)
{
    uint64_t small[SMALL_SET_WORDS];
    uint32_t words = table_set_words(check->table);
    uint64_t *rows = words <= SMALL_SET_WORDS ? small : ARENA_ARRAY(asking->arena, uint64_t, words);

    if (rows == NULL)
        return WM_NO_MEMORY;
    table_match_early(check->table, asking->dossier->facts, rows);
    return stands(rows, words) ? finish(asking, check, rows, item, order) : WM_OK;
}

static int ask_claim_checks(struct asking *asking)
{
    const struct rules *rules = asking->rules;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < rules->check_count[SCOPE_CLAIM]; i++) {
        const struct check *check = &rules->checks[SCOPE_CLAIM][i];
        if (table_is_late(check->table))
            table_match_early(check->table, asking->dossier->facts, asking->dossier->late_rows + check->late_word);
        else
            status = ask_check(asking, check, NULL, 0);
    }
    return status;
}

static int ask_item_checks(struct asking *asking, bool late)
{
    const struct rules *rules = asking->rules;
    struct dossier *dossier = asking->dossier;
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < dossier->item_count; i++) {
        const struct item *item = &dossier->items[i];
        facts_of_item(rules, item, dossier->facts);
        for (uint32_t k = 0; status == WM_OK && k < rules->check_count[item->scope]; k++) {
            const struct check *check = &rules->checks[item->scope][k];
            if (table_is_late(check->table) == late)
                status = ask_check(asking, check, item, item_order(dossier, i));
        }
    }
    return status;
}

static bool has_late_item_checks(const struct rules *rules)
{
    for (int scope = SCOPE_PART; scope < SCOPES; scope++)
        for (uint32_t i = 0; i < rules->check_count[scope]; i++)
            if (table_is_late(rules->checks[scope][i].table))
                return true;
    return false;
}

int checks_early(struct fact_worker *worker, struct arena *arena, struct dossier *dossier, bool with_messages)
{
    struct asking asking = {worker->day->rules, worker->scratch, arena, dossier, with_messages};
    int status = ask_claim_checks(&asking);

    return status == WM_OK ? ask_item_checks(&asking, false) : status;
}

int checks_late(const struct rules *rules, struct table_scratch *scratch, struct arena *arena,
                struct dossier *dossier, bool with_messages)
{
    struct asking asking = {rules, scratch, arena, dossier, with_messages};
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < rules->check_count[SCOPE_CLAIM]; i++) {
        const struct check *check = &rules->checks[SCOPE_CLAIM][i];
        uint64_t *rows = dossier->late_rows + check->late_word;
        if (table_is_late(check->table) && stands(rows, table_set_words(check->table)))
            status = finish(&asking, check, rows, NULL, 0);
    }
    if (status == WM_OK && has_late_item_checks(rules))
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
