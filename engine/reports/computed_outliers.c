/* Which dealers stand out, by each measure of rules/outliers.csv. */
#include "base/status.h"
#include "ledger/outliers.h"
#include "rules/rules.h"
#include "reports/report.h"

static const char HEADER[] =
    "-- title: Dealers that stand out\n"
    "-- meaning: Each dealer's share of claims by each measure of rules/outliers.csv, against the share of all "
    "dealers.\n"
    "-- parameter: since date =; claims received on this day or later\n"
    "-- parameter: until date =; claims received on this day or earlier\n"
    "-- parameter: campaign text =; claims of this campaign alone\n"
    "-- parameter: measure text =; the measure whose dealers are listed (else the first of the file)\n"
    "-- section: standing_out\n"
    "-- title: Who stands out\n"
    "-- meaning: Dealers beyond the far limit, by every measure, with the basis that each must be told.\n"
    "-- column: dealer text; dealer code\n"
    "-- column: measure text; the measure\n"
    "-- column: counted integer; claims of the dealer that count\n"
    "-- column: of integer \"Of\"; of so many\n"
    "-- column: rate percent; the dealer's rate\n"
    "-- column: limit percent; the limit that it passes\n"
    "-- column: basis text; why the dealer stands out\n"
    "-- section: measures\n"
    "-- title: Measures\n"
    "-- meaning: What is compared, and how much dealers spread.\n"
    "-- column: measure text; name of the measure\n"
    "-- column: title text; what it counts\n"
    "-- column: counted integer; claims of all dealers that count\n"
    "-- column: of integer \"Of\"; of so many\n"
    "-- column: rate percent; the rate of all dealers together\n"
    "-- column: dealers integer; how many dealers are compared\n"
    "-- column: spread decimal; 1: dealers differ as chance makes them; the limits are widened by its square "
    "root\n"
    "-- column: standing_out integer; how many dealers stand out\n"
    "-- section: dealers\n"
    "-- title: All dealers by one measure\n"
    "-- meaning: Each dealer against the limits for its number of claims. The near limits are passed by chance "
    "now and "
    "then; only the far ones make a dealer stand out.\n"
    "-- column: dealer text; dealer code\n"
    "-- column: claims integer; how many claims are compared\n"
    "-- column: counted integer; how many of them count\n"
    "-- column: rate percent; counted of the claims\n"
    "-- column: score decimal \"z-score\"; how many standard errors the rate lies from that of all, before "
    "widening\n"
    "-- column: all percent \"All dealers\"; the rate of all dealers together\n"
    "-- column: low_far percent; the lower far limit\n"
    "-- column: low_near percent; the lower near limit\n"
    "-- column: high_near percent; the upper near limit\n"
    "-- column: high_far percent; the upper far limit\n"
    "-- column: stands_out text; above or below, where the dealer stands out\n"
    "-- chart: points x=claims y=rate label=dealer lines=all,low_far,low_near,high_near,high_far\n";

struct page {
    const struct report_run *run;
    struct outlier_scope scope;
    struct arena arena;
    const struct measures *measures;
    struct comparison *comparisons;
    uint32_t chosen; /* whose dealers are listed */
};

/* A number of millionths as people read it. */
static struct value two_places(int64_t millionths)
{
    return value_money(round_half_away(millionths, DECIMAL_CENT));
}

static int add_standing(struct page *page, const struct comparison *comparison,
                        const struct compared_dealer *dealer)
{
    struct report_result *result = page->run->result;
    struct text basis = outlier_basis(&page->arena, comparison, dealer, &page->scope, page->run->today);
    const struct value cells[] = {value_text(dealer->dealer),
                                  value_text(comparison->measure->name),
                                  value_integer(dealer->claims.count),
                                  value_integer(dealer->claims.of),
                                  value_number(dealer->rate),
                                  value_number(dealer->beyond > 0 ? dealer->high_far : dealer->low_far),
                                  value_text(basis)};

    if (basis.bytes == NULL)
        return WM_NO_MEMORY;
    /* whole in front of the table too, where a table cuts what is long */
    int status = report_add_note(result, report_table(result, "standing_out"), false, "%.*s: %.*s",
                                 TEXT_ARGUMENTS(dealer->dealer), TEXT_ARGUMENTS(basis));
    return status == WM_OK ? report_add_row(result, report_table(result, "standing_out"), cells) : status;
}

