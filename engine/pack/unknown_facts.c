#include "pack/unknown_facts.h"

#include "base/status.h"
#include "tables/cell.h"

static const struct {
    enum fact_id fact;
    unsigned reasons;
} UNKNOWN_FACTS[] = {
#define UNKNOWN_FACT(name, why) {FACT_##name, why},
    UNKNOWN_FACT_LIST(UNKNOWN_FACT)
#undef UNKNOWN_FACT
};

enum { UNKNOWN_FACT_COUNT = sizeof UNKNOWN_FACTS / sizeof *UNKNOWN_FACTS };

/* --- At a claim -------------------------------------------------------------------------------------- */

static bool lacks_campaign(const struct pack *pack, const struct dossier *dossier)
{
    return pack_head(pack)->some_campaigns && dossier->campaign == NULL;
}

static void put_null(const struct rules *rules, struct dossier *dossier, unsigned reasons)
{
    for (int i = 0; i < UNKNOWN_FACT_COUNT; i++)
        if (UNKNOWN_FACTS[i].reasons & reasons)
            fact_put(rules, dossier->facts, UNKNOWN_FACTS[i].fact, value_null());
}

/* What is complete is known for every dealer's claim; but without the dealer's own claims nobody can say whose
 * it is (unless it stands in the same file, with its day), and a corrected claim could be that very claim. */
static void doubt_completion(const struct rules *rules, struct dossier *dossier)
{
    int day = rules_slot(rules, FACT_earlier_completed_on);

    if (day < 0 || dossier->facts[day].type == VALUE_NULL) {
        fact_put(rules, dossier->facts, FACT_earlier_dealer_same, value_null());
        if (dossier->claim.revision > 0)
            fact_put(rules, dossier->facts, FACT_earlier_outcome, value_null());
    }
}

static int withhold(void *context, struct dossier *dossier)
{
    const struct pack_withholding *withholding = context;

    if (!pack_is_for(withholding->pack, dossier->claim.cells[COLUMN_DEALER])) {
        put_null(withholding->rules, dossier, UNKNOWN_DEALER);
        doubt_completion(withholding->rules, dossier);
        dossier->paid_before_cents = 0;
    }
    if (lacks_campaign(withholding->pack, dossier))
        put_null(withholding->rules, dossier, UNKNOWN_CAMPAIGN);
    return WM_OK;
}

void pack_withhold(struct pack_withholding *withholding, struct pack *pack, const struct rules *rules)
{
    *withholding = (struct pack_withholding){pack, rules, {withholding, withhold}};
}

static bool has_other(const struct completion *list, uint32_t count)
{
    for (uint32_t i = 0; i < count; i++)
        if (!list[i].own)
            return true;
    return false;
}

int pack_unknown_of(struct pack *pack, const struct dossier *dossier, struct arena *arena,
                    unsigned *ret_reasons)
{
    struct completion *list;
    uint32_t count;

    *ret_reasons = 0;
    if (dossier->claim.unreadable)
        return WM_OK;
    int status = pack_completions(pack, dossier->claim.vin, arena, &list, &count);
    if (status != WM_OK)
        return status;
    if (has_other(list, count))
        *ret_reasons |= UNKNOWN_OTHERS;
    if (!pack_is_for(pack, dossier->claim.cells[COLUMN_DEALER]))
        *ret_reasons |= UNKNOWN_DEALER;
    else if (dossier->claim.cells[COLUMN_APPROVAL].length > 0 && dossier->approval == NULL)
        *ret_reasons |= UNKNOWN_APPROVAL;
    if (lacks_campaign(pack, dossier))
        *ret_reasons |= UNKNOWN_CAMPAIGN;
    return WM_OK;
}

/* --- What a row asks for ----------------------------------------------------------------------------- */

/* The reasons, among these, for which the fact in this slot is not known. */
static unsigned reasons_of_slot(const struct rules *rules, uint32_t slot, unsigned among)
{
    for (int i = 0; i < UNKNOWN_FACT_COUNT; i++)
        if (rules_slot(rules, UNKNOWN_FACTS[i].fact) == (int)slot)
            return UNKNOWN_FACTS[i].reasons & among;
    return 0;
}

static unsigned reasons_of_operand(const struct rules *rules, const struct operand *operand, unsigned among)
{
    return operand->fact != NULL ? reasons_of_slot(rules, operand->fact->ref.slot, among) : 0;
}

static unsigned reasons_of_cell(const struct rules *rules, const struct table *table, uint32_t condition,
                                uint32_t row, unsigned among)
{
    const struct cell *cell = table_condition_test(table, condition, row);
    unsigned reasons = 0;

    if (cell->any)
        return 0;
    for (uint32_t i = 0; i < cell->test_count; i++) {
        const struct test *test = &cell->tests[i];
        if (test->kind == TEST_RANGE && test->has_low)
            reasons |= reasons_of_operand(rules, &test->low, among);
        if (test->kind == TEST_EQUAL || (test->kind == TEST_RANGE && test->has_high))
            reasons |= reasons_of_operand(rules, &test->high, among);
    }
    return reasons | reasons_of_slot(rules, table_condition_fact(table, condition).slot, among);
}

