#include "facts/items.h"

#include "base/status.h"

/* --- Making the list --------------------------------------------------------------------------------- */

static struct item *add_item(struct dossier *dossier, enum scope scope, struct text shown, struct text key)
{
    struct item *item = &dossier->items[dossier->item_count++];

    *item = (struct item){.scope = scope, .shown = shown, .key = key};
    return item;
}

/* The items that are expected, among which claimed ones are looked for. */
struct expected_items {
    struct item *items;
    uint32_t count;
    uint32_t next;    /* claims mostly list items as the rules do: the search begins behind the last one found */
};

/* The item of this key, or NULL. */
static struct item *find_item(struct expected_items *expected, struct text key)
{
    for (uint32_t tried = 0; tried < expected->count; tried++) {
        struct item *item = &expected->items[expected->next];
        expected->next = expected->next + 1 == expected->count ? 0 : expected->next + 1;
        if (text_equal_mostly_not(item->key, key))
            return item;
    }
    return NULL;
}

static const struct campaign_part *known_part(const struct dossier *dossier, struct text key)
{
    if (dossier->campaign == NULL)
        return NULL;
    uint32_t number = text_index_find(&dossier->campaign->part_index, key);
    return number == TEXT_INDEX_NONE ? NULL : &dossier->campaign->part_list[number];
}

static void list_price(const struct dossier *dossier, const struct campaign_part *part, struct item *item)
{
    if (part != NULL)
        item->has_listed_price = campaign_price(part, dossier->claim.completed_on, &item->price_listed);
}

static void add_expected_parts(struct dossier *dossier)
{
    const struct expectation *expectation = dossier->expectation;

    for (uint32_t i = 0; expectation != NULL && i < expectation->part_count; i++) {
        const struct expected_part *part = &expectation->parts[i];
        struct item *item = add_item(dossier, SCOPE_PART, part->shown, part->key);
        item->expected = part->need;
        item->quantity_allowed = part->quantity;
        list_price(dossier, part->part, item);
    }
}

static void add_claimed_parts(struct dossier *dossier, uint32_t *ret_kits_listed)
{
    struct expected_items expected = {dossier->items, dossier->item_count, 0};

    *ret_kits_listed = 0;
    for (uint32_t i = 0; i < dossier->claim.part_count; i++) {
        const struct part_item *claimed = &dossier->claim.parts[i];
        struct item *item = find_item(&expected, claimed->key);
        const struct campaign_part *part = item != NULL ? dossier->expectation->parts[item - dossier->items].part
                                                        : known_part(dossier, claimed->key);
        if (item == NULL) {
            item = add_item(dossier, SCOPE_PART, part != NULL ? part->shown : claimed->number, claimed->key);
            list_price(dossier, part, item);
        }
        item->claimed = true;
        item->other_kit = part != NULL && part->is_kit && item->expected != NEED_KIT;
        item->quantity = claimed->quantity;
        item->has_price = claimed->has_price;
        item->price = claimed->price;
        *ret_kits_listed += part != NULL && part->is_kit;
    }
    dossier->part_count = dossier->item_count;
}

static void add_labor(struct dossier *dossier)
{
    const struct expectation *expectation = dossier->expectation;
    const struct campaign *campaign = dossier->campaign;
    uint32_t first = dossier->item_count;

    for (uint32_t i = 0; expectation != NULL && i < expectation->operation_count; i++) {
        const struct expected_operation *operation = &expectation->operations[i];
        struct item *item = add_item(dossier, SCOPE_LABOR, operation->shown, operation->key);
        item->expected = operation->need;
        item->hours_allowed = operation->hours;
        item->operation_known = true;
    }
    struct expected_items expected = {&dossier->items[first], dossier->item_count - first, 0};
    for (uint32_t i = 0; i < dossier->claim.labor_count; i++) {
        const struct labor_item *claimed = &dossier->claim.labor[i];
        struct item *item = find_item(&expected, claimed->key);
        if (item == NULL) {
            uint32_t known =
                campaign != NULL ? text_index_find(&campaign->operation_index, claimed->key) : TEXT_INDEX_NONE;
            bool is_known = known != TEXT_INDEX_NONE;
            item = add_item(dossier, SCOPE_LABOR, is_known ? campaign->operations[known] : claimed->operation,
                            claimed->key);
            item->operation_known = is_known;
        }
        item->claimed = true;
        item->hours = claimed->hours;
    }
    dossier->operation_count = dossier->item_count - first;
}

/* --- Inspections ------------------------------------------------------------------------------------- */

