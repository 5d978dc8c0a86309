#include "cli/check_one.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

#include "base/status.h"
#include "cli/claim_row.h"
#include "cli/dealer_page.h"
#include "cli/expected.h"
#include "verdict/batch.h"

struct asking {
    const struct options *options;
    struct desk desk;
    struct language *language;
    struct dealer_page page;
    struct history *history;
    struct fact_worker worker;
    bool worker_open;
    struct text
        cells[CLAIM_COLUMNS]; /* as answered, and as expected where not asked yet; in the desk's arena */
    bool answered[CLAIM_COLUMNS];
    char *line; /* getline's */
    size_t line_room;
    bool no_memory; /* something could not be said; noticed at the next question */
};

enum { STOPPED = -1 }; /* besides the statuses: the input ended */

enum { ROW_LINE = 2 }; /* of the file that is written: behind the header */

/* What a claim that is not asked for in full yet has in columns that must be there. */
static const char NOT_YET[] = "?";

/* --- Talking ----------------------------------------------------------------------------------------- */

static void print_wrapped(struct asking *asking, struct text words, size_t indent)
{
    struct buffer wrapped = BUFFER_EMPTY;

    for (size_t i = 0; i < indent; i++)
        buffer_add_byte(&wrapped, ' ');
    buffer_add_wrapped(&wrapped, words, indent, PAGE_WIDTH);
    printf("%.*s\n", (int)wrapped.length, wrapped.bytes != NULL ? wrapped.bytes : "");
    asking->no_memory = asking->no_memory || wrapped.failed;
    buffer_free(&wrapped);
}

static void print_said(struct asking *asking, size_t indent, enum sentence sentence, const struct said *said)
{
    struct buffer words = BUFFER_EMPTY;

    language_say(asking->language, &words, sentence, said);
    print_wrapped(asking, buffer_text(&words), indent);
    asking->no_memory = asking->no_memory || words.failed;
    buffer_free(&words);
}

#define PRINT(asking, indent, sentence, ...) \
    print_said(asking, indent, sentence, (const struct said[]){__VA_ARGS__ __VA_OPT__(, ){NULL, {NULL, 0}}})

/* The next line of the input, trimmed, in the desk's arena. */
static int read_line(struct asking *asking, struct text *ret_line)
{
    if (asking->no_memory)
        return WM_NO_MEMORY;
    fflush(stdout);
    errno = 0;
    ssize_t length = getline(&asking->line, &asking->line_room, stdin);
    if (length < 0 && errno == ENOMEM)
        return WM_NO_MEMORY;
    if (length < 0) {
        putchar('\n');
        return STOPPED;
    }
    if (asking->line[length - 1] == '\n') /* a line that is read has a character at least */
        length--;
    *ret_line = text_copy(&asking->desk.arena, text_trim((struct text){asking->line, (size_t)length}));
    return ret_line->bytes == NULL ? WM_NO_MEMORY : WM_OK;
}

/* "Claim number (column claim) [offered]: " */
static void prompt(struct asking *asking, struct text name, const char *column, struct text offered)
{
    struct buffer words = BUFFER_EMPTY;

    buffer_add_text(&words, name);
    buffer_add_byte(&words, ' ');
    SAY(asking->language, &words, SENTENCE_one_column, {"column", text_of(column)});
    if (offered.length > 0)
        buffer_format(&words, " [%.*s]", TEXT_ARGUMENTS(offered));
    buffer_add_string(&words, ": ");
    printf("%.*s", (int)words.length, words.bytes != NULL ? words.bytes : "");
    asking->no_memory = asking->no_memory || words.failed;
    buffer_free(&words);
}

/* Whether a doubtful answer is kept. */
static int ask_keep(struct asking *asking, bool *ret_keep)
{
    struct text answer;

    for (;;) {
        PRINT(asking, 2, SENTENCE_one_keep);
        int status = read_line(asking, &answer);
        if (status != WM_OK)
            return status;
        *ret_keep = text_equal_any_case(answer, language_text(asking->language, SENTENCE_one_yes));
        if (*ret_keep || text_equal_any_case(answer, language_text(asking->language, SENTENCE_one_no)))
            return WM_OK;
    }
}

/* --- Deciding what there is so far -------------------------------------------------------------------- */

