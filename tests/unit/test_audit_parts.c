/* The parts of an audit one by one: two frames compared, what a sample by money says of claims that are looked
 * at for certain, worksheets, letters in all their forms; and chargebacks that a region or another sample
 * limits. */
#include "small_office.h"

#include "audit/allocation.h"
#include "audit/charging.h"
#include "audit/draw.h"
#include "audit/evaluation.h"
#include "audit/frame.h"
#include "audit/judging.h"
#include "audit/letter.h"
#include "base/status.h"

/* --- Frames ------------------------------------------------------------------------------------- */

#define CLAIM(d, c, r, cents)                                                            \
    {                                                                                    \
        .row = r, .stratum = 1, .paid_cents = cents, .dealer = TEXT(d), .claim = TEXT(c) \
    }

static void two_frames(void **state)
{
    static struct sample_claim before[] = {CLAIM("D1", "A", 1, 100), CLAIM("D1", "B", 2, 100),
                                           CLAIM("D1", "C", 3, 100), CLAIM("D1", "E", 5, 100),
                                           CLAIM("D3", "A", 6, 100)};
    static struct sample_claim now[] = {CLAIM("D1", "A", 1, 100), CLAIM("D1", "B", 9, 100),
                                        CLAIM("D1", "C", 3, 50), CLAIM("D1", "D", 4, 70),
                                        CLAIM("D2", "A", 7, 80)};
    static const struct {
        enum frame_change change;
        const char *dealer, *claim;
        int64_t before, now;
    } EXPECTED[] = {{FRAME_REVISED, "D1", "B", 100, 100}, {FRAME_AMOUNT, "D1", "C", 100, 50},
                    {FRAME_NEW, "D1", "D", 0, 70},        {FRAME_GONE, "D1", "E", 100, 0},
                    {FRAME_NEW, "D2", "A", 0, 80},        {FRAME_GONE, "D3", "A", 100, 0}};
    const struct sample was = {.frame = before, .frame_count = COUNT(before)},
                        is = {.frame = now, .frame_count = COUNT(now)}, none = {.frame = NULL};
    struct arena arena = ARENA_EMPTY;
    struct frame_difference *list;
    uint32_t count;
    (void)state;

    assert_int_equal(frame_compare(&was, &is, &arena, &list, &count), WM_OK);
    assert_int_equal(count, COUNT(EXPECTED));
    for (size_t i = 0; i < COUNT(EXPECTED); i++) {
        assert_int_equal(list[i].change, EXPECTED[i].change);
        assert_true(text_is(list[i].dealer, EXPECTED[i].dealer) && text_is(list[i].claim, EXPECTED[i].claim));
        assert_int_equal(list[i].before_cents, EXPECTED[i].before);
        assert_int_equal(list[i].now_cents, EXPECTED[i].now);
    }
    assert_int_equal(frame_compare(&was, &was, &arena, &list, &count), WM_OK);
    assert_int_equal(count, 0);
    assert_int_equal(frame_compare(&none, &is, &arena, &list, &count), WM_OK);
    assert_int_equal(count, COUNT(now));
    assert_int_equal(frame_compare(&was, &none, &arena, &list, &count), WM_OK);
    assert_int_equal(count, COUNT(before));
    arena_free(&arena);
}

