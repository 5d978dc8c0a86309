#include "verdict/explanation.h"

#include "base/buffer.h"
#include "base/status.h"
#include "verdict/decision.h"

/* --- JSON of single things --------------------------------------------------------------------------- */

static json_t *json_of(struct text t)
{
    return json_stringn(t.bytes != NULL ? t.bytes : "", t.length);
}

/* A value as people read it; null as null. */
static json_t *json_value(struct value v)
{
    struct buffer words = BUFFER_EMPTY;

    if (v.type == VALUE_NULL)
        return json_null();
    value_write(v, &words);
    json_t *string = words.failed ? NULL : json_of(buffer_text(&words));
    buffer_free(&words);
    return string;
}

static json_t *json_money(int64_t cents)
{
    char room[DECIMAL_ROOM];
    return json_stringn(room, money_write(cents, room));
}

/* What is added is given away, also where that fails; no memory for it (NULL) is a failure too. */
static void set(bool *failed, json_t *object, const char *name, json_t *given)
{
    *failed |= json_object_set_new(object, name, given) != 0;
}

static void set_named(bool *failed, json_t *object, struct text name, json_t *given)
{
    *failed |= json_object_setn_new(object, name.bytes, name.length, given) != 0;
}

static void append(bool *failed, json_t *list, json_t *given)
{
    *failed |= json_array_append_new(list, given) != 0;
}

static void add_text(bool *failed, json_t *object, const char *name, struct text t)
{
    if (t.length > 0)
        set(failed, object, name, json_of(t));
}

static void add_value(bool *failed, json_t *object, const char *name, struct value v)
{
    if (v.type != VALUE_NULL)
        set(failed, object, name, json_value(v));
}

static struct value day_or_null(int32_t day)
{
    return day == DAY_NONE ? value_null() : value_date(day);
}

/* --- What was said, what is registered --------------------------------------------------------------- */

static json_t *explain_claim(bool *failed, const struct claim *claim)
{
    json_t *said = json_object();

    for (int column = 0; column < CLAIM_COLUMNS; column++)
        add_text(failed, said, claim_column_name((enum claim_column)column),
                 column == COLUMN_VIN ? claim->vin : claim->cells[column]);
    return said;
}

static json_t *explain_vehicle(bool *failed, const struct dossier *dossier)
{
    json_t *known = json_object();
    const struct vehicle_profile *profile = dossier->vehicle.profile;

    set(failed, known, "registered", json_boolean(dossier->vehicle_known));
    if (!dossier->vehicle_known)
        return known;
    add_text(failed, known, "model_line", profile->model_line);
    if (profile->has_model_year)
        add_value(failed, known, "model_year", value_integer(profile->model_year));
    add_text(failed, known, "engine", profile->engine);
    add_text(failed, known, "transmission", profile->transmission);
    add_value(failed, known, "built_on", day_or_null(dossier->vehicle.built_on));
    add_text(failed, known, "plant", profile->plant);
    add_text(failed, known, "options", profile->options);
    add_text(failed, known, "status", profile->status);
    add_value(failed, known, "status_on", day_or_null(profile->status_on));
    return known;
}

static json_t *explain_dealer(bool *failed, const struct dossier *dossier)
{
    const struct dealer *dealer = dossier->dealer;
    json_t *known = json_object();

    set(failed, known, "registered", json_boolean(dealer != NULL));
    if (dealer == NULL)
        return known;
    add_text(failed, known, "name", dealer->name);
    add_text(failed, known, "region", dealer->region);
    add_value(failed, known, "labor_rate", value_number(dealer->labor_rate));
    add_value(failed, known, "parts_markup", value_number(dealer->parts_markup));
    add_value(failed, known, "active_from", day_or_null(dealer->active_from));
    add_value(failed, known, "active_to", day_or_null(dealer->active_to));
    add_value(failed, known, "valid_from", day_or_null(dealer->valid_from));
    return known;
}

static json_t *explain_approval(bool *failed, const struct dossier *dossier)
{
    const struct approval *approval = dossier->approval;

    if (approval == NULL)
        return json_null();
    json_t *known = json_object();
    add_text(failed, known, "approval", approval->number);
    set(failed, known, "valid", json_boolean(dossier->approval_valid));
    add_text(failed, known, "covers", approval->covers);
    add_text(failed, known, "reason", approval->reason);
    return known;
}

static bool is_claim_fact(enum fact_id id)
{
    return fact_kind(id)->scope == SCOPE_CLAIM;
}