/* The claim as the cells have it, decided. In an arena of its own. */
static int decide_so_far(struct asking *asking, struct arena *arena, struct dossier **ret_dossier)
{
    struct text cells[CLAIM_COLUMNS];
    struct dossier *dossier = ARENA_NEW(arena, struct dossier);

    if (dossier == NULL)
        return WM_NO_MEMORY;
    memcpy(cells, asking->cells, sizeof cells);
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        if (cells[column].length == 0 && claim_row_requires((enum claim_column)column))
            cells[column] = column == COLUMN_OUTCOME ? TEXT("repaired") : text_of(NOT_YET);
    dossier->campaign_number = -1;
    int status = claim_of_cells(cells, ROW_LINE, arena, &dossier->claim);
    if (status == WM_OK && !dossier->claim.unreadable)
        status = batch_decide_one(&asking->worker, asking->history, arena, dossier);
    *ret_dossier = dossier;
    return status;
}

static bool has_same(const struct dossier *dossier, const struct finding *finding)
{
    for (uint32_t i = 0; i < dossier->finding_count; i++)
        if (text_equal(dossier->findings[i].name, finding->name) &&
            text_equal(dossier->findings[i].item, finding->item) &&
            text_equal(dossier->findings[i].rule_row, finding->rule_row))
            return true;
    return false;
}

/* Says what this answer brought that was not there before. */
static int say_new(struct asking *asking, struct arena *arena, enum claim_column column,
                   const struct dossier *before, struct dossier *after, bool *ret_doubtful)
{
    struct text likely = TEXT("");
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < after->finding_count; i++) {
        const struct finding *finding = &after->findings[i];
        struct buffer message = BUFFER_EMPTY;
        if (finding->effect == EFFECT_NOTE || has_same(before, finding))
            continue;
        status = language_finding(asking->language, after, finding, &message);
        PRINT(asking, 2, SENTENCE_one_careful, {"message", buffer_text(&message)});
        buffer_free(&message);
        *ret_doubtful = true;
    }
    if (status == WM_OK && *ret_doubtful && column == COLUMN_VIN && !after->vehicle_known)
        status = dealer_page_likely(&asking->page, after->claim.vin, arena, &likely);
    if (status == WM_OK && likely.length > 0)
        print_wrapped(asking, likely, 2);
    return status;
}

/* The fault without its place: the answer stands right above. */
static struct text fault_alone(const struct claim *claim)
{
    struct text reason = claim->fault_reason;
    const char *end = memmem(reason.bytes, reason.length, "): ", 3);

    return end == NULL ? reason : (struct text){end + 3, reason.length - (size_t)(end + 3 - reason.bytes)};
}

/* The cells that follow from vehicle, campaign, outcome and what is answered: those not answered are filled in.
 */
static int expect(struct asking *asking)
{
    struct text cells[CLAIM_COLUMNS];
    int status =
        claim_row_expected(&asking->worker, &asking->desk.arena, asking->cells, asking->answered, cells);

    for (int column = 0; status == WM_OK && column < CLAIM_COLUMNS; column++)
        if (!asking->answered[column] && cells[column].bytes != NULL)
            asking->cells[column] = cells[column];
    return status;
}

/* Whether the answer that stands in the cells now is taken: *ret_taken. */
static int judge(struct asking *asking, enum claim_column column, struct text before_answer, bool *ret_taken)
{
    struct arena arena = ARENA_EMPTY;
    struct dossier *before = NULL, *after = NULL;
    struct text answer = asking->cells[column];
    bool doubtful = false;
    int status;

    asking->cells[column] = before_answer;
    status = decide_so_far(asking, &arena, &before);
    asking->cells[column] = answer;
    asking->answered[column] = true;
    if (status == WM_OK)
        status = expect(asking); /* what follows from the answer, amounts above all */
    if (status == WM_OK)
        status = decide_so_far(asking, &arena, &after);
    *ret_taken = true;
    if (status == WM_OK && after->claim.unreadable && after->claim.fault_column == (uint32_t)column + 1) {
        struct buffer fault = BUFFER_EMPTY;
        language_fault(asking->language, fault_alone(&after->claim), &fault);
        PRINT(asking, 2, SENTENCE_one_again, {"fault", buffer_text(&fault)});
        asking->no_memory = asking->no_memory || fault.failed;
        buffer_free(&fault);
        *ret_taken = false;
    } else if (status == WM_OK && !after->claim.unreadable) {
        status = say_new(asking, &arena, column, before, after, &doubtful);
        if (status == WM_OK && doubtful)
            status = ask_keep(asking, ret_taken);
    }
    arena_free(&arena);
    return status;
}