/* A thousand strata can be shared out; one dealer more is refused, and nothing is recorded. */
static void more_strata_than_can_be(void **state)
{
    enum { DEALERS = ALLOCATION_STRATA + 1 };
    const char *office = probe_path("strata.db"), *dealers = probe_path("strata.csv"), *claims;
    FILE *file = fopen(dealers, "w");
    struct buffer rows = BUFFER_EMPTY;
    (void)state;

    need(file != NULL, dealers);
    fputs("dealer,name,region,labor_rate,parts_markup,active_from,active_to,valid_from\n", file);
    for (int i = 0; i < DEALERS; i++) {
        fprintf(file, "E%d,Some,US-AK,100,0,,,\n", i);
        buffer_format(&rows, "%sdealer=E%d|labor=OP-1=1|labor_amount=10|total_amount=10", i > 0 ? "\n" : "", i);
    }
    need(fclose(file) == 0, dealers);
    buffer_add_byte(&rows, '\0');
    claims = probe_write_claims(rows.bytes);
    shell("cp %s %s", small_whole, office);
#define STRATA(...) RUN(__VA_ARGS__, "--office", office, "--rules", probe_path("rules"))
    small_runs(STRATA("load", "dealers", dealers, "--today", "2026-03-01", "--quiet"));
    small_runs(STRATA("post", claims, "--today", "2026-03-20", "--quiet"));
    struct result result = STRATA("sample", "draw", "--name", "many", "--because", "all", "--size", "1001", "--by",
                                  "dealer", "--since", "2026-03-20", "--today", "2026-04-01");
    assert_int_equal(result.code, 2);
    assert_string_equal(result.err, "the frame falls into more than 1000 strata; narrow it, or draw without --by\n");
    result_free(&result);
    /* with one dealer less in the frame they are */
    small_runs(STRATA("reverse", "E7/C8", "--by", "A. Clerk", "--reason", "sold", "--today", "2026-03-21"));
    result = STRATA("sample", "draw", "--name", "many", "--because", "all", "--size", "1000", "--by", "dealer",
                    "--since", "2026-03-20", "--today", "2026-04-01");
    assert_int_equal(result.code, 0);
    assert_non_null(strstr(result.out, "frame: 1000 paid claims, 10000.00"));
    result_free(&result);
#undef STRATA
    buffer_free(&rows);
    unlink(office);
}

/* --- Evaluations -------------------------------------------------------------------------------- */

enum { CLAIMS = 60 };

/* A sample of one dealer's claims of 100.00 each, all of them drawn but for every second; those of stratum 1
 * first. */
struct made {
    struct sample sample;
    struct sample_claim frame[CLAIMS];
    struct sample_stratum strata[2];
    uint32_t items[CLAIMS];
    struct judgement judgements[CLAIMS];
};

static void make(struct made *made, const char *method, uint32_t first_stratum)
{
    *made = (struct made){.sample = {.method = text_of(method), .interval_cents = 50000}};
    made->sample.frame = made->frame;
    made->sample.strata = made->strata;
    made->sample.items = made->items;
    made->sample.frame_count = CLAIMS;
    made->sample.stratum_count = first_stratum > 0 ? 2 : 1;
    for (uint32_t i = 0; i < CLAIMS; i++) {
        uint32_t stratum = i < first_stratum || first_stratum == 0 ? 1 : 2;
        made->frame[i] = (struct sample_claim)CLAIM("D1", "C", (int64_t)i + 1, 10000);
        made->frame[i].stratum = stratum;
        made->strata[stratum - 1].frame_count++;
        made->strata[stratum - 1].frame_cents += 10000;
        made->sample.frame_cents += 10000;
        if (i % 2 != 0)
            continue;
        made->judgements[made->sample.item_count] =
            (struct judgement){.item = (int64_t)made->sample.item_count + 1,
                               .judgement = TEXT(JUDGED_UPHELD),
                               .right_cents = 10000};
        made->items[made->sample.item_count++] = i;
    }
}

static void judge(struct made *made, uint32_t item, const char *judgement, int64_t right_cents)
{
    made->judgements[item].judgement = text_of(judgement);
    made->judgements[item].right_cents = right_cents;
}

static struct evaluation evaluate(struct made *made, struct arena *arena)
{
    struct evaluation evaluation;

    assert_int_equal(evaluate_sample(&made->sample, made->judgements, 900000, arena, &evaluation), WM_OK);
    return evaluation;
}

