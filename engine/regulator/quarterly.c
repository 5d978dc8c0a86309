#include "regulator/quarterly.h"

#include "base/buffer.h"
#include "base/status.h"

/* --- Figures ---------------------------------------------------------------------------------- */

static int find_campaign(const struct rules *rules, struct text name, struct diag_sink *sink,
                         struct quarterly *quarterly)
{
    const struct place nowhere = {{NULL, 0}, 0, 0};
    int at = rules_campaign(rules, name);

    if (at < 0) {
        diag_error(sink, nowhere, "no campaign \"%.*s\" in the rules; write its number as its folder is named",
                   TEXT_ARGUMENTS(name));
        return WM_BAD_INPUT;
    }
    quarterly->campaign = &rules->campaigns[at];
    quarterly->filing = filings_for(&rules->filings, quarterly->campaign->kind);
    if (quarterly->filing == NULL) {
        diag_error(
            sink, nowhere,
            "filings.csv has no row for campaign %.*s, whose kind is \"%.*s\"; add one, as counsel decides",
            TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(quarterly->campaign->kind));
        return WM_BAD_INPUT;
    }
    if (quarterly->campaign->notice_began_on == DAY_NONE) {
        diag_error(sink, nowhere,
                   "campaign %.*s has no notice_began_on, so no report is due yet; fill it in campaign.csv",
                   TEXT_ARGUMENTS(name));
        return WM_BAD_INPUT;
    }
    return WM_OK;
}

static int place_quarter(struct quarterly *quarterly, int32_t quarter, struct diag_sink *sink)
{
    int32_t began = quarterly->campaign->notice_began_on, first = quarter_of_day(began);
    char day[DATE_ROOM], words[QUARTER_ROOM];

    if (quarter < first) {
        date_write(began, day);
        quarter_write(first, words);
        diag_error(sink, (struct place){{NULL, 0}, 0, 0},
                   "notification under campaign %.*s began on %s; the first quarter to report is %s",
                   TEXT_ARGUMENTS(quarterly->campaign->id), day, words);
        return WM_BAD_INPUT;
    }
    quarterly->quarter = quarter;
    quarterly->as_of = quarter_last_day(quarter);
    quarterly->is_due = schedule_report_of(quarterly->filing, began, quarter, &quarterly->report);
    quarterly->has_before = quarter > first;
    quarterly->before_quarter =
        quarterly->is_due && quarterly->report.number > 1
            ? schedule_report(quarterly->filing, began, quarterly->report.number - 1).quarter
            : quarter - 1;
    return WM_OK;
}

/* A number that is not said stands as it was said last. */
static void take_notice(struct notice *said, const struct notice *notice)
{
    int64_t *const to[] = {&said->notices_sent,      &said->estimated, &said->awaiting_repair,
                           &said->unreachable_other, &said->removed,   &said->disqualified};
    const int64_t from[] = {notice->notices_sent,      notice->estimated, notice->awaiting_repair,
                            notice->unreachable_other, notice->removed,   notice->disqualified};

    for (size_t i = 0; i < sizeof to / sizeof *to; i++)
        if (from[i] >= 0)
            *to[i] = from[i];
    if (notice->unreachable_other >= 0)
        said->other_reason = notice->other_reason;
    if (notice->quarter != said->quarter)
        return;
    said->involved = notice->involved;
    said->explanation = notice->explanation;
    said->submitted_on = notice->submitted_on;
}

static int read_said(struct office *office, struct arena *arena, struct quarterly *quarterly)
{
    struct notice *notices = NULL;
    uint32_t count = 0;
    int status = ledger_notices(office, quarterly->campaign->id, arena, &notices, &count);

    quarterly->said =
        (struct notice){quarterly->quarter, -1, -1, -1, -1, -1, -1, -1, TEXT(""), TEXT(""), DAY_NONE};
    for (uint32_t i = 0; status == WM_OK && i < count && notices[i].quarter <= quarterly->quarter; i++)
        take_notice(&quarterly->said, &notices[i]);
    return status;
}

int quarterly_figures(struct office *office, const struct rules *rules, struct text campaign, int32_t quarter,
                      struct arena *arena, struct diag_sink *sink, struct quarterly *ret_quarterly)
{
    struct quarterly quarterly = {.campaign = NULL};
    int status = find_campaign(rules, campaign, sink, &quarterly);

    if (status == WM_OK)
        status = place_quarter(&quarterly, quarter, sink);
    if (status == WM_OK)
        status = ledger_completion(office, rules, campaign, quarterly.as_of, sink, &quarterly.now);
    if (status == WM_OK && quarterly.has_before)
        status = ledger_completion(office, rules, campaign, quarter_last_day(quarterly.before_quarter), sink,
                                   &quarterly.before);
    if (status == WM_OK)
        status = read_said(office, arena, &quarterly);
    if (status == WM_OK)
        *ret_quarterly = quarterly;
    return status;
}

