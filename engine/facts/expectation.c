#include "facts/expectation.h"

#include <stdlib.h>

#include "base/status.h"

enum {
    MOST_KEY_BYTES = 512,   /* a vehicle whose facts are longer is not remembered */
    MOST_REMEMBERED = 50000 /* kinds of vehicles in one thread's memory; beyond, tables are asked each time */
};

/* A condition whose value tells vehicles apart: either the value itself counts, or its class in the table. */
struct distinction {
    const struct table *table; /* NULL: the value itself */
    uint32_t condition;
    uint32_t slot;
};

struct campaign_memory {
    bool usable; /* all tables can be classed */
    struct distinction *distinctions;
    uint32_t count;
};

struct expectations {
    const struct rules *rules;
    struct arena arena;
    struct campaign_memory *campaigns;
    struct text_index index; /* key to number in known */
    struct expectation **known;
    uint32_t count;
    uint32_t item_count; /* of all known */
};

/* --- Asking the tables ------------------------------------------------------------------------------- */

struct asking {
    const struct campaign *campaign;
    const struct value *facts;
    struct table_scratch *scratch;
    struct arena *arena;
    struct expectation *expectation;
    struct text_index index; /* keys of the list that is being made */
};

static int add_ambiguity(struct asking *asking, const struct table *table, const struct table_hits *hits)
{
    struct expectation *expectation = asking->expectation;
    struct ambiguity *grown = arena_grown(asking->arena, expectation->ambiguities, expectation->ambiguity_count,
                                          expectation->ambiguity_count + 1, sizeof *grown);

    if (grown == NULL)
        return WM_NO_MEMORY;
    grown[expectation->ambiguity_count++] =
        (struct ambiguity){table, hits->fault, hits->first_row, hits->second_row};
    expectation->ambiguities = grown;
    return WM_OK;
}

/* The hits of a table; a table that is not there, or is in error for this vehicle, has none. */
static int ask(struct asking *asking, const struct table *table, struct table_hits *ret_hits)
{
    *ret_hits = (struct table_hits){0};
    if (table == NULL)
        return WM_OK;
    int status = table_decide(table, asking->facts, asking->scratch, ret_hits);
    if (status == WM_OK && ret_hits->fault != TABLE_OK) {
        status = add_ambiguity(asking, table, ret_hits);
        ret_hits->count = 0;
    }
    return status;
}

static struct value output_of(const struct table *table, uint32_t row, const char *name)
{
    int output = table_output_named(table, name);
    return output < 0 ? value_null() : table_output(table, row, (uint32_t)output);
}

static int32_t stage_opens_on(const struct campaign *campaign, struct text stage)
{
    for (uint32_t i = 0; i < campaign->stage_count; i++)
        if (text_equal(campaign->stages[i].name, stage))
            return campaign->stages[i].opens_on;
    return DAY_NONE;
}

static int ask_eligibility(struct asking *asking)
{
    const struct campaign *campaign = asking->campaign;
    struct expectation *expectation = asking->expectation;
    struct table_hits hits;
    int status = ask(asking, campaign->eligibility, &hits);

    if (status != WM_OK)
        return status;
    expectation->stage_opens_on = DAY_NONE;
    if (expectation->ambiguity_count > 0)
        return WM_OK;
    expectation->eligible = value_boolean(false);
    if (hits.count == 0)
        return WM_OK;
    struct value eligible = output_of(campaign->eligibility, hits.rows[0], "eligible");
    if (eligible.type == VALUE_BOOLEAN)
        expectation->eligible = eligible;
    expectation->stage = value_as_text(output_of(campaign->eligibility, hits.rows[0], "stage"));
    expectation->stage_opens_on = stage_opens_on(campaign, expectation->stage);
    return WM_OK;
}

static const struct campaign_part *part_of(const struct campaign *campaign, struct text shown,
                                           struct arena *arena)
{
    char *room = arena_bytes(arena, shown.length);

    if (room == NULL)
        return NULL;
    struct text key = {room, text_item_key(shown, room)};
    return &campaign->part_list[text_index_find(&campaign->part_index, key)];
}

/* Of what a row says, and those before it: NEED_NONE where there were none. */
static enum need stronger(enum need before, enum need row)
{
    return before == NEED_NONE || row < before ? row : before; /* kit beats required beats allowed */
}

static enum need need_from(struct value word)
{
    return text_is(value_as_text(word), "required") ? NEED_REQUIRED : NEED_ALLOWED;
}

