/* table_kit.h - for tests of tables: a small set of facts, tables from a string, decisions as a string. */
#ifndef WM_TEST_TABLE_KIT_H
#define WM_TEST_TABLE_KIT_H

#include "capture.h"

#include "base/status.h"
#include "tables/cell.h"
#include "tables/literal.h"
#include "tables/table.h"

struct kit_fact {
    const char *name;
    enum value_type type;
    bool late, any_case, office_only;
};

/* n and m are early numbers, late_n a late one, and so on; the others are for messages that read well. */
static const struct kit_fact KIT_FACTS[] = {
    {"n", VALUE_NUMBER, false, false, false},
    {"m", VALUE_NUMBER, false, false, false},
    {"late_n", VALUE_NUMBER, true, false, false},
    {"t", VALUE_TEXT, false, false, false},
    {"u", VALUE_TEXT, false, false, false},
    {"late_t", VALUE_TEXT, true, false, false},
    {"d", VALUE_DATE, false, false, false},
    {"e", VALUE_DATE, false, false, false},
    {"b", VALUE_BOOLEAN, false, false, false},
    {"c", VALUE_BOOLEAN, false, false, false},
    {"word", VALUE_TEXT, false, true, false},
    {"secret", VALUE_TEXT, false, false, true},
    {"model_year", VALUE_NUMBER, false, false, false},
    {"engine", VALUE_TEXT, false, false, false},
    {"hours_allowed", VALUE_NUMBER, false, false, false},
};
enum { KIT_COUNT = sizeof KIT_FACTS / sizeof *KIT_FACTS };

static inline int kit_slot(struct text name)
{
    for (int i = 0; i < KIT_COUNT; i++)
        if (text_is(name, KIT_FACTS[i].name))
            return i;
    return -1;
}

static inline bool kit_find(void *context, struct text name, enum value_type declared, struct fact_ref *ret_fact,
                            struct text *ret_nearest)
{
    size_t best = 4;
    int slot = kit_slot(name);
    (void)context, (void)declared;

    if (slot >= 0) {
        const struct kit_fact *fact = &KIT_FACTS[slot];
        *ret_fact = (struct fact_ref){.slot = (uint32_t)slot, .type = fact->type, .late = fact->late,
                                      .any_case = fact->any_case, .office_only = fact->office_only};
        return true;
    }
    for (int i = 0; ret_nearest != NULL && name.length > 3 && i < KIT_COUNT; i++) {
        size_t distance = text_distance(name, text_of(KIT_FACTS[i].name), best);
        if (distance < best) {
            best = distance;
            *ret_nearest = text_of(KIT_FACTS[i].name);
        }
    }
    return false;
}

static const struct fact_source KIT_SOURCE = {NULL, kit_find};

/* A table, its facts, and what was said while it was compiled. */
struct kit {
    struct arena arena;
    struct capture capture;
    struct table *table;
    struct table_scratch *scratch;
    struct value facts[KIT_COUNT];
    int status;
};

static inline void kit_start(struct kit *kit, const char *csv, struct table_rules rules)
{
    *kit = (struct kit){.arena = ARENA_EMPTY};
    capture_start(&kit->capture);
    assert_int_equal(table_scratch_new(&kit->scratch), WM_OK);
    kit->status = table_compile(&kit->arena, TEXT("t.csv"), text_of(csv), rules, &KIT_SOURCE, &kit->capture.sink,
                                &kit->table);
}

/* A table that must be without errors. */
static inline void kit_good(struct kit *kit, const char *csv)
{
    kit_start(kit, csv, (struct table_rules){.policies = HIT_ALL_POLICIES});
    if (kit->status != WM_OK)
        print_error("%s\n%s", csv, kit->capture.text);
    assert_int_equal(kit->status, WM_OK);
    assert_string_equal(kit->capture.text, "");
}

static inline void kit_end(struct kit *kit)
{
    table_free(kit->table);
    table_scratch_free(kit->scratch);
    arena_free(&kit->arena);
}

/* "null", or a literal of the fact's type; text as it stands. */
static inline struct value kit_value(enum value_type type, const char *written)
{
    struct value v = value_null();

    if (strcmp(written, "null") == 0)
        return v;
    if (type == VALUE_TEXT)
        return value_text(text_of(written));
    assert_null(literal_read(text_of(written), type, &v).wrong);
    return v;
}

/* Sets facts from "n=1 t=A": blanks between, none inside. The pieces live in the kit's arena. */
static inline void kit_facts(struct kit *kit, const char *list)
{
    char *copy = arena_bytes(&kit->arena, strlen(list) + 1), *rest = NULL;

    for (int i = 0; i < KIT_COUNT; i++)
        kit->facts[i] = value_null();
    assert_non_null(copy);
    strcpy(copy, list);
    for (char *item = strtok_r(copy, " ", &rest); item != NULL; item = strtok_r(NULL, " ", &rest)) {
        char *value = strchr(item, '=');
        assert_non_null(value);
        *value++ = '\0';
        int slot = kit_slot(text_of(item));
        assert_true(slot >= 0);
        kit->facts[slot] = kit_value(KIT_FACTS[slot].type, value);
    }
}

/* The decision in words: "a b" the rows in order, "a b = 5" with an aggregate, "none", "! fault a b". */
static inline const char *kit_decide(struct kit *kit, const char *facts, char room[512])
{
    static const char *const faults[] = {"", "two-hits", "outputs-differ", "given-up", "too-large"};
    struct table_hits hits;
    struct buffer out = BUFFER_EMPTY;

    kit_facts(kit, facts);
    assert_int_equal(table_decide(kit->table, kit->facts, kit->scratch, &hits), WM_OK);
    if (hits.fault != TABLE_OK) {
        assert_int_equal(hits.count, 0);
        buffer_format(&out, "! %s %.*s %.*s", faults[hits.fault],
                      TEXT_ARGUMENTS(table_row_name(kit->table, hits.first_row)),
                      TEXT_ARGUMENTS(table_row_name(kit->table, hits.second_row)));
    } else if (hits.count == 0) {
        assert_int_equal(hits.aggregate.type, VALUE_NULL);
        buffer_add_string(&out, "none");
    }
    for (uint32_t h = 0; h < hits.count; h++) {
        buffer_add_string(&out, h > 0 ? " " : "");
        buffer_add_text(&out, table_row_name(kit->table, hits.rows[h]));
    }
    if (hits.aggregate.type != VALUE_NULL) {
        buffer_add_string(&out, " = ");
        value_write(hits.aggregate, &out);
    }
    snprintf(room, 512, "%.*s", TEXT_ARGUMENTS(buffer_text(&out)));
    buffer_free(&out);
    return room;
}

/* Adds a cell to CSV, always in quotes. */
static inline void kit_add_cell(struct buffer *csv, const char *cell)
{
    buffer_add_byte(csv, '"');
    for (; *cell != '\0'; cell++) {
        if (*cell == '"')
            buffer_add_byte(csv, '"');
        buffer_add_byte(csv, *cell);
    }
    buffer_add_byte(csv, '"');
}

#endif
