/* A campaign's completion report for the regulator, item by item: for a defect those of 49 CFR 573.7(b), for
 * emissions those of 40 CFR 1068.525(b). The items' numbers and wording are from memory of both texts. */
#include "base/buffer.h"
#include "base/status.h"
#include "regulator/quarterly.h"
#include "reports/report.h"

static const char HEADER[] =
    "-- title: Completion report for the regulator\n"
    "-- meaning: One campaign's figures at the end of a quarter, as they stood then, item by item.\n"
    "-- parameter: campaign text; the campaign\n"
    "-- parameter: quarter text; the quarter, as 2026-Q1\n"
    "-- section: figures\n"
    "-- title: Items\n"
    "-- meaning: Each item of the report; numbers are cumulative.\n"
    "-- column: item text; number of the item in the regulation\n"
    "-- column: what text \"What\"; what is counted or said\n"
    "-- column: vehicles integer; how many\n"
    "-- column: words text \"In words\"; what is said and no number\n"
    "-- section: rates\n"
    "-- title: Completion rates\n"
    "-- meaning: No law defines one formula, so both are given.\n"
    "-- column: rate text; which rate\n"
    "-- column: remedied integer; vehicles repaired, or inspected and found not to need it\n"
    "-- column: of integer \"Of\"; so many vehicles\n"
    "-- column: completion percent; remedied of these\n"
    "-- section: beside\n"
    "-- title: Beside the report\n"
    "-- meaning: What the items leave out; for the office, not for filing.\n"
    "-- column: what text \"What\"; which vehicles\n"
    "-- column: vehicles integer; how many\n"
    "-- section: due\n"
    "-- title: Which report, and when\n"
    "-- meaning: By rules/filings.csv and the federal holidays (5 U.S.C. 6103).\n"
    "-- column: report text; which of the reports of this campaign\n"
    "-- column: quarter text; the last quarter that it covers\n"
    "-- column: due_on date; the day by which it is to be filed\n"
    "-- column: submitted_on date \"Filed on\"; the day on which the office says it filed it\n"
    "-- column: source text; where the figures come from, an example\n"
    "-- section: flat\n"
    "-- title: Line of the flat file\n"
    "-- meaning: The report as one line of the tab-delimited file in which the regulator publishes reports "
    "(order of "
    "columns from memory).\n"
    "-- column: field text; name of the column\n"
    "-- column: value text; what stands in it\n";

struct page {
    const struct report_run *run;
    struct report_table *table;
    struct quarterly quarterly;
    struct arena arena;
    int status; /* of the first row or note that failed */
};

static const char *day_words(int32_t day, char room[DATE_ROOM])
{
    date_write(day, room);
    return room;
}

static void note(struct page *page, const char *words)
{
    if (page->status == WM_OK)
        page->status = report_add_note(page->run->result, NULL, false, "%s", words);
}

static void row(struct page *page, const struct value *cells)
{
    if (page->status == WM_OK)
        page->status = report_add_row(page->run->result, page->table, cells);
}

/* number -1: none. */
static void item(struct page *page, const char *number, const char *what, int64_t vehicles, struct text words)
{
    const struct value cells[] = {value_text(text_of(number)), value_text(text_of(what)),
                                  vehicles < 0 ? value_null() : value_integer(vehicles),
                                  value_text_or_null(words)};

    row(page, cells);
}

static void day_item(struct page *page, const char *number, const char *what, int32_t day)
{
    char room[DATE_ROOM];

    item(page, number, what, -1, day == DAY_NONE ? TEXT("not yet") : text_of(day_words(day, room)));
}

/* --- Items of 49 CFR 573.7(b) ----------------------------------------------------------------- */

static int32_t notice_end(const struct quarterly *quarterly)
{
    int32_t ended = quarterly->campaign->notice_ended_on;

    return ended != DAY_NONE && ended <= quarterly->as_of ? ended : DAY_NONE;
}

static void number_of_campaign(struct page *page, const char *number)
{
    const struct campaign *campaign = page->quarterly.campaign;
    struct text words =
        campaign->regulator_number.length > 0
            ? text_format(&page->arena, "%.*s (the maker's own: %.*s)",
                          TEXT_ARGUMENTS(campaign->regulator_number), TEXT_ARGUMENTS(campaign->id))
            : text_format(&page->arena, "none in campaign.csv; the maker's own: %.*s",
                          TEXT_ARGUMENTS(campaign->id));

    if (words.bytes == NULL)
        page->status = WM_NO_MEMORY;
    item(page, number, "Number of the campaign", -1, words);
}