/* --- What is expected --------------------------------------------------------------------------------- */

/* The campaign that takes the vehicle in, is open today, replaced by none that does too, and is not done:
 * offered. */
static int offer_campaign(struct asking *asking)
{
    const struct rules *rules = asking->desk.rules;
    struct arena *arena = &asking->desk.arena;
    struct completion *done = NULL;
    uint32_t done_count = 0;
    int status = pack_completions(asking->desk.pack, asking->cells[COLUMN_VIN], arena, &done, &done_count);

    for (uint32_t i = 0; status == WM_OK && i < rules->campaign_count; i++) {
        const struct campaign *campaign = &rules->campaigns[i];
        bool eligible = false, is_done = false, is_open = claim_row_is_open(campaign, asking->options->today);
        status = claim_row_eligible(&asking->worker, arena, campaign, asking->cells[COLUMN_VIN], &eligible);
        for (uint32_t k = 0; k < done_count; k++)
            is_done = is_done || text_equal(done[k].campaign, campaign->id);
        if (status == WM_OK && eligible && is_open && !is_done)
            asking->cells[COLUMN_CAMPAIGN] = campaign->id; /* of several the last: the newest number */
    }
    return status;
}

static int offer(struct asking *asking, enum claim_column column)
{
    char today[DATE_ROOM];
    struct text day = {today, date_write(asking->options->today, today)};

    switch (column) {
    case COLUMN_DEALER: asking->cells[column] = pack_head(asking->desk.pack)->dealer; return WM_OK;
    case COLUMN_CAMPAIGN: return offer_campaign(asking);
    case COLUMN_OUTCOME: asking->cells[column] = TEXT("repaired"); return WM_OK;
    case COLUMN_REVISION: asking->cells[column] = TEXT("0"); return WM_OK;
    case COLUMN_ODOMETER_UNIT: asking->cells[column] = TEXT("mi"); return WM_OK;
    case COLUMN_COMPLETED_ON:
    case COLUMN_SUBMITTED_ON:
        asking->cells[column] = text_copy(&asking->desk.arena, day);
        return asking->cells[column].bytes == NULL ? WM_NO_MEMORY : WM_OK;
    default: return expect(asking);
    }
}

/* --- Asking -------------------------------------------------------------------------------------------- */

/* One field, until an answer is taken. */
static int ask_column(struct asking *asking, enum claim_column column)
{
    int status = offer(asking, column);
    struct text offered = asking->cells[column], answer;
    bool taken = false;

    while (status == WM_OK && !taken) {
        prompt(asking, language_text(asking->language, (enum sentence)(SENTENCE_field_claim + (int)column)),
               claim_column_name(column), offered);
        status = read_line(asking, &answer);
        if (status != WM_OK)
            return status;
        asking->cells[column] = answer.length == 0 ? offered : text_is(answer, "-") ? TEXT("") : answer;
        if (column == COLUMN_VIN)
            asking->cells[column] = text_upper(&asking->desk.arena, asking->cells[column]);
        if (asking->cells[column].bytes == NULL)
            return WM_NO_MEMORY;
        if (asking->cells[column].length == 0 && claim_row_requires(column)) {
            PRINT(asking, 2, SENTENCE_one_required);
            continue;
        }
        status = judge(asking, column, offered, &taken);
    }
    asking->answered[column] = true;
    return status;
}