static void evaluations(void **state)
{
    struct arena arena = ARENA_EMPTY;
    struct made made;
    struct evaluation found;
    (void)state;

    /* By money: what was looked at for certain is known to the cent, and nothing else was wrong. Without an
     * error behind the interval of 500.00 Stringer's bound is the interval times the AICPA's confidence factor
     * for no error at a risk of 10 %, 2.31 (from memory); and 300.00 that is known. */
    make(&made, METHOD_MONEY, 6);
    judge(&made, 0, JUDGED_ERROR, 0);
    judge(&made, 1, JUDGED_MISSING, 0);
    judge(&made, 2, JUDGED_ERROR, 0);
    found = evaluate(&made, &arena);
    assert_int_equal(found.used, BY_MONEY);
    assert_int_equal(found.estimates[BY_MONEY].total_cents, 30000);
    assert_int_equal(found.estimates[BY_MONEY].lower_cents, 30000);
    assert_int_equal(found.estimates[BY_MONEY].upper_cents, 30000);
    assert_true(found.has_bound);
    assert_int_equal(found.bound_cents, 30000 + 115500);
    assert_false(found.rate.made);
    assert_non_null(evaluation_has(&found, "rate"));
    assert_null(evaluation_has(&found, "skew"));

    /* by strata, all wrong: the rate is 1, and no limit is beyond */
    make(&made, METHOD_STRATIFIED, 30);
    for (uint32_t i = 0; i < made.sample.item_count; i++)
        judge(&made, i, JUDGED_ERROR, 5000);
    found = evaluate(&made, &arena);
    assert_false(found.rate.exact);
    assert_int_equal(found.rate.rate, 1000000);
    assert_int_equal(found.rate.upper, 1000000);
    assert_int_equal(found.estimates[BY_DIFFERENCE].total_cents, CLAIMS * 5000);
    assert_non_null(strstr(evaluation_has(&found, "rate")->words.bytes, "these limits are not exact"));
    /* the lower limit says more than was found, so that it may be extrapolated; of what was found it is twice
     */
    assert_true(found.may_extrapolate);

    /* but for one, all wrong or none: the limits stay between 0 and 1 */
    for (int wrong = 0; wrong < 2; wrong++) {
        make(&made, METHOD_STRATIFIED, 30);
        for (uint32_t i = 0; i < made.sample.item_count; i++)
            if ((i == 0) != wrong)
                judge(&made, i, JUDGED_ERROR, 5000);
        found = evaluate(&made, &arena);
        assert_in_range(found.rate.rate, 1, 999999);
        assert_int_equal(wrong ? found.rate.upper : found.rate.lower, wrong ? 1000000 : 0);
    }

    /* picked by hand: what was found, and no estimate */
    make(&made, METHOD_PICKED, 0);
    judge(&made, 0, JUDGED_MISSING, 0);
    judge(&made, 1, JUDGED_MISSING, 0);
    judge(&made, 2, JUDGED_ERROR, 12000);
    found = evaluate(&made, &arena);
    assert_false(found.estimates[BY_DIFFERENCE].made);
    assert_int_equal(found.over_cents, 20000);
    assert_int_equal(found.under_cents, 2000);
    assert_non_null(evaluation_has(&found, "not-random"));
    assert_non_null(strstr(evaluation_has(&found, "missing-papers")->words.bytes, "2 claims count as"));

    /* one is not judged yet, and of one the papers are missing */
    make(&made, METHOD_SIMPLE, 0);
    judge(&made, 0, JUDGED_MISSING, 0);
    judge(&made, 1, "", 0);
    found = evaluate(&made, &arena);
    assert_int_equal(found.judged, made.sample.item_count - 1);
    assert_non_null(
        strstr(evaluation_has(&found, "not-judged")->words.bytes, "1 of 30 claims are not judged yet"));
    assert_non_null(strstr(evaluation_has(&found, "missing-papers")->words.bytes, "1 claim counts as"));

    /* one large error among thirty: below nothing can be told */
    make(&made, METHOD_SIMPLE, 0);
    for (uint32_t i = 0; i < 5; i++)
        judge(&made, i, JUDGED_ERROR, i == 0 ? 0 : 9999);
    found = evaluate(&made, &arena);
    assert_non_null(evaluation_has(&found, "skew"));
    assert_non_null(evaluation_has(&found, "nothing-gained"));
    assert_false(found.may_extrapolate);
    arena_free(&arena);
}

/* --- Worksheets --------------------------------------------------------------------------------- */

static int read_sheet(const struct sample *sample, const struct judgement *now, const char *csv,
                      struct arena *arena, struct capture *capture, struct judging *ret_judging)
{
    capture_start(capture);
    return judging_read(sample, now, TEXT("sheet.csv"), text_of(csv), arena, &capture->sink, ret_judging);
}