static json_t *explain_facts(bool *failed, const struct rules *rules, const struct dossier *dossier)
{
    json_t *facts = json_object();

    for (int id = 0; id < FACT_COUNT; id++) {
        int slot = rules_slot(rules, (enum fact_id)id);
        if (slot >= 0 && is_claim_fact((enum fact_id)id))
            set(failed, facts, fact_kind((enum fact_id)id)->name, json_value(dossier->facts[slot]));
    }
    for (uint32_t i = 0; i < rules->dictionary->named_count; i++) {
        const struct named_fact *fact = &rules->dictionary->named[i];
        set_named(failed, facts, fact->name, json_value(dossier->facts[fact->slot]));
    }
    return facts;
}

/* --- Tables ------------------------------------------------------------------------------------------ */

struct telling {
    const struct rules *rules;
    struct table_scratch *scratch;
    struct dossier *dossier;
    json_t *tables;
    bool failed; /* something found no memory; looked at once, in the end */
};

/* One row: that it hits, or the one condition that keeps it from hitting. NULL for rows further off. */
static json_t *explain_row(struct telling *telling, const struct table *table, uint32_t row)
{
    uint32_t failing = 0;
    bool *failed = &telling->failed;
    int condition = table_row_misses(table, row, telling->dossier->facts, telling->scratch, &failing);

    if (failing > 1)
        return NULL;
    json_t *told = json_object();
    set(failed, told, "row", json_of(table_row_name(table, row)));
    set(failed, told, "hits", json_boolean(condition < 0));
    if (condition >= 0) {
        struct fact_ref fact = table_condition_fact(table, (uint32_t)condition);
        set(failed, told, "condition", json_of(table_condition_name(table, (uint32_t)condition)));
        set(failed, told, "wants", json_of(table_condition_cell(table, (uint32_t)condition, row)));
        set(failed, told, "is", json_value(telling->dossier->facts[fact.slot]));
        return told;
    }
    for (uint32_t output = 0; output < table_output_count(table); output++) {
        struct buffer words = BUFFER_EMPTY;
        struct text name = table_output_name(table, output);
        table_output_write(table, row, output, telling->dossier->facts, &words);
        *failed |= words.failed;
        set_named(failed, told, name, json_of(buffer_text(&words)));
        buffer_free(&words);
    }
    return told;
}

static int explain_table(struct telling *telling, const struct table *table, struct text item)
{
    struct table_hits hits;
    bool *failed = &telling->failed;
    json_t *told = json_object(), *rows = json_array();

    if (table == NULL || table_decide(table, telling->dossier->facts, telling->scratch, &hits) != WM_OK) {
        json_decref(told);
        json_decref(rows);
        return table == NULL ? WM_OK : WM_NO_MEMORY;
    }
    bool in_error = hits.fault != TABLE_OK;
    set(failed, told, "table", json_of(table_file(table)));
    add_text(failed, told, "item", item);
    set(failed, told, "in_error", json_boolean(in_error));
    for (uint32_t row = 0; row < table_row_count(table); row++) {
        json_t *one = explain_row(telling, table, row);
        if (one != NULL)
            append(failed, rows, one);
    }
    set(failed, told, "rows", rows);
    append(failed, telling->tables, told);
    return WM_OK;
}

static int explain_campaign_tables(struct telling *telling)
{
    const struct dossier *dossier = telling->dossier;
    bool eligible = dossier->expectation != NULL && dossier->expectation->eligible.type == VALUE_BOOLEAN &&
                    dossier->expectation->eligible.number;
    int status = WM_OK;

    for (int which = 0; dossier->expectation != NULL && status == WM_OK && which < CAMPAIGN_TABLES; which++)
        if (which == TABLE_ELIGIBILITY || eligible)
            status =
                explain_table(telling, campaign_table(dossier->campaign, (enum campaign_table)which), TEXT(""));
    return status;
}

static int explain_checks(struct telling *telling)
{
    const struct rules *rules = telling->rules;
    struct dossier *dossier = telling->dossier;
    int status = WM_OK;

    if (dossier->dealer != NULL)
        status = explain_table(telling, rules->deadlines, TEXT(""));
    for (uint32_t i = 0; status == WM_OK && i < rules->check_count[SCOPE_CLAIM]; i++)
        status = explain_table(telling, rules->checks[SCOPE_CLAIM][i].table, TEXT(""));
    for (uint32_t i = 0; status == WM_OK && i < dossier->item_count; i++) {
        const struct item *item = &dossier->items[i];
        facts_of_item(rules, item, dossier->facts);
        for (uint32_t k = 0; status == WM_OK && k < rules->check_count[item->scope]; k++)
            status = explain_table(telling, rules->checks[item->scope][k].table, item->shown);
    }
    return status;
}

/* --- Findings and money ------------------------------------------------------------------------------ */

