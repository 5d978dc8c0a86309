/* Values that conditions name and that there are not: outside `values`, no word of the fact, in no vehicle of
 * the register; and values that are written only once and are nearly another one.
 */
#include <assert.h>

#include "base/status.h"
#include "rules/lint_parts.h"

enum { MOST_SPELLINGS = 4000 };

/* A text that cells name. */
struct spelling {
    struct text written;
    uint32_t cells;     /* how often */
    struct place place; /* the first */
    bool in_register;
    bool in_values; /* some table lists it among the values of the fact */
    bool said;
};

/* All spellings of one fact, over the whole rules folder. */
struct spellings {
    struct lint *lint;
    struct text fact;
    uint32_t slot;
    enum value_type type;
    bool any_case;
    struct spelling *list;
    uint32_t count;
    struct text_index index;
};

/* A test on one value: what a cell is made of where it lists words. */
typedef int look_at_literal(struct spellings *spellings, const struct table *table, uint32_t condition,
                            uint32_t row, struct value literal);

static int each_literal(struct spellings *spellings, const struct table *table, look_at_literal *look)
{
    int status = WM_OK;

    for (uint32_t c = 0; table != NULL && c < table_condition_count(table); c++) {
        if (table_condition_fact(table, c).slot != spellings->slot)
            continue;
        for (uint32_t row = 0; status == WM_OK && row < table_row_count(table); row++) {
            const struct cell *cell = table_condition_test(table, c, row);
            for (uint32_t i = 0; status == WM_OK && i < cell->test_count; i++)
                if (cell->tests[i].kind == TEST_EQUAL && cell->tests[i].high.fact == NULL)
                    status = look(spellings, table, c, row, cell->tests[i].high.literal);
        }
    }
    return status;
}

static int each_table(struct spellings *spellings, look_at_literal *look)
{
    const struct rules *rules = spellings->lint->rules;
    int status = each_literal(spellings, rules->deadlines, look);

    for (uint32_t i = 0; status == WM_OK && i < rules->campaign_count; i++)
        for (int which = 0; status == WM_OK && which < CAMPAIGN_TABLES; which++)
            status =
                each_literal(spellings, campaign_table(&rules->campaigns[i], (enum campaign_table)which), look);
    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; status == WM_OK && i < rules->check_count[scope]; i++)
            status = each_literal(spellings, rules->checks[scope][i].table, look);
    return status;
}

/* --- Counting spellings --------------------------------------------------------------------------- */

static struct spelling *add_spelling(struct spellings *spellings, struct text written)
{
    uint32_t number = text_index_add(&spellings->index, written, spellings->count);

    spellings->lint->no_memory = spellings->lint->no_memory || number == TEXT_INDEX_NONE;
    if (number < spellings->count)
        return &spellings->list[number];
    if (number == TEXT_INDEX_NONE || spellings->count == MOST_SPELLINGS)
        return NULL;
    struct spelling *spelling = &spellings->list[spellings->count++];
    *spelling = (struct spelling){.written = written};
    return spelling;
}

static int count_literal(struct spellings *spellings, const struct table *table, uint32_t condition,
                         uint32_t row, struct value literal)
{
    struct spelling *spelling =
        literal.type == VALUE_TEXT ? add_spelling(spellings, value_as_text(literal)) : NULL;

    if (spelling == NULL)
        return WM_OK;
    if (spelling->cells++ == 0)
        spelling->place = lint_condition_place(table, row, (int)condition);
    return WM_OK;
}

static void count_register(struct spellings *spellings)
{
    const struct lint_fleet *fleet = spellings->lint->fleet;

    if (fleet == NULL || spellings->slot >= fleet->slot_count || !fleet->slots[spellings->slot])
        return;
    for (uint32_t i = 0; i < fleet->count; i++) {
        struct value v = fleet->vehicles[i].facts[spellings->slot];
        struct spelling *spelling = v.type == VALUE_TEXT ? add_spelling(spellings, value_as_text(v)) : NULL;
        if (spelling != NULL)
            spelling->in_register = true;
    }
}