static void worksheets(void **state)
{
    static struct sample_claim frame[] = {CLAIM("D1", "A", 1, 100), CLAIM("D1", "B", 2, 100),
                                          CLAIM("D1", "C", 3, 100)};
    static uint32_t items[] = {0, 1, 2};
    const struct sample sample = {
        .name = TEXT("s"), .frame = frame, .frame_count = 3, .items = items, .item_count = 3};
    const struct judgement now[3] = {{1, TEXT(JUDGED_UPHELD), 100, TEXT("")},
                                     {2, TEXT(JUDGED_ERROR), 40, TEXT("")},
                                     {3, TEXT(""), 0, TEXT("")}};
    struct arena arena = ARENA_EMPTY;
    struct judging judging;
    struct capture capture;
    (void)state;

    /* without a column for amounts an error has no place to stand */
    assert_int_equal(
        read_sheet(&sample, now, "dealer,claim,judgement\nD1,A,error\n", &arena, &capture, &judging),
        WM_BAD_INPUT);
    assert_string_equal(capture.text,
                        "sheet.csv:2:3: an error needs the amount that would have been right to pay; write "
                        "it into right_amount (0 where nothing was owed)\n");
    /* the same, another amount, another note, another judgement, a first one */
    assert_int_equal(read_sheet(&sample, now,
                                "dealer,claim,judgement,right_amount\nD1,A,upheld,\nD1,B,error,0.40\n", &arena,
                                &capture, &judging),
                     WM_OK);
    assert_int_equal(judging.same, 2);
    assert_int_equal(judging.changed_count, 0);
    assert_int_equal(
        read_sheet(&sample, now,
                   "dealer,claim,judgement,right_amount,note\nD1,B,error,0.41,\nD1,A,upheld,,seen\n"
                   "D1,C,missing,,\n",
                   &arena, &capture, &judging),
        WM_OK);
    assert_int_equal(judging.corrected, 2);
    assert_int_equal(judging.fresh, 1);
    assert_int_equal(judging.changed_count, 3);
    assert_int_equal(judging.changed[1].right_cents, 41);
    assert_true(text_is(judging.changed[0].note, "seen"));
    assert_int_equal(judging.changed[2].right_cents, 0);
    arena_free(&arena);
}

/* Two claims whose numbers differ behind the first 5000 bytes are two claims. */
static void long_numbers(void **state)
{
    char first[5002], second[5002];
    (void)state;

    memset(first, 'x', 5001);
    first[5001] = '\0';
    memcpy(second, first, sizeof second);
    first[5000] = 'a';
    second[5000] = 'b';
    struct sample_claim frame[] = {
        {.row = 1, .stratum = 1, .paid_cents = 100, .dealer = TEXT("D1"), .claim = text_of(first)},
        {.row = 2, .stratum = 1, .paid_cents = 100, .dealer = TEXT("D1"), .claim = text_of(second)}};
    uint32_t items[] = {0, 1};
    const struct sample sample = {
        .name = TEXT("s"), .frame = frame, .frame_count = 2, .items = items, .item_count = 2};
    const struct judgement now[2] = {{1, TEXT(""), 0, TEXT("")}, {2, TEXT(""), 0, TEXT("")}};
    struct arena arena = ARENA_EMPTY;
    struct judging judging;
    struct capture capture;

    assert_int_equal(
        read_sheet(&sample, now,
                   words("dealer,claim,judgement,right_amount\nD1,%s,upheld,\nD1,%s,missing,\n", first, second),
                   &arena, &capture, &judging),
        WM_OK);
    assert_int_equal(judging.changed_count, 2);
    assert_true(text_is(judging.changed[0].judgement, JUDGED_UPHELD));
    assert_true(text_is(judging.changed[1].judgement, JUDGED_MISSING));
    arena_free(&arena);
}

/* --- Letters ------------------------------------------------------------------------------------ */