static void change_of_number(struct page *page, const char *number)
{
    const struct quarterly *quarterly = &page->quarterly;
    struct text explanation = quarterly->said.explanation;
    char before[QUARTER_ROOM];

    if (!quarterly_has_changed(quarterly))
        return;
    quarter_write(quarterly->before_quarter, before);
    struct text words =
        text_format(&page->arena, "It was %lld in the report for %s. Explanation: %.*s",
                    (long long)quarterly->before.involved, before,
                    TEXT_ARGUMENTS(explanation.length > 0 ? explanation : TEXT("none recorded")));
    if (words.bytes == NULL)
        page->status = WM_NO_MEMORY;
    /* whole in front of the table too, where a table cuts what is long */
    if (page->status == WM_OK)
        page->status = report_add_note(page->run->result, page->table, false,
                                       "Change of the number involved, now %lld: %s",
                                       (long long)quarterly->now.involved, words.bytes);
    item(page, number, "Change of the number involved", -1, words);
}

static void unreachable(struct page *page, const char *number, const char *const names[UNREACHABLE_KINDS],
                        const char *other, const char *all)
{
    const struct quarterly *quarterly = &page->quarterly;
    int64_t others = quarterly->said.unreachable_other;

    for (int kind = 0; kind < UNREACHABLE_KINDS; kind++)
        item(page, number, names[kind], quarterly->now.unreachable[kind], TEXT(""));
    item(page, number, other, others > 0 ? others : 0, quarterly->said.other_reason);
    item(page, number, all, quarterly_unreachable(quarterly), TEXT(""));
}

static void items_of_defect(struct page *page)
{
    static const char *const KINDS[UNREACHABLE_KINDS] = {"Unreachable: export", "Unreachable: theft",
                                                         "Unreachable: scrapping",
                                                         "Unreachable: failure to receive notification"};
    const struct quarterly *quarterly = &page->quarterly;

    number_of_campaign(page, "573.7(b)(1)");
    day_item(page, "573.7(b)(2)", "Notification began", quarterly->campaign->notice_began_on);
    day_item(page, "573.7(b)(2)", "Notification was completed", notice_end(quarterly));
    item(page, "573.7(b)(3)", "Vehicles involved", quarterly->now.involved, TEXT(""));
    change_of_number(page, "573.7(b)(3)");
    item(page, "573.7(b)(4)", "Inspected and repaired", quarterly->now.repaired, TEXT(""));
    item(page, "573.7(b)(4)", "Inspected and found not to need repair", quarterly->now.inspected, TEXT(""));
    unreachable(page, "573.7(b)(5)", KINDS, "Unreachable: other reasons", "Unreachable in all");
    item(page, "573.7(b)(6)", "Items returned before their first sale", -1,
         TEXT("asked of makers of equipment; this campaign is of vehicles"));
}

/* --- Items of 40 CFR 1068.525(b) -------------------------------------------------------------- */

static struct text unless_said(int64_t number)
{
    return number < 0 ? TEXT("not recorded; say it with `witnessmark load notices`") : TEXT("");
}

static void items_of_emissions(struct page *page)
{
    static const char *const KINDS[UNREACHABLE_KINDS] = {"Unavailable: exported", "Unavailable: stolen",
                                                         "Unavailable: retired",
                                                         "Unavailable: owner not reached by the notice"};
    const struct quarterly *quarterly = &page->quarterly;
    const struct notice *said = &quarterly->said;
    int64_t waiting = said->awaiting_repair > 0 ? said->awaiting_repair : 0;

    number_of_campaign(page, "1068.525(b)");
    day_item(page, "1068.525(b)(1)", "Notification began", quarterly->campaign->notice_began_on);
    day_item(page, "1068.525(b)(1)", "Notification was completed", notice_end(quarterly));
    item(page, "1068.525(b)(2)", "Notices sent", said->notices_sent, unless_said(said->notices_sent));
    item(page, "1068.525(b)(3)", "Estimated to need the remedy", said->estimated, unless_said(said->estimated));
    item(page, "1068.525(b)(3)", "Involved, by the eligibility table", quarterly->now.involved, TEXT(""));
    change_of_number(page, "1068.525(b)(3)");
    item(page, "1068.525(b)(4)", "Inspected", quarterly_inspected(quarterly), TEXT(""));
    item(page, "1068.525(b)(5)", "Inspected and in need of repair", quarterly->now.repaired + waiting,
         TEXT(""));
    item(page, "1068.525(b)(6)", "Repaired", quarterly->now.repaired, TEXT(""));
    unreachable(page, "1068.525(b)(7)", KINDS, "Unavailable: other reasons", "Unavailable in all");
    item(page, "1068.525(b)(8)", "Disqualified", said->disqualified, unless_said(said->disqualified));
}

