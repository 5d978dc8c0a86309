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

static void add_text(json_t *object, const char *name, struct text t)
{
    if (t.length > 0)
        json_object_set_new(object, name, json_of(t));
}

static void add_value(json_t *object, const char *name, struct value v)
{
    if (v.type != VALUE_NULL)
        json_object_set_new(object, name, json_value(v));
}

static struct value day_or_null(int32_t day)
{
    return day == DAY_NONE ? value_null() : value_date(day);
}

/* --- What was said, what is registered --------------------------------------------------------------- */

static json_t *explain_claim(const struct claim *claim)
{
    json_t *said = json_object();

    for (int column = 0; column < CLAIM_COLUMNS; column++)
        add_text(said, claim_column_name((enum claim_column)column),
                 column == COLUMN_VIN ? claim->vin : claim->cells[column]);
    return said;
}

static json_t *explain_vehicle(const struct dossier *dossier)
{
    json_t *known = json_object();
    const struct vehicle_profile *profile = dossier->vehicle.profile;

    json_object_set_new(known, "registered", json_boolean(dossier->vehicle_known));
    if (!dossier->vehicle_known)
        return known;
    add_text(known, "model_line", profile->model_line);
    if (profile->has_model_year)
        add_value(known, "model_year", value_integer(profile->model_year));
    add_text(known, "engine", profile->engine);
    add_text(known, "transmission", profile->transmission);
    add_value(known, "built_on", day_or_null(dossier->vehicle.built_on));
    add_text(known, "plant", profile->plant);
    add_text(known, "options", profile->options);
    add_text(known, "status", profile->status);
    add_value(known, "status_on", day_or_null(profile->status_on));
    return known;
}

static json_t *explain_dealer(const struct dossier *dossier)
{
    const struct dealer *dealer = dossier->dealer;
    json_t *known = json_object();

    json_object_set_new(known, "registered", json_boolean(dealer != NULL));
    if (dealer == NULL)
        return known;
    add_text(known, "name", dealer->name);
    add_text(known, "region", dealer->region);
    add_value(known, "labor_rate", value_number(dealer->labor_rate));
    add_value(known, "parts_markup", value_number(dealer->parts_markup));
    add_value(known, "active_from", day_or_null(dealer->active_from));
    add_value(known, "active_to", day_or_null(dealer->active_to));
    add_value(known, "valid_from", day_or_null(dealer->valid_from));
    return known;
}

static json_t *explain_approval(const struct dossier *dossier)
{
    const struct approval *approval = dossier->approval;

    if (approval == NULL)
        return json_null();
    json_t *known = json_object();
    add_text(known, "approval", approval->number);
    json_object_set_new(known, "valid", json_boolean(dossier->approval_valid));
    add_text(known, "covers", approval->covers);
    add_text(known, "reason", approval->reason);
    return known;
}

static bool is_claim_fact(enum fact_id id)
{
    return fact_kind(id)->scope == SCOPE_CLAIM;
}

static json_t *explain_facts(const struct rules *rules, const struct dossier *dossier)
{
    json_t *facts = json_object();

    for (int id = 0; id < FACT_COUNT; id++) {
        int slot = rules_slot(rules, (enum fact_id)id);
        if (slot >= 0 && is_claim_fact((enum fact_id)id))
            json_object_set_new(facts, fact_kind((enum fact_id)id)->name, json_value(dossier->facts[slot]));
    }
    for (uint32_t i = 0; i < rules->dictionary->named_count; i++) {
        const struct named_fact *fact = &rules->dictionary->named[i];
        json_object_setn_new(facts, fact->name.bytes, fact->name.length,
                             json_value(dossier->facts[fact->slot]));
    }
    return facts;
}

/* --- Tables ------------------------------------------------------------------------------------------ */

struct telling {
    const struct rules *rules;
    struct table_scratch *scratch;
    struct dossier *dossier;
    json_t *tables;
};

/* One row: that it hits, or the one condition that keeps it from hitting. NULL for rows further off. */
static json_t *explain_row(struct telling *telling, const struct table *table, uint32_t row)
{
    uint32_t failing = 0;
    int condition = table_row_misses(table, row, telling->dossier->facts, telling->scratch, &failing);

    if (failing > 1)
        return NULL;
    json_t *told = json_object();
    json_object_set_new(told, "row", json_of(table_row_name(table, row)));
    json_object_set_new(told, "hits", json_boolean(condition < 0));
    if (condition >= 0) {
        struct fact_ref fact = table_condition_fact(table, (uint32_t)condition);
        json_object_set_new(told, "condition", json_of(table_condition_name(table, (uint32_t)condition)));
        json_object_set_new(told, "wants", json_of(table_condition_cell(table, (uint32_t)condition, row)));
        json_object_set_new(told, "is", json_value(telling->dossier->facts[fact.slot]));
        return told;
    }
    for (uint32_t output = 0; output < table_output_count(table); output++) {
        struct buffer words = BUFFER_EMPTY;
        struct text name = table_output_name(table, output);
        table_output_write(table, row, output, telling->dossier->facts, &words);
        json_object_setn_new(told, name.bytes, name.length, json_of(buffer_text(&words)));
        buffer_free(&words);
    }
    return told;
}