static int add_part(struct asking *asking, struct text shown, int64_t quantity, enum need need)
{
    struct expectation *expectation = asking->expectation;
    const struct campaign_part *part = part_of(asking->campaign, shown, asking->arena);

    if (part == NULL)
        return WM_NO_MEMORY;
    uint32_t at = text_index_add(&asking->index, part->key, expectation->part_count);
    if (at == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    struct expected_part *entry = &expectation->parts[at];
    if (at == expectation->part_count) {
        *entry = (struct expected_part){part->key, part->shown, part, NEED_NONE, 0};
        expectation->part_count++;
    }
    entry->quantity = decimal_sum(entry->quantity, quantity);
    entry->need = stronger(entry->need, need);
    return WM_OK;
}

static int ask_kit(struct asking *asking, uint32_t part_rows)
{
    struct expectation *expectation = asking->expectation;
    const struct table *kits = asking->campaign->kits;
    struct table_hits hits;
    int status = ask(asking, kits, &hits);

    expectation->parts = ARENA_ARRAY(asking->arena, struct expected_part, part_rows + 1);
    if (expectation->parts == NULL)
        return WM_NO_MEMORY;
    if (status != WM_OK || hits.count == 0)
        return status;
    struct text kit = value_as_text(output_of(kits, hits.rows[0], "kit"));
    if (kit.length == 0)
        return WM_OK;
    status = add_part(asking, kit, output_of(kits, hits.rows[0], "quantity").number, NEED_KIT);
    if (status == WM_OK) {
        expectation->kit_shown = expectation->parts[0].shown;
        expectation->kit_key = expectation->parts[0].key;
    }
    return status;
}

static int ask_parts(struct asking *asking)
{
    const struct table *parts = asking->campaign->parts;
    int status = ask_kit(asking, parts != NULL ? table_row_count(parts) : 0);
    struct table_hits hits;

    if (status == WM_OK)
        status = ask(asking, parts, &hits);
    for (uint32_t i = 0; status == WM_OK && i < hits.count; i++) {
        uint32_t row = hits.rows[i];
        status = add_part(asking, value_as_text(output_of(parts, row, "part")),
                          output_of(parts, row, "quantity").number, need_from(output_of(parts, row, "need")));
    }
    return status;
}

/* The entry of a named item in the list that is being made: its number, `count` if it is new. */
static uint32_t entry_of(struct asking *asking, struct text shown, uint32_t count, struct text *ret_key)
{
    char *room = arena_bytes(asking->arena, shown.length);

    if (room == NULL)
        return TEXT_INDEX_NONE;
    *ret_key = (struct text){room, text_item_key(shown, room)};
    return text_index_add(&asking->index, *ret_key, count);
}

static int add_operation(struct asking *asking, uint32_t row)
{
    struct expectation *expectation = asking->expectation;
    const struct table *labor = asking->campaign->labor;
    struct text shown = value_as_text(output_of(labor, row, "operation")), key;
    int64_t hours = output_of(labor, row, "hours").number;
    uint32_t at = entry_of(asking, shown, expectation->operation_count, &key);

    if (at == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    struct expected_operation *entry = &expectation->operations[at];
    if (at == expectation->operation_count) {
        *entry = (struct expected_operation){key, shown, NEED_NONE, 0};
        expectation->operation_count++;
    }
    entry->hours = decimal_sum(entry->hours, hours);
    entry->need = stronger(entry->need, need_from(output_of(labor, row, "need")));
    expectation->hours_allowed = decimal_sum(expectation->hours_allowed, hours);
    return WM_OK;
}

static int ask_labor(struct asking *asking)
{
    struct table_hits hits;
    int status = ask(asking, asking->campaign->labor, &hits);

    if (status != WM_OK || hits.count == 0)
        return status;
    asking->expectation->operations = ARENA_ARRAY(asking->arena, struct expected_operation, hits.count);
    if (asking->expectation->operations == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; status == WM_OK && i < hits.count; i++)
        status = add_operation(asking, hits.rows[i]);
    return status;
}

static int add_inspection(struct asking *asking, uint32_t row, uint32_t most_tests)
{
    struct expectation *expectation = asking->expectation;
    const struct table *inspections = asking->campaign->inspections;
    struct text shown = value_as_text(output_of(inspections, row, "inspection")), key;
    uint32_t at = entry_of(asking, shown, expectation->inspection_count, &key);

    if (at == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    struct expected_inspection *entry = &expectation->inspections[at];
    if (at == expectation->inspection_count) {
        *entry = (struct expected_inspection){
            key, shown, NEED_NONE, ARENA_ARRAY(asking->arena, const struct inspection_test *, most_tests), 0};
        if (entry->tests == NULL)
            return WM_NO_MEMORY;
        expectation->inspection_count++;
    }
    entry->need = stronger(entry->need, need_from(output_of(inspections, row, "need")));
    if (asking->campaign->tests[row].condition != NULL)
        entry->tests[entry->test_count++] = &asking->campaign->tests[row];
    return WM_OK;
}

static int ask_inspections(struct asking *asking)
{
    struct table_hits hits;
    int status = ask(asking, asking->campaign->inspections, &hits);

    if (status != WM_OK || hits.count == 0)
        return status;
    asking->expectation->inspections = ARENA_ARRAY(asking->arena, struct expected_inspection, hits.count);
    if (asking->expectation->inspections == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; status == WM_OK && i < hits.count; i++)
        status = add_inspection(asking, hits.rows[i], hits.count - i);
    return status;
}

static int ask_all(struct asking *asking)
{
    int (*const parts[])(struct asking *) = {ask_parts, ask_labor, ask_inspections};
    int status = ask_eligibility(asking);
    struct value eligible = asking->expectation->eligible;

    if (status != WM_OK || eligible.type != VALUE_BOOLEAN || !eligible.number)
        return status;
    for (size_t i = 0; status == WM_OK && i < sizeof parts / sizeof *parts; i++) {
        text_index_clear(&asking->index);
        status = parts[i](asking);
    }
    return status;
}

static int make_expectation(const struct campaign *campaign, const struct value *facts,
                            struct table_scratch *scratch, struct arena *arena,
                            struct expectation **ret_expectation)
{
    struct asking asking = {campaign,        facts, scratch, arena, ARENA_NEW(arena, struct expectation),
                            TEXT_INDEX_EMPTY};

    if (asking.expectation == NULL)
        return WM_NO_MEMORY;
    asking.expectation->first_item = ITEM_NOT_REMEMBERED;
    int status = ask_all(&asking);
    text_index_free(&asking.index);
    if (status == WM_OK)
        *ret_expectation = asking.expectation;
    return status;
}

int expectation_stage(const struct campaign *campaign, const struct value *facts, struct table_scratch *scratch,
                      struct value *ret_eligible, struct text *ret_stage, int32_t *ret_opens_on)
{
    struct table_hits hits;
    int status = table_decide(campaign->eligibility, facts, scratch, &hits);

    if (status != WM_OK)
        return status;
    *ret_eligible = hits.fault != TABLE_OK ? value_null() : value_boolean(false);
    *ret_stage = TEXT("");
    *ret_opens_on = DAY_NONE;
    if (hits.fault != TABLE_OK || hits.count == 0)
        return WM_OK;
    struct value eligible = output_of(campaign->eligibility, hits.rows[0], "eligible");
    if (eligible.type == VALUE_BOOLEAN)
        *ret_eligible = eligible;
    *ret_stage = value_as_text(output_of(campaign->eligibility, hits.rows[0], "stage"));
    *ret_opens_on = stage_opens_on(campaign, *ret_stage);
    return WM_OK;
}

int expectation_eligible(const struct campaign *campaign, const struct value *facts,
                         struct table_scratch *scratch, struct value *ret_eligible)
{
    struct text stage;
    int32_t opens_on;

    return expectation_stage(campaign, facts, scratch, ret_eligible, &stage, &opens_on);
}

/* --- Remembering ------------------------------------------------------------------------------------- */

/* Facts with few values count by themselves; days and inspection results by their class, as there are too many.
 */
static bool counts_by_itself(const struct rules *rules, uint32_t slot, enum value_type type)
{
    if (type == VALUE_DATE)
        return false;
    for (uint32_t i = 0; i < rules->dictionary->named_count; i++)
        if (rules->dictionary->named[i].slot == slot)
            return rules->dictionary->named[i].is_option;
    return true;
}

static bool is_distinguished(const struct campaign_memory *memory, uint32_t slot)
{
    for (uint32_t i = 0; i < memory->count; i++)
        if (memory->distinctions[i].table == NULL && memory->distinctions[i].slot == slot)
            return true;
    return false;
}

static int prepare_campaign(struct expectations *expectations, const struct campaign *campaign,
                            struct campaign_memory *memory)
{
    uint32_t most = 0;

    memory->usable = true;
    for (int which = 0; which < TABLE_FOLLOWUPS; which++) {
        const struct table *table = campaign_table(campaign, (enum campaign_table)which);
        if (table == NULL)
            continue;
        memory->usable = memory->usable && table_is_classable(table);
        most += table_condition_count(table);
    }
    memory->distinctions = ARENA_ARRAY(&expectations->arena, struct distinction, most);
    if (memory->distinctions == NULL)
        return WM_NO_MEMORY;
    for (int which = 0; memory->usable && which < TABLE_FOLLOWUPS; which++) {
        const struct table *table = campaign_table(campaign, (enum campaign_table)which);
        for (uint32_t c = 0; table != NULL && c < table_condition_count(table); c++) {
            struct fact_ref fact = table_condition_fact(table, c);
            bool itself = counts_by_itself(expectations->rules, fact.slot, fact.type);
            if (itself && is_distinguished(memory, fact.slot))
                continue;
            memory->distinctions[memory->count++] = (struct distinction){itself ? NULL : table, c, fact.slot};
        }
    }
    return WM_OK;
}

int expectations_new(const struct rules *rules, struct expectations **ret_expectations)
{
    struct expectations *expectations = calloc(1, sizeof *expectations);
    int status = WM_OK;

    if (expectations == NULL)
        return WM_NO_MEMORY;
    expectations->rules = rules;
    expectations->campaigns = ARENA_ARRAY(&expectations->arena, struct campaign_memory, rules->campaign_count);
    expectations->known = calloc(MOST_REMEMBERED, sizeof(struct expectation *));
    if (expectations->campaigns == NULL || expectations->known == NULL)
        status = WM_NO_MEMORY;
    for (uint32_t i = 0; status == WM_OK && i < rules->campaign_count; i++)
        status = prepare_campaign(expectations, &rules->campaigns[i], &expectations->campaigns[i]);
    if (status != WM_OK) {
        expectations_free(expectations);
        return status;
    }
    *ret_expectations = expectations;
    return WM_OK;
}

void expectations_free(struct expectations *expectations)
{
    if (expectations == NULL)
        return;
    text_index_free(&expectations->index);
    free(expectations->known);
    arena_free(&expectations->arena);
    free(expectations);
}

struct key {
    char bytes[MOST_KEY_BYTES];
    size_t length;
    bool too_long;
};

static void key_add(struct key *key, const void *bytes, size_t length)
{
    if (length > MOST_KEY_BYTES - key->length) {
        key->too_long = true;
        return;
    }
    memcpy(key->bytes + key->length, bytes, length);
    key->length += length;
}

static void key_add_value(struct key *key, struct value v)
{
    key_add(key, &v.type, sizeof v.type);
    if (v.type == VALUE_TEXT) {
        key_add(key, &v.length, sizeof v.length);
        key_add(key, v.bytes, v.length);
    } else if (v.type == VALUE_BOOLEAN) {
        char is = (char)v.number;
        key_add(key, &is, 1);
    } else if (v.type != VALUE_NULL) {
        key_add(key, &v.number, sizeof v.number);
    }
}

static void make_key(const struct expectations *expectations, uint32_t campaign, const struct value *facts,
                     struct key *key)
{
    const struct campaign_memory *memory = &expectations->campaigns[campaign];

    key->length = 0;
    key->too_long = false;
    key_add(key, &campaign, sizeof campaign);
    for (uint32_t i = 0; i < memory->count && !key->too_long; i++) {
        const struct distinction *distinction = &memory->distinctions[i];
        struct value v = facts[distinction->slot];
        if (distinction->table == NULL) {
            key_add_value(key, v);
        } else {
            uint32_t class = table_class(distinction->table, distinction->condition, v);
            key_add(key, &class, sizeof class);
        }
    }
}

static int remember(struct expectations *expectations, const struct key *key, struct expectation *expectation)
{
    struct text kept = text_copy(&expectations->arena, (struct text){key->bytes, key->length});

    if (kept.bytes == NULL ||
        text_index_add(&expectations->index, kept, expectations->count) == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    expectations->known[expectations->count++] = expectation;
    expectation->first_item = expectations->item_count;
    expectations->item_count +=
        expectation->part_count + expectation->operation_count + expectation->inspection_count;
    return WM_OK;
}

int expectations_find(struct expectations *expectations, const struct campaign *campaign,
                      const struct value *facts, struct table_scratch *scratch, struct arena *arena,
                      const struct expectation **ret_expectation)
{
    uint32_t number = (uint32_t)(campaign - expectations->rules->campaigns);
    struct expectation *made = NULL;
    struct key key;
    bool remembered = expectations->campaigns[number].usable;

    if (remembered) {
        make_key(expectations, number, facts, &key);
        uint32_t at = key.too_long
                          ? TEXT_INDEX_NONE
                          : text_index_find(&expectations->index, (struct text){key.bytes, key.length});
        if (at != TEXT_INDEX_NONE) {
            *ret_expectation = expectations->known[at];
            return WM_OK;
        }
        remembered = !key.too_long && expectations->count < MOST_REMEMBERED;
    }
    int status = make_expectation(campaign, facts, scratch, remembered ? &expectations->arena : arena, &made);
    if (status == WM_OK && remembered)
        status = remember(expectations, &key, made);
    if (status == WM_OK)
        *ret_expectation = made;
    return status;
}