/* --- The other sections ----------------------------------------------------------------------- */

static void rate_row(struct page *page, const char *which, int64_t of)
{
    int64_t remedied = quarterly_remedied(&page->quarterly);
    const struct value cells[] = {value_text(text_of(which)), value_integer(remedied), value_integer(of),
                                  of > 0 ? value_number(round_half_away((__int128)remedied * DECIMAL_ONE, of))
                                         : value_null()};

    row(page, cells);
}

static void rates(struct page *page)
{
    page->table = report_table(page->run->result, "rates");
    rate_row(page, "Remedied of all involved", page->quarterly.now.involved);
    rate_row(page, "Remedied of those involved, less unreachable and removed",
             quarterly_reachable(&page->quarterly));
}

static void beside(struct page *page)
{
    const struct quarterly *quarterly = &page->quarterly;
    const struct completion *now = &quarterly->now;
    const struct {
        const char *what;
        int64_t vehicles;
    } rows[] = {
        {"Unsold, counted as involved", now->unsold},
        {"Unsold and remedied, counted as remedied", now->unsold_remedied},
        {"Not remedied: a claim waits for the office's decision", now->held},
        {"Not remedied: what was paid was taken back", now->taken_back},
        {"Remedied, but not among those involved", now->not_involved},
        {"Removed from the campaign, as the office says", quarterly_removed(quarterly)},
        {"Inspected and waiting for repair, as the office says",
         quarterly->said.awaiting_repair > 0 ? quarterly->said.awaiting_repair : 0},
        {"Not decided: the eligibility table is in error for them", now->undecided},
    };

    page->table = report_table(page->run->result, "beside");
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct value cells[] = {value_text(text_of(rows[i].what)), value_integer(rows[i].vehicles)};
        row(page, cells);
    }
}

static void due(struct page *page)
{
    const struct quarterly *quarterly = &page->quarterly;
    const struct filing *filing = quarterly->filing;
    const struct due_report *report = &quarterly->report;
    char quarter[QUARTER_ROOM];
    struct text which = TEXT("none of this campaign's reports ends with this quarter");

    page->table = report_table(page->run->result, "due");
    if (quarterly->is_due)
        which = text_format(&page->arena, "%s report %d of %d", report->annual ? "annual" : "quarterly",
                            report->annual ? report->number - filing->quarters : report->number,
                            report->annual ? filing->annual_reports : filing->quarters);
    if (which.bytes == NULL)
        page->status = WM_NO_MEMORY;
    const struct value cells[] = {
        value_text(which), value_text((struct text){quarter, quarter_write(quarterly->quarter, quarter)}),
        quarterly->is_due ? value_date(report->due_on) : value_null(),
        quarterly->said.submitted_on != DAY_NONE ? value_date(quarterly->said.submitted_on) : value_null(),
        value_text_or_null(filing->source)};
    row(page, cells);
}

static void flat(struct page *page)
{
    struct report_result *result = page->run->result;

    page->table = report_table(result, "flat");
    if (page->quarterly.filing->form != FILING_DEFECT) {
        if (page->status == WM_OK)
            page->status =
                report_add_note(result, page->table, false,
                                "The flat file is of reports on defects and safety standards; an emissions "
                                "campaign has no line in it.");
        return;
    }
    for (int field = 0; field < FLAT_FIELDS; field++) {
        struct text words = quarterly_flat_field(&page->quarterly, field, &page->arena);
        if (words.bytes == NULL)
            page->status = WM_NO_MEMORY;
        const struct value cells[] = {value_text(text_of(quarterly_flat_name(field))), value_text_or_null(words)};
        row(page, cells);
    }
    struct text line = quarterly_flat_line(&page->quarterly, &page->arena);
    if (page->status == WM_OK)
        page->status =
            line.bytes == NULL ? WM_NO_MEMORY : report_add_note(result, page->table, true, "%s", line.bytes);
}