static int explain_table(struct telling *telling, const struct table *table, struct text item)
{
    struct table_hits hits;
    json_t *told = json_object(), *rows = json_array();

    if (table == NULL || table_decide(table, telling->dossier->facts, telling->scratch, &hits) != WM_OK) {
        json_decref(told);
        json_decref(rows);
        return table == NULL ? WM_OK : WM_NO_MEMORY;
    }
    bool in_error = hits.fault != TABLE_OK;
    json_object_set_new(told, "table", json_of(table_file(table)));
    add_text(told, "item", item);
    json_object_set_new(told, "in_error", json_boolean(in_error));
    for (uint32_t row = 0; row < table_row_count(table); row++) {
        json_t *one = explain_row(telling, table, row);
        if (one != NULL)
            json_array_append_new(rows, one);
    }
    json_object_set_new(told, "rows", rows);
    return json_array_append_new(telling->tables, told) == 0 ? WM_OK : WM_NO_MEMORY;
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

static json_t *explain_findings(const struct dossier *dossier)
{
    json_t *findings = json_array();

    for (uint32_t i = 0; i < dossier->finding_count; i++) {
        const struct finding *finding = &dossier->findings[i];
        json_t *one = json_object();
        struct text file = finding->rule_file, row = finding->rule_row;
        json_object_set_new(one, "effect", json_string(effect_name(finding->effect)));
        json_object_set_new(one, "finding", json_of(finding->name));
        add_text(one, "item", finding->item);
        json_object_set_new(one, "message", json_of(finding->message));
        if (file.length > 0)
            json_object_set_new(one, "rule",
                                json_sprintf("%.*s%s%.*s", (int)file.length, file.bytes,
                                             row.length > 0 ? ":" : "", (int)row.length,
                                             row.length > 0 ? row.bytes : ""));
        json_array_append_new(findings, one);
    }
    return findings;
}

static void add_counted(json_t *list, const struct item *item)
{
    json_t *line = json_object();

    json_object_set_new(line, "item", json_of(item->shown));
    json_object_set_new(line, "expected",
                        item->expected == NEED_NONE ? json_null() : json_string(need_name(item->expected)));
    if (item->scope == SCOPE_PART) {
        add_value(line, "quantity_claimed", value_number(item->quantity));
        if (item->expected != NEED_NONE)
            add_value(line, "quantity_allowed", value_number(item->quantity_allowed));
        if (item->has_price)
            add_value(line, "price_claimed", value_number(item->price));
        if (item->has_listed_price)
            add_value(line, "price_listed", value_number(item->price_listed));
        add_value(line, "quantity_counted", value_number(item->quantity_counted));
        add_value(line, "price_counted", value_number(item->price_counted));
    } else {
        add_value(line, "hours_claimed", value_number(item->hours));
        if (item->expected != NEED_NONE)
            add_value(line, "hours_allowed", value_number(item->hours_allowed));
        add_value(line, "hours_counted", value_number(item->hours_counted));
    }
    json_array_append_new(list, line);
}

static json_t *explain_money(const struct dossier *dossier)
{
    json_t *money = json_object(), *parts = json_array(), *labor = json_array();
    const struct claim *claim = &dossier->claim;

    for (uint32_t i = 0; i < dossier->part_count; i++)
        if (dossier->items[i].claimed)
            add_counted(parts, &dossier->items[i]);
    for (uint32_t i = 0; i < dossier->operation_count; i++)
        if (dossier->items[dossier->part_count + i].claimed)
            add_counted(labor, &dossier->items[dossier->part_count + i]);
    json_object_set_new(money, "parts", parts);
    if (dossier->amounts_known) {
        add_value(money, "parts_markup", value_number(dossier->dealer->parts_markup));
        json_object_set_new(money, "parts_allowed", json_money(dossier->parts_allowed_cents));
    }
    json_object_set_new(money, "parts_asked", json_money(claim->parts_amount_cents));
    json_object_set_new(money, "parts_payable", json_money(payable_parts_cents(dossier)));
    json_object_set_new(money, "labor", labor);
    if (dossier->amounts_known) {
        add_value(money, "labor_rate", value_number(dossier->dealer->labor_rate));
        json_object_set_new(money, "labor_allowed", json_money(dossier->labor_allowed_cents));
    }
    json_object_set_new(money, "labor_asked", json_money(claim->labor_amount_cents));
    json_object_set_new(money, "labor_payable", json_money(payable_labor_cents(dossier)));
    json_object_set_new(money, "other_asked", json_money(claim->other_amount_cents));
    json_object_set_new(money, "other_payable", json_money(payable_other_cents(dossier)));
    json_object_set_new(money, "total_asked", json_money(claim->total_amount_cents));
    json_object_set_new(money, "if_nothing_stood_against_it", json_money(payable_cents(dossier)));
    json_object_set_new(money, "payable", json_money(dossier->payable_cents));
    json_object_set_new(money, "paid_before", json_money(dossier->paid_before_cents));
    json_object_set_new(money, "due", json_money(dossier->due_cents));
    return money;
}

json_t *explain_dossier(const struct office_day *day, struct table_scratch *scratch, struct dossier *dossier)
{
    struct telling telling = {day->rules, scratch, dossier, json_array()};
    json_t *explanation = json_object();

    if (explanation == NULL || telling.tables == NULL)
        return NULL;
    json_object_set_new(explanation, "decision", json_string(decision_name(dossier->decision)));
    json_object_set_new(explanation, "claim", explain_claim(&dossier->claim));
    json_object_set_new(explanation, "vehicle", explain_vehicle(dossier));
    json_object_set_new(explanation, "dealer", explain_dealer(dossier));
    json_object_set_new(explanation, "approval", explain_approval(dossier));
    json_object_set_new(explanation, "facts", explain_facts(day->rules, dossier));
    int status = explain_campaign_tables(&telling);
    if (status == WM_OK)
        status = explain_checks(&telling);
    json_object_set_new(explanation, "tables", telling.tables);
    json_object_set_new(explanation, "findings", explain_findings(dossier));
    json_object_set_new(explanation, "payment", explain_money(dossier));
    if (status == WM_OK)
        return explanation;
    json_decref(explanation);
    return NULL;
}