static char *letter_of(const struct charge_plan *plan, const struct charge *charge)
{
    struct buffer out = BUFFER_EMPTY;

    letter_write(plan, charge, &out);
    char *made = words("%.*s", (int)out.length, out.bytes);
    buffer_free(&out);
    /* as one line, for paragraphs are wrapped */
    for (char *at = made; (at = strpbrk(at, "\n")) != NULL;)
        *at = ' ';
    for (char *at = made; (at = strstr(at, "  ")) != NULL;)
        memmove(at, at + 1, strlen(at));
    return made;
}

static void has(const char *letter, const char *wanted)
{
    if (strstr(letter, wanted) == NULL)
        fail_msg("\"%s\" is not in: %s", wanted, letter);
}

static void letters(void **state)
{
    struct made made;
    struct arena arena = ARENA_EMPTY;
    struct charged_claim claims[] = {{.item = 1,
                                      .claim = TEXT("A"),
                                      .paid_cents = 10000,
                                      .right_cents = 4000,
                                      .judgement = TEXT(JUDGED_ERROR),
                                      .note = TEXT("hours"),
                                      .cents = 6000,
                                      .why = TEXT("")},
                                     {.item = 2,
                                      .claim = TEXT("B"),
                                      .paid_cents = 10000,
                                      .judgement = TEXT(JUDGED_MISSING),
                                      .note = TEXT(""),
                                      .cents = 10000,
                                      .why = TEXT("")},
                                     {.item = 3,
                                      .claim = TEXT("C"),
                                      .paid_cents = 10000,
                                      .right_cents = 10000,
                                      .judgement = TEXT(JUDGED_UPHELD),
                                      .note = TEXT(""),
                                      .cents = -2500,
                                      .why = TEXT("")},
                                     {.item = 4,
                                      .claim = TEXT("D"),
                                      .paid_cents = 10000,
                                      .right_cents = 9000,
                                      .judgement = TEXT(JUDGED_ERROR),
                                      .note = TEXT(""),
                                      .cents = 0,
                                      .why = TEXT("another revision is paid since; audit that one")}};
    struct charge charge = {.dealer = TEXT("D1"),
                            .terms = {TEXT("US-NE"), 365, 30, true},
                            .claims = claims,
                            .count = 4,
                            .items_cents = 13500,
                            .older_count = 2,
                            .basis = TEXT("what was found on single claims")};
    struct evaluation evaluation;
    struct charge_plan plan = {.evaluation = &evaluation,
                               .charges = &charge,
                               .count = 1,
                               .request = {.decided_on = 20574, .notified_on = DAY_NONE}}; /* 2026-05-01 */
    (void)state;

    make(&made, METHOD_PICKED, 0);
    made.sample.name = TEXT("first");
    made.sample.because = TEXT("stands out by hours");
    made.sample.drawn_on = 20544; /* 2026-04-01 */
    made.sample.generator = TEXT("G");
    made.sample.seed = TEXT("42");
    judge(&made, 0, JUDGED_ERROR, 0);
    judge(&made, 1, JUDGED_MISSING, 0);
    evaluation = evaluate(&made, &arena);
    plan.sample = &made.sample;
    char *letter = letter_of(&plan, &charge);
    has(letter, "DRAFT - not to be sent before counsel has seen it 2026-05-01 To dealer D1 Audit first: an "
                "amount that is to "
                "be charged back ");
    has(letter, "How claims were chosen: on 2026-04-01, 30 of your 60 paid claims (together 6000.00) were "
                "picked by hand. "
                "What was found: ");
    has(letter, "A: paid 100.00, right would have been 40.00 (hours); to be charged back 60.00 ");
    has(letter, "B: paid 100.00, papers are missing; to be charged back 100.00 ");
    has(letter, "C: paid 100.00, right would have been 100.00; given back 25.00 ");
    has(letter,
        "D: paid 100.00, right would have been 90.00; nothing is charged back: another revision is paid since; "
        "audit that one ");
    has(letter, "To be charged back: 135.00 You may answer: ");
    has(letter, "Nothing is charged within 30 days of this notice, that is before 2026-05-31. ");
    has(letter, "Claims paid more than 365 days before the sample was drawn were not audited. ");
    has(letter,
        "(For counsel: counted to the day of this letter, 2 of the claims above are older than that.) ");
    assert_null(strstr(letter, "How the amount was worked out"));

    /* extrapolated: no claim of the sample, the warnings of the evaluation, and no terms of the region */
    made.sample.method = TEXT(METHOD_STRATIFIED);
    evaluation = evaluate(&made, &arena);
    plan.request.extrapolate = true;
    plan.request.notified_on = 20570;
    charge = (struct charge){.dealer = TEXT("D1"),
                             .terms = {TEXT(""), -1, -1, false},
                             .claims = claims,
                             .count = 0,
                             .beyond_cents = -700,
                             .basis = TEXT("difference estimate")};
    letter = letter_of(&plan, &charge);
    has(letter, "Audit first: an amount that is given back ");
    has(letter, ") were drawn at random, in groups. The draw can be repeated: G, seed 42. ");
    has(letter, "What was found: nothing that is charged back claim by claim ");
    has(letter,
        "How the amount was worked out: difference estimate. Of the interval the lower end is charged, not the "
        "estimate. Only 2 claims of the sample are wrong. ");
    has(letter, "To be given back: 7.00 of it on the claims above: 0.00 for the other claims: -7.00 ");
    assert_null(strstr(letter, "Nothing is charged within"));
    assert_null(strstr(letter, "were not audited"));
    assert_null(strstr(letter, "For counsel"));
    /* the day of the notice, where it is said */
    charge.terms.notice_days = 5;
    has(letter_of(&plan, &charge), "within 5 days of this notice, that is before 2026-05-02. ");
    made.sample.method = TEXT(METHOD_MONEY);
    has(letter_of(&plan, &charge),
        ") were drawn at random, with a chance in proportion to what was paid on each. ");
    made.sample.method = TEXT(METHOD_SIMPLE);
    has(letter_of(&plan, &charge), ") were drawn at random, each with the same chance. ");
    arena_free(&arena);
}