static bool reading_passes(const struct rules *rules, const struct inspection_test *test,
                           const struct item *item)
{
    const struct unit *unit = item->has_reading ? units_find(rules->units, item->unit) : NULL;
    __int128 numerator, denominator;

    return unit != NULL && units_convert(item->reading, unit, test->unit, &numerator, &denominator) &&
           condition_test_fraction(test->condition, numerator, denominator) == TRUTH_HOLDS;
}

/* All tests must hold. */
static bool result_is_as_expected(struct fact_worker *worker, const struct expected_inspection *expected,
                                  const struct item *item)
{
    bool holds = true;

    for (uint32_t i = 0; i < expected->test_count && holds; i++) {
        const struct inspection_test *test = expected->tests[i];
        if (test->unit != NULL)
            holds = reading_passes(worker->day->rules, test, item);
        else
            holds = condition_test(test->condition, value_text(item->result), worker->scratch) == TRUTH_HOLDS;
    }
    return holds;
}

static void add_inspections(struct fact_worker *worker, struct dossier *dossier)
{
    const struct expectation *expectation = dossier->expectation;
    const struct campaign *campaign = dossier->campaign;
    uint32_t first = dossier->item_count;

    for (uint32_t i = 0; expectation != NULL && i < expectation->inspection_count; i++) {
        const struct expected_inspection *inspection = &expectation->inspections[i];
        add_item(dossier, SCOPE_INSPECTION, inspection->shown, inspection->key)->expected = inspection->need;
    }
    struct expected_items expected = {&dossier->items[first], dossier->item_count - first, 0};
    for (uint32_t i = 0; i < dossier->claim.inspection_count; i++) {
        const struct inspection_item *claimed = &dossier->claim.inspections[i];
        struct item *item = find_item(&expected, claimed->key);
        bool is_expected = item != NULL;
        if (!is_expected) {
            uint32_t known =
                campaign != NULL ? text_index_find(&campaign->inspection_index, claimed->key) : TEXT_INDEX_NONE;
            item = add_item(dossier, SCOPE_INSPECTION,
                            known != TEXT_INDEX_NONE ? campaign->inspection_items[known] : claimed->item,
                            claimed->key);
        }
        item->claimed = true;
        item->result = claimed->result;
        item->has_reading = claimed->has_reading;
        item->reading = claimed->reading;
        item->unit = claimed->unit;
        if (is_expected)
            item->as_expected = value_boolean(
                result_is_as_expected(worker, &expectation->inspections[item - &dossier->items[first]], item));
    }
    dossier->inspection_count = dossier->item_count - first;
}

/* --- Sums (contract section 6) ----------------------------------------------------------------------- */

