#include "rules/dictionary.h"

#include "base/sheet.h"
#include "base/status.h"

#define FACT_KIND(name, type, scope, stage, comparison) \
    {#name, VALUE_##type, SCOPE_##scope, STAGE_##stage, COMPARISON_##comparison},
enum { STAGE_EARLY = false, STAGE_LATE = true, COMPARISON_EXACT = false, COMPARISON_ANY_CASE = true };
static const struct fact_kind KINDS[FACT_COUNT] = {FACT_LIST(FACT_KIND)};

static const char *const SCOPE_NAMES[SCOPES] = {"claim", "part", "labor", "inspection"};
static const struct text OPTION_PREFIX = {"option:", 7};
static const struct text INSPECTION_PREFIX = {"inspection:", 11};

const struct fact_kind *fact_kind(enum fact_id id)
{
    return &KINDS[id];
}

const char *scope_name(enum scope scope)
{
    return scope == SCOPE_ITEM ? "item" : SCOPE_NAMES[scope];
}

static bool in_scope(enum fact_id id, enum scope scope)
{
    enum scope own = KINDS[id].scope;

    return own == scope || (own == SCOPE_ITEM && scope != SCOPE_CLAIM);
}

/* --- Reading facts.csv ------------------------------------------------------------------------------- */

enum { NAME, TYPE, SCOPE, SHOWN, MEANING, COLUMNS };
static const struct csv_column FACTS_COLUMNS[COLUMNS] = {
    {"name", true}, {"type", true}, {"scope", true}, {"shown", true}, {"meaning", false}};

static int scope_from(struct text word)
{
    for (int scope = 0; scope < SCOPES; scope++)
        if (text_is(word, SCOPE_NAMES[scope]))
            return scope;
    return -1;
}

static int find_kind(struct text name, enum scope scope)
{
    for (int id = 0; id < FACT_COUNT; id++)
        if (text_is(name, KINDS[id].name) && in_scope((enum fact_id)id, scope))
            return id;
    return -1;
}

static int read_fact(void *context, const struct sheet *sheet)
{
    struct dictionary *dictionary = context;
    struct text name = sheet_cell(sheet, NAME), type = sheet_cell(sheet, TYPE);
    struct text shown = sheet_cell(sheet, SHOWN);
    int scope = scope_from(sheet_cell(sheet, SCOPE));

    if (scope < 0) {
        diag_error(sheet->sink, sheet_place(sheet, SCOPE),
                   "\"%.*s\" is no scope; write claim, part, labor or inspection",
                   TEXT_ARGUMENTS(sheet_cell(sheet, SCOPE)));
        return WM_OK;
    }
    if (!text_is(shown, "dealer") && !text_is(shown, "office")) {
        diag_error(sheet->sink, sheet_place(sheet, SHOWN),
                   "\"%.*s\" does not say who sees the fact; write dealer or office", TEXT_ARGUMENTS(shown));
        return WM_OK;
    }
    int id = find_kind(name, (enum scope)scope);
    if (id < 0) {
        if (text_starts_with(name, OPTION_PREFIX) || text_starts_with(name, INSPECTION_PREFIX))
            return WM_OK;
        diag_error(sheet->sink, sheet_place(sheet, NAME),
                   "the engine computes no %s fact \"%.*s\"; take the row out or correct the name",
                   SCOPE_NAMES[scope], TEXT_ARGUMENTS(name));
        return WM_OK;
    }
    if (dictionary->listed[id][scope]) {
        diag_error(sheet->sink, sheet_place(sheet, NAME),
                   "the %s fact \"%.*s\" is listed twice; keep one row", SCOPE_NAMES[scope], TEXT_ARGUMENTS(name));
        return WM_OK;
    }
    if (value_type_from(type) != KINDS[id].type) {
        diag_error(sheet->sink, sheet_place(sheet, TYPE), "the fact \"%.*s\" is a %s, not \"%.*s\"; correct it",
                   TEXT_ARGUMENTS(name), value_type_name(KINDS[id].type), TEXT_ARGUMENTS(type));
        return WM_OK;
    }
    dictionary->listed[id][scope] = true;
    dictionary->office_only[id][scope] = text_is(shown, "office");
    return WM_OK;
}

int dictionary_read(struct arena *arena, struct text file, struct text csv, struct diag_sink *sink,
                    struct dictionary **ret_dictionary)
{
    struct dictionary *dictionary = ARENA_NEW(arena, struct dictionary);

    if (dictionary == NULL)
        return WM_NO_MEMORY;
    dictionary->arena = arena;
    for (int id = 0; id < FACT_COUNT; id++)
        dictionary->slot[id] = -1;
    int status = sheet_read(arena, file, csv, FACTS_COLUMNS, COLUMNS, read_fact, dictionary, sink);
    if (status == WM_OK)
        *ret_dictionary = dictionary;
    return status;
}

/* --- Finding facts for tables ------------------------------------------------------------------------ */

static bool is_vehicle_fact(enum fact_id id)
{
    return id == FACT_model_line || id == FACT_model_year || id == FACT_engine || id == FACT_transmission ||
           id == FACT_built_on || id == FACT_plant;
}

static bool set_has(const struct fact_view *view, enum fact_id id)
{
    const bool *listed = view->dictionary->listed[id];

    switch (view->set) {
    case FACTS_OF_SCOPE:
        return listed[view->scope] || listed[SCOPE_CLAIM];
    case FACTS_OF_ANY_SCOPE:
        return listed[SCOPE_CLAIM] || listed[SCOPE_PART] || listed[SCOPE_LABOR] || listed[SCOPE_INSPECTION];
    case FACTS_OF_VEHICLE:
    case FACTS_OF_FOLLOWUP:
        return listed[SCOPE_CLAIM] && is_vehicle_fact(id);
    case FACTS_OF_VEHICLE_OUTCOME:
    case FACTS_OF_WORK:
        return listed[SCOPE_CLAIM] && (is_vehicle_fact(id) || id == FACT_outcome);
    case FACTS_OF_REGION:
        break;
    }
    return listed[SCOPE_CLAIM] && id == FACT_region;
}

static bool set_has_options(enum fact_set set)
{
    return set != FACTS_OF_REGION;
}

static bool set_has_inspections(enum fact_set set)
{
    return set == FACTS_OF_SCOPE || set == FACTS_OF_WORK || set == FACTS_OF_FOLLOWUP || set == FACTS_OF_ANY_SCOPE;
}

static uint32_t next_slot(struct dictionary *dictionary)
{
    return dictionary->slot_count++;
}

static struct named_fact *add_named(struct dictionary *dictionary, struct text name, struct text word, bool is_option)
{
    if (dictionary->named_count == dictionary->named_capacity) {
        uint32_t capacity = dictionary->named_capacity ? dictionary->named_capacity * 2 : 16;
        struct named_fact *grown = arena_grown(dictionary->arena, dictionary->named, dictionary->named_count, capacity,
                                               sizeof *grown);
        if (grown == NULL)
            return NULL;
        dictionary->named = grown;
        dictionary->named_capacity = capacity;
    }
    struct named_fact *fact = &dictionary->named[dictionary->named_count];
    fact->name = text_copy(dictionary->arena, name);
    fact->word = text_copy(dictionary->arena, word);
    if (fact->name.bytes == NULL || fact->word.bytes == NULL)
        return NULL;
    fact->is_option = is_option;
    fact->slot = next_slot(dictionary);
    dictionary->named_count++;
    return fact;
}

/* The word behind the prefix as it compares: an inspection by its item key, an option as it stands. */
static struct text named_word(struct dictionary *dictionary, struct text name, bool is_option)
{
    size_t prefix = is_option ? OPTION_PREFIX.length : INSPECTION_PREFIX.length;
    struct text word = text_trim((struct text){name.bytes + prefix, name.length - prefix});

    if (is_option || word.length == 0)
        return word;
    char *room = arena_bytes(dictionary->arena, word.length);
    if (room == NULL) {
        dictionary->no_memory = true;
        return (struct text){NULL, 0};
    }
    return (struct text){room, text_item_key(word, room)};
}

static bool find_named(struct dictionary *dictionary, struct text name, bool is_option, struct fact_ref *ret_fact)
{
    struct text word = named_word(dictionary, name, is_option);
    const struct named_fact *found = NULL;

    if (word.length == 0)
        return false;
    for (uint32_t i = 0; i < dictionary->named_count && found == NULL; i++)
        if (dictionary->named[i].is_option == is_option && text_equal(dictionary->named[i].word, word))
            found = &dictionary->named[i];
    if (found == NULL)
        found = add_named(dictionary, name, word, is_option);
    if (found == NULL) {
        dictionary->no_memory = true;
        return false;
    }
    *ret_fact = (struct fact_ref){.slot = found->slot, .type = is_option ? VALUE_BOOLEAN : VALUE_TEXT,
                                  .any_case = !is_option};
    return true;
}

static struct text nearest_name(const struct fact_view *view, struct text name)
{
    size_t best = name.length / 3 + 2;
    struct text nearest = {"", 0};

    for (int id = 0; id < FACT_COUNT; id++) {
        struct text candidate = text_of(KINDS[id].name);
        if (!set_has(view, (enum fact_id)id))
            continue;
        size_t distance = text_distance(name, candidate, best);
        if (distance < best) {
            best = distance;
            nearest = candidate;
        }
    }
    return nearest;
}

static int find_fact(const struct fact_view *view, struct text name)
{
    int claim_fact = -1;

    for (int id = 0; id < FACT_COUNT; id++) {
        if (!text_is(name, KINDS[id].name) || !set_has(view, (enum fact_id)id))
            continue;
        if (KINDS[id].scope != SCOPE_CLAIM)
            return id;
        claim_fact = id;
    }
    return claim_fact;
}

/* Facts of an expected item that are the same in every claim for this kind of vehicle; a listed price is not, as it
 * goes by the day of the work. */
static bool is_steady(enum fact_id id)
{
    switch (id) {
    case FACT_claimed:
    case FACT_expected:
    case FACT_part:
    case FACT_other_kit:
    case FACT_quantity_allowed:
    case FACT_operation:
    case FACT_operation_known:
    case FACT_operation_hours_allowed:
    case FACT_inspection: return true;
    default: return false;
    }
}

static bool find(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                 struct text *ret_nearest)
{
    struct fact_view *view = context;
    struct dictionary *dictionary = view->dictionary;
    (void)declared;

    if (text_starts_with(name, OPTION_PREFIX) && set_has_options(view->set) &&
        find_named(dictionary, name, true, ret_fact))
        return true;
    if (text_starts_with(name, INSPECTION_PREFIX) && set_has_inspections(view->set) &&
        find_named(dictionary, name, false, ret_fact))
        return true;
    int id = find_fact(view, name);
    if (id < 0) {
        if (ret_nearest != NULL)
            *ret_nearest = nearest_name(view, name);
        return false;
    }
    if (dictionary->slot[id] < 0)
        dictionary->slot[id] = (int)next_slot(dictionary);
    enum scope scope = view->set == FACTS_OF_SCOPE && dictionary->listed[id][view->scope] ? view->scope : SCOPE_CLAIM;
    *ret_fact = (struct fact_ref){.slot = (uint32_t)dictionary->slot[id], .type = KINDS[id].type,
                                  .of_item = KINDS[id].scope != SCOPE_CLAIM, .steady = is_steady((enum fact_id)id),
                                  .late = KINDS[id].late, .any_case = KINDS[id].any_case,
                                  .office_only = dictionary->office_only[id][scope]};
    return true;
}

struct fact_source fact_view_source(struct fact_view *view)
{
    return (struct fact_source){view, find};
}