static int64_t said_or_none(int64_t number)
{
    return number > 0 ? number : 0;
}

int64_t quarterly_remedied(const struct quarterly *quarterly)
{
    return quarterly->now.repaired + quarterly->now.inspected;
}

int64_t quarterly_unreachable(const struct quarterly *quarterly)
{
    int64_t sum = said_or_none(quarterly->said.unreachable_other);

    for (int kind = 0; kind < UNREACHABLE_KINDS; kind++)
        sum += quarterly->now.unreachable[kind];
    return sum;
}

int64_t quarterly_removed(const struct quarterly *quarterly)
{
    return said_or_none(quarterly->said.removed);
}

int64_t quarterly_inspected(const struct quarterly *quarterly)
{
    return quarterly_remedied(quarterly) + said_or_none(quarterly->said.awaiting_repair);
}

int64_t quarterly_reachable(const struct quarterly *quarterly)
{
    return quarterly->now.involved - quarterly_unreachable(quarterly) - quarterly_removed(quarterly);
}

bool quarterly_has_changed(const struct quarterly *quarterly)
{
    return quarterly->has_before && quarterly->now.involved != quarterly->before.involved;
}

/* --- The flat file ---------------------------------------------------------------------------- */

enum {
    MFGTXT,
    CAMPNO,
    MFGCAMPNO,
    RCLSUBJ,
    ODATE,
    ODATEEND,
    RPTNO,
    RPTQTR,
    INVOLVED,
    TTLREMEDIED,
    TTLUNREACH,
    TTLREMOVED,
    SUBMDATE
};

const char *quarterly_flat_name(int field)
{
    static const char *const NAMES[FLAT_FIELDS] = {
        "MFGTXT", "CAMPNO",   "MFGCAMPNO",   "RCLSUBJ",    "ODATE",      "ODATEEND", "RPTNO",
        "RPTQTR", "INVOLVED", "TTLREMEDIED", "TTLUNREACH", "TTLREMOVED", "SUBMDATE"};

    return NAMES[field];
}

/* A tab or an end of line would begin another field or line. */
static void add_words(struct buffer *out, struct text words)
{
    for (size_t i = 0; i < words.length; i++)
        buffer_add_byte(out, (unsigned char)words.bytes[i] < ' ' ? ' ' : words.bytes[i]);
}

static void add_day(struct buffer *out, int32_t day)
{
    int year, month, of_month;

    if (day == DAY_NONE)
        return;
    date_to_civil(day, &year, &month, &of_month);
    buffer_format(out, "%04d%02d%02d", year, month, of_month);
}

static void add_field(const struct quarterly *quarterly, int field, struct buffer *out)
{
    const struct campaign *campaign = quarterly->campaign;
    int32_t ended = campaign->notice_ended_on;
    const int64_t numbers[] = {quarterly->now.involved, quarterly_remedied(quarterly),
                               quarterly_unreachable(quarterly), quarterly_removed(quarterly)};

    switch (field) {
    case MFGTXT: add_words(out, campaign->manufacturer); break;
    case CAMPNO: add_words(out, campaign->regulator_number); break;
    case MFGCAMPNO: add_words(out, campaign->id); break;
    case RCLSUBJ: add_words(out, campaign->title); break;
    case ODATE: add_day(out, campaign->notice_began_on); break;
    case ODATEEND: add_day(out, ended != DAY_NONE && ended <= quarterly->as_of ? ended : DAY_NONE); break;
    case RPTNO:
        if (quarterly->is_due)
            buffer_format(out, "%d", quarterly->report.number);
        break;
    case RPTQTR:
        buffer_format(out, "%d-%d", quarter_year(quarterly->quarter), quarter_of_year(quarterly->quarter));
        break;
    case SUBMDATE: add_day(out, quarterly->said.submitted_on); break;
    default: buffer_format(out, "%lld", (long long)numbers[field - INVOLVED]);
    }
}

static struct text keep(struct buffer *words, struct arena *arena)
{
    struct text copy = words->failed ? (struct text){NULL, 0} : text_copy(arena, buffer_text(words));

    buffer_free(words);
    return copy;
}

struct text quarterly_flat_field(const struct quarterly *quarterly, int field, struct arena *arena)
{
    struct buffer words = BUFFER_EMPTY;

    add_field(quarterly, field, &words);
    return keep(&words, arena);
}

struct text quarterly_flat_line(const struct quarterly *quarterly, struct arena *arena)
{
    struct buffer words = BUFFER_EMPTY;

    for (int field = 0; field < FLAT_FIELDS; field++) {
        if (field > 0)
            buffer_add_byte(&words, '\t');
        add_field(quarterly, field, &words);
    }
    return keep(&words, arena);
}