/* What a `values` row lists is right by definition. */
static void count_values(struct spellings *spellings, const struct table *table)
{
    for (uint32_t c = 0; table != NULL && c < table_condition_count(table); c++) {
        const struct cell *domain = table_condition_domain(table, c);
        if (domain == NULL || table_condition_fact(table, c).slot != spellings->slot)
            continue;
        for (uint32_t i = 0; i < domain->test_count; i++) {
            struct value literal = domain->tests[i].high.literal;
            struct spelling *spelling = domain->tests[i].kind == TEST_EQUAL && literal.type == VALUE_TEXT
                                            ? add_spelling(spellings, value_as_text(literal))
                                            : NULL;
            if (spelling != NULL)
                spelling->in_values = true;
        }
    }
}

static void count_all_values(struct spellings *spellings)
{
    const struct rules *rules = spellings->lint->rules;

    for (uint32_t i = 0; i < rules->campaign_count; i++)
        for (int which = 0; which < CAMPAIGN_TABLES; which++)
            count_values(spellings, campaign_table(&rules->campaigns[i], (enum campaign_table)which));
    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; i < rules->check_count[scope]; i++)
            count_values(spellings, rules->checks[scope][i].table);
    count_values(spellings, rules->deadlines);
}

/* What inspections are expected to say counts as written, too. */
static void count_expected(struct spellings *spellings)
{
    static const struct text prefix = {"inspection:", 11};
    const struct rules *rules = spellings->lint->rules;

    for (uint32_t i = 0; i < rules->campaign_count && text_starts_with(spellings->fact, prefix); i++) {
        const struct campaign *campaign = &rules->campaigns[i];
        for (uint32_t row = 0; campaign->inspections != NULL && row < table_row_count(campaign->inspections);
             row++) {
            const struct condition *condition = campaign->tests[row].condition;
            const struct cell *cell = condition != NULL ? condition_cell(condition) : NULL;
            struct text item = {spellings->fact.bytes + prefix.length, spellings->fact.length - prefix.length};
            if (cell == NULL ||
                !text_equal_any_case(item, lint_output_text(campaign->inspections, row, "inspection")))
                continue;
            for (uint32_t t = 0; t < cell->test_count; t++)
                if (cell->tests[t].kind == TEST_EQUAL)
                    count_literal(spellings, campaign->inspections, 0, row, cell->tests[t].high.literal);
        }
    }
}

/* --- Said once ------------------------------------------------------------------------------------ */

static void note_misspelt(struct lint *lint, struct place place)
{
    if (lint->misspelt_count < sizeof lint->misspelt / sizeof *lint->misspelt)
        lint->misspelt[lint->misspelt_count++] = place;
}

static bool was_said(const struct lint *lint, struct place place)
{
    for (uint32_t i = 0; i < lint->misspelt_count; i++)
        if (lint->misspelt[i].line == place.line && lint->misspelt[i].column == place.column &&
            text_equal(lint->misspelt[i].file, place.file))
            return true;
    return false;
}

/* --- Nearly another ------------------------------------------------------------------------------- */

/* Numbers such as R16 and R20 are near each other and mean different things: digits alone make no misspelling.
 */
static bool differ_in_digits_alone(struct text a, struct text b)
{
    if (a.length != b.length)
        return false;
    for (size_t i = 0; i < a.length; i++) {
        bool digits = a.bytes[i] >= '0' && a.bytes[i] <= '9' && b.bytes[i] >= '0' && b.bytes[i] <= '9';
        if (a.bytes[i] != b.bytes[i] && !digits)
            return false;
    }
    return true;
}

static bool ends_word(char c)
{
    return c == ' ' || c == '-' || c == '/';
}

/* `Line A` and `Line B`: words of one or two letters tell kinds apart. Where the texts part, how long is the
 * word? */
static bool differ_in_short_word(struct text a, struct text b)
{
    size_t at = 0, start, end;

    while (at < a.length && at < b.length && a.bytes[at] == b.bytes[at])
        at++;
    for (start = at; start > 0 && !ends_word(a.bytes[start - 1]);)
        start--;
    for (end = at; end < a.length && !ends_word(a.bytes[end]);)
        end++;
    return end - start <= 2;
}

