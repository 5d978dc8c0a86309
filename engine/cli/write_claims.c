#include "cli/write_claims.h"

#include <jansson.h>

#include "base/add_dump.h"
#include "base/shown.h"
#include "base/status.h"

/* --- CSV
 * ------------------------------------------------------------------------------------------------------ */

static void add_cell(struct buffer *out, struct text cell)
{
    buffer_add_csv(out, cell);
    buffer_add_byte(out, ',');
}

static void add_number_cell(struct buffer *out, uint64_t number)
{
    buffer_add_number(out, number);
    buffer_add_byte(out, ',');
}

void write_claims_header(struct buffer *out, bool with_file)
{
    buffer_add_string(out, with_file ? "file," : "");
    buffer_add_string(out, "line,claim,revision,dealer,campaign,vin,decision,asked,payable,due,findings\n");
}

void write_findings_header(struct buffer *out, bool with_file)
{
    buffer_add_string(out, with_file ? "file," : "");
    buffer_add_string(out, "line,claim,revision,dealer,effect,finding,item,message,rule\n");
}

/* The names of the findings, in their order, each once; equal names of one effect stand together. */
static void add_finding_names(struct buffer *out, const struct dossier *dossier)
{
    for (uint32_t i = 0; i < dossier->finding_count; i++) {
        const struct finding *finding = &dossier->findings[i];
        bool again = false;
        for (uint32_t k = 0; k < i && !again; k++)
            again = text_equal(dossier->findings[k].name, finding->name);
        if (again)
            continue;
        if (i > 0)
            buffer_add_byte(out, ';');
        buffer_add_text(out, finding->name);
    }
}

static int64_t shown_revision(const struct claim *claim)
{
    return claim->unreadable ? 0 : claim->revision;
}

/* A night has a million of these rows: room for all but the findings is asked for once, and written to as it is. */

static char *put_cell(char *at, struct text cell)
{
    at += csv_cell_write(cell, at);
    *at++ = ',';
    return at;
}

static char *put_number(char *at, uint64_t number)
{
    at += whole_write(number, at);
    *at++ = ',';
    return at;
}

static char *put_money(char *at, int64_t cents)
{
    at += money_write(cents, at);
    *at++ = ',';
    return at;
}

void write_claim(struct buffer *out, struct text file, const struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;
    const struct text cells[] = {claim->cells[COLUMN_CLAIM], claim->cells[COLUMN_DEALER],
                                 claim->cells[COLUMN_CAMPAIGN], claim->vin,
                                 text_of(decision_name(dossier->decision))};
    enum { NUMBERS = 5, CELLS = sizeof cells / sizeof cells[0] };
    size_t most = NUMBERS * DECIMAL_ROOM + CSV_CELL_ROOM(file);

    for (size_t i = 0; i < CELLS; i++)
        most += CSV_CELL_ROOM(cells[i]);
    char *room = buffer_room(out, most), *at = room;
    if (room == NULL)
        return;
    if (file.bytes != NULL)
        at = put_cell(at, file);
    at = put_number(at, claim->line);
    at = put_cell(at, cells[0]);
    at = put_number(at, (uint64_t)shown_revision(claim));
    for (size_t i = 1; i < CELLS; i++)
        at = put_cell(at, cells[i]);
    if (claim->total_is_known)
        at = put_money(at, claim->total_amount_cents);
    else
        *at++ = ',';
    at = put_money(at, dossier->payable_cents);
    at = put_money(at, dossier->due_cents);
    out->length += (size_t)(at - room);
    add_finding_names(out, dossier);
    buffer_add_byte(out, '\n');
}

/* FILE:ROW of the rule; the file alone where no row is to blame. */
static struct text rule_of(const struct finding *finding, struct buffer *room)
{
    buffer_clear(room);
    buffer_add_text(room, finding->rule_file);
    if (finding->rule_row.length > 0) {
        buffer_add_byte(room, ':');
        buffer_add_text(room, finding->rule_row);
    }
    return buffer_text(room);
}

void write_findings(struct buffer *out, struct text file, const struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;
    struct buffer rule = BUFFER_EMPTY;

    for (uint32_t i = 0; i < dossier->finding_count; i++) {
        const struct finding *finding = &dossier->findings[i];
        if (file.bytes != NULL)
            add_cell(out, file);
        add_number_cell(out, claim->line);
        add_cell(out, claim->cells[COLUMN_CLAIM]);
        add_number_cell(out, (uint64_t)shown_revision(claim));
        add_cell(out, claim->cells[COLUMN_DEALER]);
        add_cell(out, text_of(effect_name(finding->effect)));
        add_cell(out, finding->name);
        add_cell(out, finding->item);
        add_cell(out, finding->message);
        buffer_add_csv(out, rule_of(finding, &rule));
        buffer_add_byte(out, '\n');
    }
    if (rule.failed)
        out->failed = true;
    buffer_free(&rule);
}

/* --- JSON
 * ------------------------------------------------------------------------------------------------------- */

enum { MONEY_DIGITS = 15 }; /* what a double holds of a decimal number: more than any claim's cents */