static int add_measure(struct page *page, const struct comparison *comparison)
{
    struct report_result *result = page->run->result;
    const struct value cells[] = {value_text(comparison->measure->name),
                                  value_text(comparison->measure->title),
                                  value_integer(comparison->all.count),
                                  value_integer(comparison->all.of),
                                  comparison->all.of > 0 ? value_number(comparison->rate) : value_null(),
                                  value_integer(comparison->dealer_count),
                                  two_places(comparison->phi),
                                  value_integer(comparison->standing_out)};
    int status = report_add_row(result, report_table(result, "measures"), cells);

    for (uint32_t i = 0; status == WM_OK && i < comparison->dealer_count; i++)
        if (comparison->dealers[i].stands_out)
            status = add_standing(page, comparison, &comparison->dealers[i]);
    return status;
}

static int add_dealer(struct page *page, const struct comparison *comparison,
                      const struct compared_dealer *dealer)
{
    struct report_result *result = page->run->result;
    const struct value cells[] = {
        value_text(dealer->dealer),
        value_integer(dealer->claims.of),
        value_integer(dealer->claims.count),
        value_number(dealer->rate),
        two_places(dealer->z),
        value_number(comparison->rate),
        value_number(dealer->low_far),
        value_number(dealer->low_near),
        value_number(dealer->high_near),
        value_number(dealer->high_far),
        dealer->stands_out ? value_text(dealer->beyond > 0 ? TEXT("above") : TEXT("below")) : value_null()};

    return report_add_row(result, report_table(result, "dealers"), cells);
}

static int add_dealers(struct page *page)
{
    struct report_result *result = page->run->result;
    const struct comparison *comparison = &page->comparisons[page->chosen];
    int status =
        report_add_note(result, report_table(result, "dealers"), false, "%.*s: %.*s (--measure %.*s).",
                        TEXT_ARGUMENTS(comparison->measure->name), TEXT_ARGUMENTS(comparison->measure->title),
                        TEXT_ARGUMENTS(comparison->measure->name));

    for (uint32_t i = 0; status == WM_OK && i < comparison->dealer_count; i++)
        status = add_dealer(page, comparison, &comparison->dealers[i]);
    return status;
}

static int add_all(struct page *page)
{
    int status = report_add_note(page->run->result, NULL, false,
                                 "Standing out is a reason to look, and proves nothing. Limits are those of "
                                 "the exact binomial distribution, widened "
                                 "where dealers differ by more than chance, so that a small dealer with a few "
                                 "bad claims is not accused. A dealer "
                                 "that is picked because it stands out must be told why (for example N.Y. VTL "
                                 "section 465(4); counsel decides): "
                                 "`witnessmark outliers record` keeps the basis for good.");

    for (uint32_t i = 0; status == WM_OK && i < page->measures->count; i++)
        status = add_measure(page, &page->comparisons[i]);
    return status == WM_OK ? add_dealers(page) : status;
}

static int choose_measure(struct page *page)
{
    struct text name = value_as_text(report_value(page->run->result, "measure"));
    const struct place nowhere = {{NULL, 0}, 0, 0};

    if (page->measures->count == 0) {
        diag_error(page->run->sink, nowhere,
                   "the rules have no outliers.csv with a measure; write there by what dealers are compared");
        return WM_BAD_INPUT;
    }
    while (name.length > 0 && page->chosen < page->measures->count &&
           !text_equal(page->measures->list[page->chosen].name, name))
        page->chosen++;
    if (page->chosen < page->measures->count)
        return WM_OK;
    diag_error(page->run->sink, nowhere, "no measure \"%.*s\" in outliers.csv; the first there is \"%.*s\"",
               TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(page->measures->list[0].name));
    return WM_BAD_INPUT;
}

static int32_t day_or_none(struct value day)
{
    return day.type == VALUE_DATE ? (int32_t)day.number : DAY_NONE;
}

static int run_outliers(const struct report_run *run)
{
    struct page page = {.run = run,
                        .scope = {day_or_none(report_value(run->result, "since")),
                                  day_or_none(report_value(run->result, "until")),
                                  value_as_text(report_value(run->result, "campaign"))},
                        .measures = &run->rules->measures};
    const struct ledger_point now = {INT64_MAX, INT64_MAX};
    int status = choose_measure(&page);

    if (status == WM_OK)
        status = ledger_compare(run->office, page.measures, &page.scope, now, &page.arena, &page.comparisons);
    if (status == WM_OK)
        status = add_all(&page);
    arena_free(&page.arena);
    return status;
}

const struct computed_report REPORT_OUTLIERS = {"outliers", HEADER, true, run_outliers};
