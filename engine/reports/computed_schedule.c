/* What every campaign owes the regulator, and when. */
#include <stdlib.h>

#include "base/status.h"
#include "ledger/completion.h"
#include "regulator/schedule.h"
#include "reports/report.h"

static const char HEADER[] =
    "-- title: Reports to the regulator\n"
    "-- meaning: Which completion reports are due on which day, over all campaigns, and which the office says "
    "it filed.\n"
    "-- parameter: show choice open|all = all; all of them, or what is not filed\n"
    "-- parameter: campaign text =; only this campaign\n"
    "-- section: reports\n"
    "-- column: due_on date; the day by which it is to be filed\n"
    "-- column: campaign text; the campaign\n"
    "-- column: report text; which of its reports\n"
    "-- column: quarter text; the last quarter that it covers\n"
    "-- column: state text; filed, overdue, due now, or still to come\n"
    "-- column: days integer \"Days left\"; to the day it is due; below 0: over it\n"
    "-- column: submitted_on date \"Filed on\"; the day on which the office says it filed it\n"
    "-- column: title text; the campaign's title\n"
    "-- section: without\n"
    "-- title: Campaigns without reports\n"
    "-- meaning: Campaigns of which no report can be foreseen.\n"
    "-- column: campaign text; the campaign\n"
    "-- column: why text; why\n";

/* One report of one campaign. */
struct scheduled {
    const struct campaign *campaign;
    const struct filing *filing;
    struct due_report report;
    int32_t submitted_on;
};

struct schedule {
    const struct report_run *run;
    struct arena arena;
    struct scheduled *list;
    uint32_t count, capacity;
};

static int add(struct schedule *schedule, const struct scheduled *scheduled)
{
    if (schedule->count == schedule->capacity) {
        uint32_t capacity = schedule->capacity ? schedule->capacity * 2 : 64;
        struct scheduled *grown =
            arena_grown(&schedule->arena, schedule->list, schedule->count, capacity, sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        schedule->list = grown;
        schedule->capacity = capacity;
    }
    schedule->list[schedule->count++] = *scheduled;
    return WM_OK;
}

static int32_t submitted_on(const struct notice *notices, uint32_t count, int32_t quarter)
{
    for (uint32_t i = 0; i < count; i++)
        if (notices[i].quarter == quarter)
            return notices[i].submitted_on;
    return DAY_NONE;
}

static int say_without(struct schedule *schedule, const struct campaign *campaign, const char *why)
{
    const struct value cells[] = {value_text(campaign->id), value_text(text_of(why))};

    return report_add_row(schedule->run->result, report_table(schedule->run->result, "without"), cells);
}

static int add_campaign(struct schedule *schedule, const struct campaign *campaign)
{
    const struct filing *filing = filings_for(&schedule->run->rules->filings, campaign->kind);
    struct notice *notices = NULL;
    uint32_t count = 0;

    if (filing == NULL)
        return say_without(schedule, campaign, "rules/filings.csv has no row for its kind");
    if (campaign->notice_began_on == DAY_NONE)
        return say_without(schedule, campaign, "campaign.csv has no notice_began_on yet");
    int status = ledger_notices(schedule->run->office, campaign->id, &schedule->arena, &notices, &count);
    for (int number = 1; status == WM_OK && number <= schedule_count(filing); number++) {
        struct scheduled scheduled = {campaign, filing,
                                      schedule_report(filing, campaign->notice_began_on, number), DAY_NONE};
        scheduled.submitted_on = submitted_on(notices, count, scheduled.report.quarter);
        status = add(schedule, &scheduled);
    }
    return status;
}

static int by_due_day(const void *a, const void *b)
{
    const struct scheduled *x = a, *y = b;

    if (x->report.due_on != y->report.due_on)
        return x->report.due_on < y->report.due_on ? -1 : 1;
    return text_compare(x->campaign->id, y->campaign->id);
}

static const char *state_of(const struct scheduled *scheduled, int32_t today)
{
    const struct due_report *report = &scheduled->report;

    if (scheduled->submitted_on != DAY_NONE)
        return scheduled->submitted_on <= report->due_on ? "filed" : "filed late";
    if (today > report->due_on)
        return "OVERDUE";
    return today > quarter_last_day(report->quarter) ? "due now" : "to come";
}

static int write(struct schedule *schedule, struct report_table *table, const struct scheduled *scheduled)
{
    const struct due_report *report = &scheduled->report;
    const struct filing *filing = scheduled->filing;
    bool filed = scheduled->submitted_on != DAY_NONE;
    char quarter[QUARTER_ROOM];
    struct text which = text_format(&schedule->arena, "%s %d of %d", report->annual ? "annual" : "quarterly",
                                    report->annual ? report->number - filing->quarters : report->number,
                                    report->annual ? filing->annual_reports : filing->quarters);

    if (which.bytes == NULL)
        return WM_NO_MEMORY;
    const struct value cells[] = {value_date(report->due_on),
                                  value_text(scheduled->campaign->id),
                                  value_text(which),
                                  value_text((struct text){quarter, quarter_write(report->quarter, quarter)}),
                                  value_text(text_of(state_of(scheduled, schedule->run->today))),
                                  filed ? value_null()
                                        : value_integer((int64_t)report->due_on - schedule->run->today),
                                  filed ? value_date(scheduled->submitted_on) : value_null(),
                                  value_text_or_null(scheduled->campaign->title)};
    return report_add_row(schedule->run->result, table, cells);
}

static int write_all(struct schedule *schedule)
{
    struct report_result *result = schedule->run->result;
    bool open_only = text_is(value_as_text(report_value(result, "show")), "open");
    int status = report_add_note(
        result, NULL, false,
        "The office files its reports, the program does not; `witnessmark load notices` records "
        "what was filed. Days are by rules/filings.csv and the federal holidays: examples "
        "with their sources, on which the office's counsel decides.");

    if (schedule->count > 0)
        qsort(schedule->list, schedule->count, sizeof *schedule->list, by_due_day);
    for (uint32_t i = 0; status == WM_OK && i < schedule->count; i++)
        if (!open_only || schedule->list[i].submitted_on == DAY_NONE)
            status = write(schedule, report_table(result, "reports"), &schedule->list[i]);
    return status;
}

static int run_schedule(const struct report_run *run)
{
    struct schedule schedule = {.run = run};
    struct text only = value_as_text(report_value(run->result, "campaign"));
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < run->rules->campaign_count; i++)
        if (only.length == 0 || text_equal(run->rules->campaigns[i].id, only))
            status = add_campaign(&schedule, &run->rules->campaigns[i]);
    if (status == WM_OK && only.length > 0 && rules_campaign(run->rules, only) < 0) {
        diag_error(run->sink, (struct place){{NULL, 0}, 0, 0},
                   "no campaign \"%.*s\" in the rules; write its number as its folder is named",
                   TEXT_ARGUMENTS(only));
        status = WM_BAD_INPUT;
    }
    if (status == WM_OK)
        status = write_all(&schedule);
    arena_free(&schedule.arena);
    return status;
}

const struct computed_report REPORT_SCHEDULE = {"schedule", HEADER, true, run_schedule};