static json_t *explain_findings(bool *failed, const struct dossier *dossier)
{
    json_t *findings = json_array();

    for (uint32_t i = 0; i < dossier->finding_count; i++) {
        const struct finding *finding = &dossier->findings[i];
        json_t *one = json_object();
        struct text file = finding->rule_file, row = finding->rule_row;
        set(failed, one, "effect", json_string(effect_name(finding->effect)));
        set(failed, one, "finding", json_of(finding->name));
        add_text(failed, one, "item", finding->item);
        set(failed, one, "message", json_of(finding->message));
        set(failed, one, "rule",
            json_sprintf("%.*s%s%.*s", (int)file.length, file.bytes, row.length > 0 ? ":" : "", (int)row.length,
                         row.length > 0 ? row.bytes : ""));
        append(failed, findings, one);
    }
    return findings;
}

static void add_counted(bool *failed, json_t *list, const struct item *item)
{
    json_t *line = json_object();

    set(failed, line, "item", json_of(item->shown));
    set(failed, line, "expected",
        item->expected == NEED_NONE ? json_null() : json_string(need_name(item->expected)));
    if (item->scope == SCOPE_PART) {
        add_value(failed, line, "quantity_claimed", value_number(item->quantity));
        if (item->expected != NEED_NONE)
            add_value(failed, line, "quantity_allowed", value_number(item->quantity_allowed));
        if (item->has_price)
            add_value(failed, line, "price_claimed", value_number(item->price));
        if (item->has_listed_price)
            add_value(failed, line, "price_listed", value_number(item->price_listed));
        add_value(failed, line, "quantity_counted", value_number(item->quantity_counted));
        add_value(failed, line, "price_counted", value_number(item->price_counted));
    } else {
        add_value(failed, line, "hours_claimed", value_number(item->hours));
        if (item->expected != NEED_NONE)
            add_value(failed, line, "hours_allowed", value_number(item->hours_allowed));
        add_value(failed, line, "hours_counted", value_number(item->hours_counted));
    }
    append(failed, list, line);
}

static json_t *explain_money(bool *failed, const struct dossier *dossier)
{
    json_t *money = json_object(), *parts = json_array(), *labor = json_array();
    const struct claim *claim = &dossier->claim;

    for (uint32_t i = 0; i < dossier->part_count; i++)
        if (dossier->items[i].claimed)
            add_counted(failed, parts, &dossier->items[i]);
    for (uint32_t i = 0; i < dossier->operation_count; i++)
        if (dossier->items[dossier->part_count + i].claimed)
            add_counted(failed, labor, &dossier->items[dossier->part_count + i]);
    set(failed, money, "parts", parts);
    if (dossier->amounts_known) {
        add_value(failed, money, "parts_markup", value_number(dossier->dealer->parts_markup));
        set(failed, money, "parts_allowed", json_money(dossier->parts_allowed_cents));
    }
    set(failed, money, "parts_asked", json_money(claim->parts_amount_cents));
    set(failed, money, "parts_payable", json_money(payable_parts_cents(dossier)));
    set(failed, money, "labor", labor);
    if (dossier->amounts_known) {
        add_value(failed, money, "labor_rate", value_number(dossier->dealer->labor_rate));
        set(failed, money, "labor_allowed", json_money(dossier->labor_allowed_cents));
    }
    set(failed, money, "labor_asked", json_money(claim->labor_amount_cents));
    set(failed, money, "labor_payable", json_money(payable_labor_cents(dossier)));
    set(failed, money, "other_asked", json_money(claim->other_amount_cents));
    set(failed, money, "other_payable", json_money(payable_other_cents(dossier)));
    set(failed, money, "total_asked", json_money(claim->total_amount_cents));
    set(failed, money, "if_nothing_stood_against_it", json_money(payable_cents(dossier)));
    set(failed, money, "payable", json_money(dossier->payable_cents));
    set(failed, money, "paid_before", json_money(dossier->paid_before_cents));
    set(failed, money, "due", json_money(dossier->due_cents));
    return money;
}

json_t *explain_dossier(const struct office_day *day, struct table_scratch *scratch, struct dossier *dossier)
{
    struct telling telling = {day->rules, scratch, dossier, json_array(), false};
    bool *failed = &telling.failed;
    json_t *explanation = json_object();

    set(failed, explanation, "decision", json_string(decision_name(dossier->decision)));
    set(failed, explanation, "claim", explain_claim(failed, &dossier->claim));
    set(failed, explanation, "vehicle", explain_vehicle(failed, dossier));
    set(failed, explanation, "dealer", explain_dealer(failed, dossier));
    set(failed, explanation, "approval", explain_approval(failed, dossier));
    set(failed, explanation, "facts", explain_facts(failed, day->rules, dossier));
    int status = explain_campaign_tables(&telling);
    if (status == WM_OK)
        status = explain_checks(&telling);
    set(failed, explanation, "tables", telling.tables);
    set(failed, explanation, "findings", explain_findings(failed, dossier));
    set(failed, explanation, "payment", explain_money(failed, dossier));
    if (status == WM_OK && !telling.failed)
        return explanation;
    json_decref(explanation);
    return NULL;
}