static json_t *json_of(struct text t)
{
    return json_stringn(t.bytes != NULL ? t.bytes : "", t.length);
}

json_t *json_money(int64_t cents)
{
    return json_real((double)cents / 100);
}

/* Takes the value, also where it fails: then there is no memory. */
static void set(json_t *object, const char *name, json_t *value, bool *failed)
{
    if (json_object_set_new(object, name, value) != 0)
        *failed = true;
}

static json_t *json_finding(const struct finding *finding, struct buffer *room, bool *failed)
{
    json_t *object = json_object();

    set(object, "effect", json_string(effect_name(finding->effect)), failed);
    set(object, "finding", json_of(finding->name), failed);
    set(object, "item", json_of(finding->item), failed);
    set(object, "message", json_of(finding->message), failed);
    set(object, "rule", json_of(rule_of(finding, room)), failed);
    if (room->failed)
        *failed = true;
    return object;
}

static json_t *json_claim(struct text file, const struct dossier *dossier, struct buffer *room, bool *failed)
{
    const struct claim *claim = &dossier->claim;
    json_t *object = json_object(), *findings = json_array();

    if (file.bytes != NULL)
        set(object, "file", json_of(file), failed);
    set(object, "line", json_integer((json_int_t)claim->line), failed);
    set(object, "claim", json_of(claim->cells[COLUMN_CLAIM]), failed);
    set(object, "revision", json_integer(shown_revision(claim)), failed);
    set(object, "dealer", json_of(claim->cells[COLUMN_DEALER]), failed);
    set(object, "campaign", json_of(claim->cells[COLUMN_CAMPAIGN]), failed);
    set(object, "vin", json_of(claim->vin), failed);
    set(object, "decision", json_string(decision_name(dossier->decision)), failed);
    set(object, "asked", claim->total_is_known ? json_money(claim->total_amount_cents) : json_null(), failed);
    set(object, "payable", json_money(dossier->payable_cents), failed);
    set(object, "due", json_money(dossier->due_cents), failed);
    for (uint32_t i = 0; i < dossier->finding_count; i++)
        if (json_array_append_new(findings, json_finding(&dossier->findings[i], room, failed)) != 0)
            *failed = true;
    set(object, "findings", findings, failed);
    return object;
}

int write_claim_json(struct buffer *out, struct text file, const struct dossier *dossier)
{
    struct buffer room = BUFFER_EMPTY;
    bool failed = false;
    json_t *object = json_claim(file, dossier, &room, &failed);

    if (!failed)
        failed =
            json_dump_callback(object, add_dump, out, JSON_COMPACT | JSON_REAL_PRECISION(MONEY_DIGITS)) != 0;

    buffer_add_byte(out, '\n');
    json_decref(object);
    buffer_free(&room);
    return failed ? WM_NO_MEMORY : WM_OK;
}

/* --- Text
 * ------------------------------------------------------------------------------------------------------- */

enum { TEXT_WIDTH = 80 };

static void add_claim_line(struct buffer *out, struct text file, const struct dossier *dossier)
{
    const struct claim *claim = &dossier->claim;

    if (file.bytes != NULL) {
        buffer_say(out, "%.*s ", TEXT_ARGUMENTS(file));
    }
    buffer_say(out, "line %llu", (unsigned long long)claim->line);
    if (claim->cells[COLUMN_DEALER].length + claim->cells[COLUMN_CLAIM].length > 0)
        buffer_say(out, "  %.*s/%.*s", TEXT_ARGUMENTS(claim->cells[COLUMN_DEALER]),
                      TEXT_ARGUMENTS(claim->cells[COLUMN_CLAIM]));
    if (shown_revision(claim) > 0)
        buffer_say(out, " revision %lld", (long long)claim->revision);
    buffer_say(out, "  %s", decision_name(dossier->decision));
    if (claim->total_is_known) {
        buffer_add_string(out, "  asked ");
        buffer_add_money(out, claim->total_amount_cents);
        buffer_add_string(out, "  payable ");
        buffer_add_money(out, dossier->payable_cents);
        if (dossier->paid_before_cents != 0) {
            buffer_add_string(out, "  due ");
            buffer_add_money(out, dossier->due_cents);
        }
    }
    buffer_add_byte(out, '\n');
}

void write_claim_text(struct buffer *out, struct text file, const struct dossier *dossier)
{
    enum { INDENT = 6 };

    if (dossier->finding_count == 0)
        return;
    add_claim_line(out, file, dossier);
    for (uint32_t i = 0; i < dossier->finding_count; i++) {
        const struct finding *finding = &dossier->findings[i];
        buffer_say(out, "    %s: %.*s", effect_name(finding->effect), TEXT_ARGUMENTS(finding->name));
        if (finding->item.length > 0)
            buffer_say(out, ", %.*s", TEXT_ARGUMENTS(finding->item));
        buffer_add_string(out, "\n      ");
        buffer_say_wrapped(out, finding->message, INDENT, TEXT_WIDTH);
        buffer_add_byte(out, '\n');
    }
}