static int64_t smaller(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

/* What of a part is paid: the smaller quantity at the lower price. */
static void count_part(struct item *item)
{
    if (!item->claimed || item->expected == NEED_NONE)
        return;
    item->quantity_counted = smaller(item->quantity, item->quantity_allowed);
    if (item->has_price && item->has_listed_price)
        item->price_counted = smaller(item->price, item->price_listed);
    else
        item->price_counted = item->has_price ? item->price : item->has_listed_price ? item->price_listed : 0;
}

/* Sum of quantity x price, times (1 + markup / 100), rounded to cents half away from zero. */
static int64_t parts_allowed_cents(const struct dossier *dossier)
{
    const __int128 whole_percent = (__int128)100 * DECIMAL_ONE;
    __int128 sum = 0, product; /* in 10^-12 of the currency */

    for (uint32_t i = 0; i < dossier->part_count; i++) {
        const struct item *item = &dossier->items[i];
        if (__builtin_add_overflow(sum, (__int128)item->quantity_counted * item->price_counted, &sum))
            return INT64_MAX;
    }
    if (__builtin_mul_overflow(sum, whole_percent + dossier->dealer->parts_markup, &product))
        return INT64_MAX;
    return round_half_away(product, whole_percent * (DECIMAL_ONE * DECIMAL_CENT));
}

/* Sum of hours x the dealer's rate, rounded alike. */
static int64_t labor_allowed_cents(const struct dossier *dossier)
{
    __int128 hours = 0, product;

    for (uint32_t i = 0; i < dossier->operation_count; i++)
        hours += dossier->items[dossier->part_count + i].hours_counted;
    if (__builtin_mul_overflow(hours, (__int128)dossier->dealer->labor_rate, &product))
        return INT64_MAX;
    return round_half_away(product, (__int128)DECIMAL_ONE * DECIMAL_CENT);
}

static void establish_sums(const struct rules *rules, struct dossier *dossier, uint32_t kits_listed)
{
    const struct claim *claim = &dossier->claim;
    struct value *facts = dossier->facts;

    for (uint32_t i = 0; i < dossier->part_count; i++)
        count_part(&dossier->items[i]);
    for (uint32_t i = 0; i < dossier->operation_count; i++) {
        struct item *item = &dossier->items[dossier->part_count + i];
        if (item->claimed && item->expected != NEED_NONE)
            item->hours_counted = smaller(item->hours, item->hours_allowed);
        dossier->hours_claimed = decimal_sum(dossier->hours_claimed, item->hours);
    }
    fact_put(rules, facts, FACT_amounts_sum,
             value_money(decimal_sum(decimal_sum(claim->parts_amount_cents, claim->labor_amount_cents),
                               claim->other_amount_cents)));
    fact_put(rules, facts, FACT_hours_claimed, value_number(dossier->hours_claimed));
    fact_put(rules, facts, FACT_hours_allowed,
             value_number(dossier->expectation != NULL ? dossier->expectation->hours_allowed : 0));
    fact_put(rules, facts, FACT_kits_listed, value_integer(kits_listed));
    dossier->amounts_known = dossier->dealer != NULL;
    if (!dossier->amounts_known)
        return;
    dossier->parts_allowed_cents = parts_allowed_cents(dossier);
    dossier->labor_allowed_cents = labor_allowed_cents(dossier);
    fact_put(rules, facts, FACT_parts_allowed_amount, value_money(dossier->parts_allowed_cents));
    fact_put(rules, facts, FACT_labor_allowed_amount, value_money(dossier->labor_allowed_cents));
}

int establish_items(struct fact_worker *worker, struct arena *arena, struct dossier *dossier)
{
    const struct expectation *expectation = dossier->expectation;
    const struct claim *claim = &dossier->claim;
    size_t most = (size_t)claim->part_count + claim->labor_count + claim->inspection_count;
    uint32_t kits_listed;

    if (expectation != NULL)
        most += (size_t)expectation->part_count + expectation->operation_count + expectation->inspection_count;
    dossier->items = arena_bytes(arena, most * sizeof *dossier->items);
    if (dossier->items == NULL)
        return WM_NO_MEMORY;
    add_expected_parts(dossier);
    add_claimed_parts(dossier, &kits_listed);
    add_labor(dossier);
    add_inspections(worker, dossier);
    establish_sums(worker->day->rules, dossier, kits_listed);
    return WM_OK;
}

/* --- An item's facts --------------------------------------------------------------------------------- */

static struct value number_if(bool has, int64_t millionths)
{
    return has ? value_number(millionths) : value_null();
}

static void facts_of_part(const struct rules *rules, const struct item *item, struct value *facts)
{
    fact_put(rules, facts, FACT_part, value_text(item->shown));
    fact_put(rules, facts, FACT_other_kit, value_boolean(item->other_kit));
    fact_put(rules, facts, FACT_quantity, number_if(item->claimed, item->quantity));
    fact_put(rules, facts, FACT_quantity_allowed,
             number_if(item->expected != NEED_NONE, item->quantity_allowed));
    fact_put(rules, facts, FACT_price, number_if(item->has_price, item->price));
    fact_put(rules, facts, FACT_price_listed, number_if(item->has_listed_price, item->price_listed));
}

static void facts_of_labor(const struct rules *rules, const struct item *item, struct value *facts)
{
    fact_put(rules, facts, FACT_operation, value_text(item->shown));
    fact_put(rules, facts, FACT_operation_known, value_boolean(item->operation_known));
    fact_put(rules, facts, FACT_hours, number_if(item->claimed, item->hours));
    fact_put(rules, facts, FACT_operation_hours_allowed,
             number_if(item->expected != NEED_NONE, item->hours_allowed));
    fact_put(rules, facts, FACT_hours_in_tenths,
             item->claimed ? value_boolean(item->hours % (DECIMAL_ONE / 10) == 0) : value_null());
}

static void facts_of_inspection(const struct rules *rules, const struct item *item, struct value *facts)
{
    fact_put(rules, facts, FACT_inspection, value_text(item->shown));
    fact_put(rules, facts, FACT_result, value_text_or_null(item->result));
    fact_put(rules, facts, FACT_reading, number_if(item->has_reading, item->reading));
    fact_put(rules, facts, FACT_unit, value_text_or_null(item->unit));
    fact_put(rules, facts, FACT_as_expected, item->as_expected);
}

void facts_of_item(const struct rules *rules, const struct item *item, struct value *facts)
{
    fact_put(rules, facts, FACT_claimed, value_boolean(item->claimed));
    fact_put(rules, facts, FACT_expected, value_text_or_null(need_text(item->expected)));
    if (item->scope == SCOPE_PART)
        facts_of_part(rules, item, facts);
    else if (item->scope == SCOPE_LABOR)
        facts_of_labor(rules, item, facts);
    else
        facts_of_inspection(rules, item, facts);
}