/* --- Limits of a chargeback --------------------------------------------------------------------- */

/* The rules with these days for the region of D2, which is US-AK. */
static const char *rules_with(const char *audit_within, const char *notice)
{
    const char *rules = probe_path("rules-terms");

    shell("rm -rf %s && cp -r %s %s", rules, probe_path("rules"), rules);
    write_words(
        words("%s/deadlines.csv", rules),
        words("U,region,>audit_within_days,>chargeback_notice_days\nak,US-AK,%s,%s\n", audit_within, notice));
    return rules;
}

/* What a draft of the first sample's chargeback says to D2, in an office edited like this. */
static const char *draft(const char *sql, const char *rules, const char *today)
{
    const char *office = small_edited(sql), *letters = probe_path("letters");

    shell("rm -rf %s", letters);
    struct result result = RUN("chargeback", "first", "--draft", "--by", "A. Clerk", "--reason", "the audit",
                               "--office", office, "--rules", rules, "--today", today, "--letters", letters);
    if (result.code != 0)
        fail_msg("%s: %s%s", sql, result.out, result.err);
    result_free(&result);
    char *letter = read_whole(words("%s/first-D2.txt", letters), NULL);
    for (char *at = letter; (at = strpbrk(at, "\n")) != NULL;)
        *at = ' ';
    for (char *at = letter; (at = strstr(at, "  ")) != NULL;)
        memmove(at, at + 1, strlen(at));
    return letter;
}

#define UNCHARGED                                                                                         \
    "DELETE FROM chargebacks; DELETE FROM chargeback_items; DELETE FROM office_decisions WHERE action = " \
    "'chargeback';"