static bool is_nearly(struct text a, struct text b)
{
    size_t most = a.length >= 8 ? 2 : a.length >= 4 ? 1 : 0;

    if (text_equal_any_case(a, b))
        return true;
    return most > 0 && text_distance(a, b, most) <= most && !differ_in_digits_alone(a, b) &&
           !differ_in_short_word(a, b);
}

static int say_nearly(struct spellings *spellings, struct spelling *spelling, const struct spelling *other)
{
    struct lint *lint = spellings->lint;
    struct lint_result result = {.severity = LINT_WARNING, .kind = LINT_SPELLING, .place = spelling->place};

    result.wrong =
        text_format(&lint->arena, "%.*s \"%.*s\" is written nowhere else, and nearly \"%.*s\"%s",
                    TEXT_ARGUMENTS(spellings->fact), TEXT_ARGUMENTS(spelling->written),
                    TEXT_ARGUMENTS(other->written), other->in_register ? ", which the register has" : "");
    result.advice =
        text_format(&lint->arena, "write \"%.*s\" if that is meant", TEXT_ARGUMENTS(other->written));
    return lint_say(lint, &result);
}

static int look_for_nearly(struct spellings *spellings)
{
    int status = WM_OK;

    for (uint32_t i = 0; i < spellings->count; i++) {
        struct spelling *spelling = &spellings->list[i];
        for (uint32_t k = 0; status == WM_OK && k < spellings->count && spelling->cells == 1; k++) {
            const struct spelling *other = &spellings->list[k];
            if (k == i || spelling->said || spelling->in_register || spelling->in_values ||
                (other->cells < 2 && !other->in_register) ||
                (spellings->any_case && text_equal_any_case(spelling->written, other->written)) ||
                !is_nearly(spelling->written, other->written))
                continue;
            spelling->said = true;
            if (!was_said(spellings->lint, spelling->place))
                status = say_nearly(spellings, spelling, other);
        }
    }
    return status;
}

/* --- There is no such value ----------------------------------------------------------------------- */

struct nearest {
    struct text written, text;
    size_t distance;
};

static void consider(struct nearest *nearest, struct value v)
{
    size_t distance = v.type == VALUE_TEXT
                          ? text_distance(nearest->written, value_as_text(v), nearest->distance)
                          : nearest->distance;

    if (distance < nearest->distance) {
        nearest->distance = distance;
        nearest->text = value_as_text(v);
    }
}

/* fleet NULL: of the words that the fact may be, else of those that its vehicles have. */
static struct text nearest_of(struct lint *lint, const struct lint_dim *dim, const struct lint_fleet *fleet,
                              struct text written)
{
    struct nearest nearest = {written, {"", 0}, written.length / 2 + 1};

    for (uint32_t i = 0; fleet != NULL && i < fleet->count; i++)
        consider(&nearest, fleet->vehicles[i].facts[dim->slot]);
    for (uint32_t k = 0; fleet == NULL && k < dim->class_count; k++)
        if (dim->classes[k].kind == CLASS_ON && dim->classes[k].in_domain)
            consider(&nearest, dim->classes[k].value);
    return nearest.text.length == 0
               ? nearest.text
               : text_format(&lint->arena, "; the nearest is \"%.*s\"", TEXT_ARGUMENTS(nearest.text));
}

/* The vehicles that tell which words a fact may be, where no table does; NULL: they do not. */
static const struct lint_fleet *fleet_of(const struct lint *lint, const struct lint_dim *dim)
{
    const struct lint_fleet *fleet = lint->fleet;
    bool has = fleet != NULL && dim->slot < fleet->slot_count && fleet->slots[dim->slot];

    return has && dim->type == VALUE_TEXT && !dim->has_values ? fleet : NULL;
}