/* The result of one inspection, put behind the others. */
static int ask_inspection(struct asking *asking, struct text item, struct text expects)
{
    struct text before = asking->cells[COLUMN_INSPECTIONS], answer;
    struct arena *arena = &asking->desk.arena;
    struct buffer name = BUFFER_EMPTY;
    bool taken = false;
    int status = WM_OK;

    SAY(asking->language, &name,
        expects.length > 0 ? SENTENCE_sheet_inspection_expects : SENTENCE_sheet_inspection,
        {"inspection", item}, {"expects", expects});
    while (status == WM_OK && !taken) {
        prompt(asking, buffer_text(&name), claim_column_name(COLUMN_INSPECTIONS), TEXT(""));
        status = read_line(asking, &answer);
        if (status != WM_OK)
            break;
        asking->cells[COLUMN_INSPECTIONS] =
            answer.length == 0 || text_is(answer, "-")
                ? before
                : text_format(arena, "%.*s%s%.*s=%.*s", TEXT_ARGUMENTS(before), before.length > 0 ? "; " : "",
                              TEXT_ARGUMENTS(item), TEXT_ARGUMENTS(answer));
        if (asking->cells[COLUMN_INSPECTIONS].bytes == NULL)
            status = WM_NO_MEMORY;
        else
            status = judge(asking, COLUMN_INSPECTIONS, before, &taken);
    }
    asking->no_memory = asking->no_memory || name.failed;
    buffer_free(&name);
    return status;
}

static struct text joined_tests(struct asking *asking, const struct expected_inspection *inspection)
{
    struct buffer words = BUFFER_EMPTY;

    for (uint32_t i = 0; i < inspection->test_count; i++) {
        buffer_add_string(&words, i > 0 ? " + " : "");
        buffer_add_text(&words, inspection->tests[i]->expects);
    }
    struct text text = text_copy(&asking->desk.arena, buffer_text(&words));
    asking->no_memory = asking->no_memory || words.failed || text.bytes == NULL;
    buffer_free(&words);
    return text;
}

/* Those that the campaign asks for; where it asks for none, the list as the dealer writes it. */
static int ask_inspections(struct asking *asking)
{
    struct dossier *dossier = NULL;
    int status;

    asking->cells[COLUMN_INSPECTIONS] = TEXT("");
    status = decide_so_far(asking, &asking->desk.arena, &dossier);
    if (status != WM_OK)
        return status;
    const struct expectation *expectation = dossier->expectation;
    if (expectation == NULL || expectation->inspection_count == 0)
        return ask_column(asking, COLUMN_INSPECTIONS);
    for (uint32_t i = 0; status == WM_OK && i < expectation->inspection_count; i++)
        status = ask_inspection(asking, expectation->inspections[i].shown,
                                joined_tests(asking, &expectation->inspections[i]));
    asking->answered[COLUMN_INSPECTIONS] = true;
    return status;
}

static int ask_all(struct asking *asking)
{
    static const enum claim_column ORDER[] = {
        COLUMN_DEALER,       COLUMN_VIN,          COLUMN_CAMPAIGN,      COLUMN_OUTCOME,
        COLUMN_CLAIM,        COLUMN_REVISION,     COLUMN_REPAIR_ORDER,  COLUMN_MODEL_YEAR,
        COLUMN_ENGINE,       COLUMN_ODOMETER,     COLUMN_ODOMETER_UNIT, COLUMN_OPENED_ON,
        COLUMN_COMPLETED_ON, COLUMN_SUBMITTED_ON, COLUMN_TECHNICIAN,    COLUMN_APPROVAL,
        COLUMN_INSPECTIONS,  COLUMN_PARTS,        COLUMN_LABOR,         COLUMN_PARTS_AMOUNT,
        COLUMN_LABOR_AMOUNT, COLUMN_OTHER_AMOUNT, COLUMN_TOTAL_AMOUNT};
    int status = WM_OK;

    PRINT(asking, 0, SENTENCE_one_begin);
    for (size_t i = 0; status == WM_OK && i < sizeof ORDER / sizeof *ORDER; i++)
        status = ORDER[i] == COLUMN_INSPECTIONS ? ask_inspections(asking) : ask_column(asking, ORDER[i]);
    return status;
}

/* --- The end ------------------------------------------------------------------------------------------- */

static int write_row(struct asking *asking)
{
    struct buffer row = BUFFER_EMPTY;
    struct output output;
    int status = output_open(&output, asking->options->arguments[0], &asking->desk.sink);

    if (status != WM_OK)
        return status;
    claim_row_header(&row);
    claim_row_write(&row, asking->cells);
    output_add(&output, row.bytes, row.length);
    if (row.failed)
        output_drop(&output);
    status = row.failed ? WM_NO_MEMORY : output_close(&output, &asking->desk.sink);
    buffer_free(&row);
    return status;
}