static void limits_of_a_chargeback(void **state)
{
    static const char UNDO[] = UNCHARGED;
    const char *letter;
    (void)state;

    letter = draft(UNDO, probe_path("rules"), "2026-05-11");
    has(letter, "P5: paid 10.00, right would have been 4.00; to be charged back 6.00 ");
    has(letter, "P8: paid 10.00, papers are missing; to be charged back 10.00 ");
    has(letter, "To be charged back: 16.00 ");
    /* paid on 2026-03-10 and drawn on 2026-04-01, 22 days later; the letter is of 2026-05-11, 62 days later */
    letter = draft(UNDO, rules_with("22", ""), "2026-05-11");
    has(letter, "To be charged back: 16.00 ");
    has(letter, "2 of the claims above are older than that.");
    letter = draft(UNDO, rules_with("62", ""), "2026-05-11");
    assert_null(strstr(letter, "are older than that."));
    letter = draft(UNDO, rules_with("21", ""), "2026-05-11");
    has(letter, "P5: paid 10.00, right would have been 4.00; nothing is charged back: paid on 2026-03-10, "
                "longer ago than "
                "the 21 days that the region allows ");
    has(letter, "To be charged back: 0.00 ");
    /* paid by a person on 2026-03-12: 20 days before the draw */
    letter = draft(UNCHARGED "INSERT INTO office_decisions SELECT 9, 16, 'pay', 'B', 'x', 20524, '', 1000, 0;",
                   rules_with("20", ""), "2026-05-11");
    has(letter, "P5: paid 10.00, right would have been 4.00; to be charged back 6.00 ");
    has(letter, "P8: paid 10.00, papers are missing; nothing is charged back: paid on 2026-03-10, longer ago "
                "than the 20 days ");
    /* the frame of the second sample holds these claims too, and its chargeback was extrapolated */
    letter = draft(UNCHARGED
                   "INSERT INTO chargebacks VALUES (1, 2, 'D2', 'extrapolated', '', '', 20584, '', NULL, NULL, "
                   "900000, 1, 1, 1, 0, 5000, '');",
                   probe_path("rules"), "2026-05-11");
    has(letter, "P5: paid 10.00, right would have been 4.00; nothing is charged back: the extrapolated "
                "chargeback of sample "
                "second covers it ");
    /* taken back already: by this sample, and by a reversal */
    letter = draft("SELECT 1", probe_path("rules"), "2026-05-11");
    has(letter, "P5: paid 10.00, right would have been 4.00; nothing is charged back: taken back already, or "
                "no longer paid ");
    letter = draft(UNCHARGED
                   "INSERT INTO office_decisions VALUES (9, 16, 'reverse', 'B', 'x', 20524, '', 1000, -700);",
                   probe_path("rules"), "2026-05-11");
    has(letter,
        "P5: paid 10.00, right would have been 4.00; to be charged back 3.00 "); /* 3.00 are paid still */
    /* no revision is paid any more, as an office file may say that was changed by other means */
    letter = draft(UNCHARGED "UPDATE claim_rows SET decision = 'refuse' WHERE row = 16;", probe_path("rules"),
                   "2026-05-11");
    has(letter, "nothing is charged back: another revision is paid since; audit that one ");
}

/* The rules of a region contradict each other: nothing is drawn by them. */
static void terms_that_contradict_each_other(void **state)
{
    const char *rules = rules_with("22", ""), *office = small_edited("SELECT 1");
    (void)state;

    write_words(words("%s/deadlines.csv", rules),
                "U,region,>audit_within_days\na,US-AK,1\nb,\"not(US-NY)\",2\n");
    struct result result = RUN("sample", "draw", "--name", "x", "--because", "y", "--size", "2", "--office",
                               office, "--rules", rules, "--today", "2026-04-01");
    assert_int_equal(result.code, 2);
    assert_non_null(strstr(result.err,
                           "deadlines.csv: more than one row is for region \"US-AK\"; leave one, `rules lint` "
                           "names them"));
    result_free(&result);
    /* a number of days that is below none, or more than there are */
    write_words(words("%s/deadlines.csv", rules),
                "U,region,>audit_within_days\na,US-AK,-5\nb,US-NY,999999999999\n");
    small_runs(RUN("sample", "draw", "--name", "x", "--because", "y", "--size", "2", "--office", office,
                   "--rules", rules, "--today", "2026-04-01", "--quiet"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_frames),
        cmocka_unit_test(more_strata_than_can_be),
        cmocka_unit_test(evaluations),
        cmocka_unit_test(worksheets),
        cmocka_unit_test(long_numbers),
        cmocka_unit_test(letters),
        cmocka_unit_test(limits_of_a_chargeback),
        cmocka_unit_test(terms_that_contradict_each_other),
    };

    return sodium_init() < 0 ? 1 : cmocka_run_group_tests_name("audit parts", tests, small_open, probe_close);
}