static bool fleet_has(const struct lint_fleet *fleet, const struct lint_dim *dim, struct value literal)
{
    for (uint32_t i = 0; i < fleet->count; i++)
        if (value_equal(fleet->vehicles[i].facts[dim->slot], literal, dim->any_case))
            return true;
    return false;
}

struct looking {
    struct lint *lint;
    const struct lint_space *space;
    const struct table *table;
    uint32_t condition, row;
};

/* Whether it is none of the words that the fact can be at all. */
static bool is_no_word(const struct lint_dim *dim, struct value literal)
{
    return dim->nature.words != NULL &&
           fact_word_number(dim->nature.words, value_as_text(literal), dim->any_case) < 0;
}

static const char *why_not(const struct lint_dim *dim, struct value literal)
{
    return is_no_word(dim, literal) ? "is no word that this fact may be"
           : dim->has_values        ? "is not among the values"
                                    : "is in no vehicle of the register";
}

static int look_at_domain(const struct looking *looking, struct value literal)
{
    struct lint *lint = looking->lint;
    int number = lint_dim_of(looking->space, table_condition_fact(looking->table, looking->condition).slot);
    const struct lint_dim *dim = &looking->space->dims[number];
    int class_number = lint_class_of(dim, literal);
    const struct lint_fleet *fleet = fleet_of(lint, dim);
    struct buffer words = BUFFER_EMPTY;

    assert(class_number >= 0); /* each literal is a class */
    if (fleet != NULL ? fleet_has(fleet, dim, literal) : dim->classes[class_number].in_domain)
        return WM_OK;
    if (dim->nature.words == NULL && !dim->has_values && fleet == NULL)
        return WM_OK;
    struct lint_result result = {
        .severity = fleet != NULL ? LINT_WARNING : LINT_ERROR,
        .kind = LINT_SPELLING,
        .place = lint_condition_place(looking->table, looking->row, (int)looking->condition)};
    value_write(literal, &words);
    struct text nearest = nearest_of(lint, dim, fleet, buffer_text(&words));
    result.wrong = text_format(&lint->arena, "%.*s \"%.*s\" %s%.*s", TEXT_ARGUMENTS(dim->name),
                               TEXT_ARGUMENTS(buffer_text(&words)), why_not(dim, literal), TEXT_ARGUMENTS(nearest));
    result.advice = dim->has_values && !is_no_word(dim, literal)
                        ? TEXT("correct it, or add it to the `values` row")
                        : TEXT("correct it");
    bool failed = words.failed || nearest.bytes == NULL;
    buffer_free(&words);
    if (failed)
        return WM_NO_MEMORY;
    note_misspelt(lint, result.place);
    return lint_say(lint, &result);
}

static int look_at_cells(struct lint *lint, const struct lint_space *space, const struct table *table)
{
    int status = WM_OK;

    for (uint32_t c = 0; c < table_condition_count(table); c++)
        for (uint32_t row = 0; row < table_row_count(table); row++) {
            const struct cell *cell = table_condition_test(table, c, row);
            const struct looking looking = {lint, space, table, c, row};
            for (uint32_t i = 0; status == WM_OK && i < cell->test_count; i++)
                if (cell->tests[i].kind == TEST_EQUAL && cell->tests[i].high.fact == NULL)
                    status = look_at_domain(&looking, cell->tests[i].high.literal);
        }
    return status;
}

static int look_at_campaigns(struct lint *lint)
{
    int status = WM_OK;

    lint->scope = SCOPE_CLAIM;
    for (uint32_t i = 0; status == WM_OK && i < lint->rules->campaign_count; i++) {
        const struct table *tables[CAMPAIGN_TABLES];
        struct lint_space *space;
        uint32_t count = 0;
        arena_reset(&lint->arena);
        for (int which = 0; which < CAMPAIGN_TABLES; which++)
            if ((tables[count] = campaign_table(&lint->rules->campaigns[i], (enum campaign_table)which)) !=
                NULL)
                count++;
        status = lint_open_space(lint, tables, count, true, &space);
        for (uint32_t t = 0; status == WM_OK && t < count; t++)
            status = look_at_cells(lint, space, tables[t]);
    }
    return status;
}