/* --- Notes ------------------------------------------------------------------------------------ */

static void note_rules(struct page *page)
{
    const struct completion *now = &page->quarterly.now;
    char day[DATE_ROOM];

    if (page->status == WM_OK && now->rules > 0)
        page->status =
            report_add_note(page->run->result, NULL, false,
                            "Which vehicles are involved was decided by the eligibility table as it was "
                            "recorded then (rules %lld of the office file).",
                            (long long)now->rules);
    else if (page->status == WM_OK)
        page->status =
            report_add_note(page->run->result, NULL, false,
                            "No recorded rules of that time know the campaign; which vehicles are involved "
                            "was decided by the eligibility table of the rules folder.");
    if (page->status == WM_OK && now->first_load_on != DAY_NONE)
        page->status =
            report_add_note(page->run->result, NULL, false,
                            "The vehicle register was first loaded on %s, after the quarter; that load "
                            "stands for the time before it.",
                            day_words(now->first_load_on, day));
}

static void note_open_points(struct page *page)
{
    const struct quarterly *quarterly = &page->quarterly;
    const struct notice *said = &quarterly->said;
    char day[DATE_ROOM];

    if (page->status == WM_OK && page->run->today <= quarterly->as_of)
        page->status =
            report_add_note(page->run->result, NULL, false,
                            "TO CHECK: the quarter ends on %s and is not over; these figures will change.",
                            day_words(quarterly->as_of, day));
    if (quarterly_has_changed(quarterly) && said->explanation.length == 0)
        note(page,
             "TO CHECK: the number involved has changed and no explanation is recorded; the report needs one. "
             "Record it with `witnessmark load notices`.");
    if (page->status == WM_OK && said->involved >= 0 && said->involved != quarterly->now.involved)
        page->status =
            report_add_note(page->run->result, NULL, false,
                            "TO CHECK: the office recorded %lld vehicles involved for this quarter, and the "
                            "register has %lld; load the register or correct the notice.",
                            (long long)said->involved, (long long)quarterly->now.involved);
    if (quarterly->now.undecided > 0)
        note(page, "TO CHECK: the eligibility table is in error for some vehicles, which are not counted; run "
                   "`witnessmark rules lint`.");
}

static void notes(struct page *page)
{
    char day[DATE_ROOM];

    note(page, "The office files this report, the program does not. What is due, when, and what each item "
               "means is for "
               "the office's counsel to decide; every figure of law here is an example with its source.");
    if (page->status == WM_OK)
        page->status = report_add_note(
            page->run->result, NULL, false,
            "The figures are as they stood on %s: what was recorded by that day counts, and nothing "
            "later. A vehicle counts once, and as remedied when a claim on it was paid and not taken "
            "back; a held claim does not count until the office decides.",
            day_words(page->quarterly.as_of, day));
    note_rules(page);
    note_open_points(page);
}

/* --- The report ------------------------------------------------------------------------------- */

static int fill(struct page *page)
{
    page->table = report_table(page->run->result, "figures");
    notes(page);
    if (page->quarterly.filing->form == FILING_EMISSIONS)
        items_of_emissions(page);
    else
        items_of_defect(page);
    rates(page);
    beside(page);
    due(page);
    flat(page);
    return page->status;
}

static int run_quarterly(const struct report_run *run)
{
    struct page page = {.run = run};
    struct text campaign = value_as_text(report_value(run->result, "campaign")),
                words = value_as_text(report_value(run->result, "quarter"));
    int32_t quarter;

    if (!quarter_read(words, &quarter)) {
        diag_error(run->sink, (struct place){{NULL, 0}, 0, 0},
                   "--quarter \"%.*s\" is no quarter; write it as 2026-Q1", TEXT_ARGUMENTS(words));
        return WM_BAD_INPUT;
    }
    int status =
        quarterly_figures(run->office, run->rules, campaign, quarter, &page.arena, run->sink, &page.quarterly);
    if (status == WM_OK)
        status = fill(&page);
    arena_free(&page.arena);
    return status;
}

const struct computed_report REPORT_QUARTERLY = {"quarterly", HEADER, true, run_quarterly};