/* Says what the claim comes to, and writes it in any case: who asks for it may still send it. */
static int finish(struct asking *asking, bool *ret_clean)
{
    struct buffer page = BUFFER_EMPTY;
    struct dossier *dossier = NULL;
    int status = decide_so_far(asking, &asking->desk.arena, &dossier);

    if (status == WM_OK && dossier->claim.unreadable) /* a fault of one field that came by another */
        diag_error(&asking->desk.sink, (struct place){{NULL, 0}, 0, 0}, "%.*s",
                   TEXT_ARGUMENTS(dossier->claim.fault_reason));
    if (status == WM_OK && !dossier->claim.unreadable)
        status = dealer_page_write(&asking->page, dossier, &page);
    printf("\n%.*s", (int)page.length, page.bytes != NULL ? page.bytes : "");
    buffer_free(&page);
    *ret_clean = status == WM_OK && !dossier->claim.unreadable && dossier->decision == DECISION_PAY &&
                 dossier->payable_cents >= dossier->claim.total_amount_cents;
    if (status == WM_OK)
        status = asking->no_memory ? WM_NO_MEMORY : write_row(asking);
    if (status == WM_OK) {
        PRINT(asking, 0, *ret_clean ? SENTENCE_one_written : SENTENCE_one_written_anyway,
              {"file", text_of(asking->options->arguments[0])});
        PRINT(asking, 0, SENTENCE_one_warned);
        if (asking->no_memory)
            diag_warning(&asking->desk.sink, (struct place){text_of(asking->options->arguments[0]), 0, 0},
                         "the claim is written, but there was no memory to say so");
    }
    return status;
}

static int open_asking(struct asking *asking)
{
    struct desk *desk = &asking->desk;
    int status = desk_open_pack(desk, asking->options);

    if (status == WM_OK)
        status = language_open(&desk->arena, desk->rules, asking->options->given[OPTION_LANG], &desk->sink,
                               &asking->language);
    asking->page = (struct dealer_page){desk, asking->language};
    if (status == WM_OK)
        status = history_new(desk->rules, pack_history(desk->pack), &asking->history);
    if (status == WM_OK)
        status = fact_worker_open(&asking->worker, &desk->day);
    asking->worker_open = status == WM_OK;
    for (int column = 0; column < CLAIM_COLUMNS; column++)
        asking->cells[column] = TEXT("");
    return status;
}

static const char *what_does_not_fit(const struct options *options)
{
    struct stat about;

    if (options->given[OPTION_PACK] == NULL)
        return "--one needs the office's pack; name it with --pack";
    if (options->argument_count != 1)
        return "--one writes the claim to a file; name one file";
    if (stat(options->arguments[0], &about) == 0)
        return "--one writes a new file, and there is one of this name; choose another";
    return NULL;
}

int check_one(const struct options *options)
{
    struct asking asking = {.options = options};
    const char *wrong = what_does_not_fit(options);
    bool clean = false;

    if (wrong != NULL) {
        fprintf(stderr, "witnessmark: %s\n", wrong);
        return EXIT_UNUSABLE;
    }
    int status = open_asking(&asking);
    if (status == WM_OK)
        status = ask_all(&asking);
    if (status == WM_OK)
        status = finish(&asking, &clean);
    if (status == STOPPED)
        PRINT(&asking, 0, SENTENCE_one_stopped);
    if (status == WM_OK && fflush(stdout) != 0)
        diag_warning(&asking.desk.sink, (struct place){text_of(options->arguments[0]), 0, 0},
                     "the claim is written, but what there is to say could not be printed: %s", strerror(errno));
    status = desk_end_reading(&asking.desk, status);
    if (asking.worker_open)
        fact_worker_close(&asking.worker);
    history_free(asking.history);
    language_close(asking.language);
    desk_close(&asking.desk);
    free(asking.line);
    if (status != WM_OK)
        return status == STOPPED ? EXIT_UNUSABLE : cli_exit(status);
    return clean ? EXIT_DONE : EXIT_FOUND;
}