static unsigned reasons_of_row(const struct rules *rules, const struct table *table, uint32_t row,
                               unsigned among)
{
    unsigned reasons = 0;

    for (uint32_t c = 0; c < table_condition_count(table); c++)
        reasons |= reasons_of_cell(rules, table, c, row, among);
    return reasons;
}

/* --- All findings ------------------------------------------------------------------------------------ */

/* How far one row's hit reaches to others. */
enum reach { REACH_ITSELF, REACH_BEHIND, REACH_TABLE };

static enum reach reach_of(enum hit_policy policy)
{
    switch (policy) {
    case HIT_COLLECT:
    case HIT_RULE_ORDER:
    case HIT_OUTPUT_ORDER: return REACH_ITSELF;
    case HIT_FIRST: return REACH_BEHIND;
    default: return REACH_TABLE;
    }
}

static unsigned reasons_of_table(const struct rules *rules, const struct table *table, unsigned among)
{
    unsigned reasons = 0;

    for (uint32_t row = 0; row < table_row_count(table); row++)
        reasons |= reasons_of_row(rules, table, row, among);
    return reasons;
}

static int take_row(const struct check *check, uint32_t row, unsigned reasons, take_office_finding *take,
                    void *taker)
{
    const struct office_finding finding = {check->flags[row].finding, table_file(check->table),
                                           table_row_name(check->table, row), reasons};

    return reasons == 0 || finding.finding.length == 0 ? WM_OK : take(taker, &finding);
}

static int findings_of_check(const struct rules *rules, const struct check *check, unsigned among,
                             take_office_finding *take, void *taker)
{
    const struct table *table = check->table;
    enum hit_policy policy = table_policy(table);
    enum reach reach = reach_of(policy);
    unsigned reached = reach == REACH_TABLE ? reasons_of_table(rules, table, among) : 0;
    int status = WM_OK;

    for (uint32_t row = 0; status == WM_OK && row < table_row_count(table); row++) {
        unsigned reasons = reached | reasons_of_row(rules, table, row, among);
        if (reach == REACH_BEHIND)
            reached = reasons;
        status = take_row(check, row, reasons, take, taker);
    }
    if (status == WM_OK && reached != 0 && (policy == HIT_UNIQUE || policy == HIT_ANY))
        status = take(taker,
                      &(struct office_finding){TEXT("rules-ambiguous"), table_file(table), TEXT(""), reached});
    return status;
}

int office_findings(const struct rules *rules, unsigned reasons, take_office_finding *take, void *taker)
{
    int status = WM_OK;

    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; status == WM_OK && i < rules->check_count[scope]; i++)
            status = findings_of_check(rules, &rules->checks[scope][i], reasons, take, taker);
    return status;
}

/* --- Those that one claim can still get -------------------------------------------------------------- */

static bool has_finding(const struct dossier *dossier, struct text name)
{
    for (uint32_t i = 0; i < dossier->finding_count; i++)
        if (text_equal(dossier->findings[i].name, name))
            return true;
    return false;
}

/* Whether every condition that asks for known facts holds. */
static bool can_hit(const struct rules *rules, const struct dossier *dossier, const struct table *table,
                    uint32_t row, unsigned among, struct pattern_work *work)
{
    for (uint32_t c = 0; c < table_condition_count(table); c++) {
        struct fact_ref fact = table_condition_fact(table, c);
        struct evaluation evaluation = {.facts = dossier->facts, .work = work, .any_case = fact.any_case};
        if (reasons_of_cell(rules, table, c, row, among) != 0)
            continue;
        if (cell_test_value(table_condition_test(table, c, row), dossier->facts[fact.slot], &evaluation) !=
            TRUTH_HOLDS)
            return false;
    }
    return true;
}

int office_findings_of(const struct rules *rules, const struct dossier *dossier, unsigned reasons,
                       take_office_finding *take, void *taker)
{
    struct pattern_work *work = NULL;
    int status = pattern_work_new(&work);

    for (uint32_t i = 0; status == WM_OK && i < rules->check_count[SCOPE_CLAIM]; i++) {
        const struct check *check = &rules->checks[SCOPE_CLAIM][i];
        for (uint32_t row = 0; status == WM_OK && row < table_row_count(check->table); row++) {
            unsigned why = reasons_of_row(rules, check->table, row, reasons);
            if (why != 0 && !has_finding(dossier, check->flags[row].finding) &&
                can_hit(rules, dossier, check->table, row, reasons, work))
                status = take_row(check, row, why, take, taker);
        }
    }
    pattern_work_free(work);
    return status;
}