static int look_at_checks(struct lint *lint)
{
    int status = WM_OK;

    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; status == WM_OK && i < lint->rules->check_count[scope]; i++) {
            const struct table *table = lint->rules->checks[scope][i].table;
            struct lint_space *space;
            arena_reset(&lint->arena);
            lint->scope = (enum scope)scope;
            status = lint_open_space(lint, &table, 1, false, &space);
            if (status == WM_OK)
                status = look_at_cells(lint, space, table);
        }
    return status;
}

/* --- Campaigns and stages that checks name -------------------------------------------------------- */

static bool has_stage(const struct rules *rules, struct text name)
{
    for (uint32_t i = 0; i < rules->campaign_count; i++)
        for (uint32_t k = 0; k < rules->campaigns[i].stage_count; k++)
            if (text_equal(rules->campaigns[i].stages[k].name, name))
                return true;
    return false;
}

static int look_at_reference(struct spellings *spellings, const struct table *table, uint32_t condition,
                             uint32_t row, struct value literal)
{
    struct lint *lint = spellings->lint;
    struct text name = value_as_text(literal);
    bool campaign = text_is(spellings->fact, "campaign");

    if (campaign ? rules_campaign(lint->rules, name) >= 0 : has_stage(lint->rules, name))
        return WM_OK;
    struct lint_result result = {.severity = LINT_WARNING,
                                 .kind = LINT_SPELLING,
                                 .place = lint_condition_place(table, row, (int)condition),
                                 .advice = TEXT("correct the name")};
    result.wrong = text_format(&lint->arena, "%s \"%.*s\" is not there", campaign ? "campaign" : "stage",
                               TEXT_ARGUMENTS(name));
    return lint_say(lint, &result);
}

/* --- All ------------------------------------------------------------------------------------------ */

static int look_at_fact(struct lint *lint, struct text name, struct fact_ref fact)
{
    struct spellings spellings = {.lint = lint,
                                  .fact = name,
                                  .slot = fact.slot,
                                  .type = fact.type,
                                  .any_case = fact.any_case,
                                  .index = TEXT_INDEX_EMPTY};

    if (text_is(name, "campaign") || text_is(name, "stage"))
        return each_table(&spellings, look_at_reference);
    spellings.list = ARENA_ARRAY(&lint->arena, struct spelling, MOST_SPELLINGS);
    if (spellings.list == NULL)
        return WM_NO_MEMORY;
    (void)each_table(&spellings, count_literal); /* counting goes on to the end */
    count_register(&spellings);
    count_all_values(&spellings);
    count_expected(&spellings);
    int status = look_for_nearly(&spellings);
    text_index_free(&spellings.index);
    return status;
}

static int look_at_facts(struct lint *lint)
{
    const struct dictionary *dictionary = lint->rules->dictionary;
    int status = WM_OK;

    for (int id = 0; status == WM_OK && id < FACT_COUNT; id++) {
        const struct fact_kind *kind = fact_kind((enum fact_id)id);
        if (dictionary->slot[id] < 0 || kind->type != VALUE_TEXT ||
            fact_nature((enum fact_id)id, SCOPE_CLAIM).words)
            continue;
        arena_reset(&lint->arena);
        status = look_at_fact(lint, text_of(kind->name),
                              (struct fact_ref){.slot = (uint32_t)dictionary->slot[id],
                                                .type = kind->type,
                                                .any_case = kind->any_case});
    }
    for (uint32_t i = 0; status == WM_OK && i < dictionary->named_count; i++) {
        const struct named_fact *fact = &dictionary->named[i];
        arena_reset(&lint->arena);
        if (!fact->is_option)
            status = look_at_fact(lint, fact->name,
                                  (struct fact_ref){.slot = fact->slot, .type = VALUE_TEXT, .any_case = true});
    }
    return status;
}

int lint_spelling(struct lint *lint)
{
    int status = look_at_campaigns(lint);

    if (status == WM_OK)
        status = look_at_checks(lint);
    return status != WM_OK ? status : look_at_facts(lint);
}
