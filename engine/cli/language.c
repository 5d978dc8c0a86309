#include "cli/language.h"

#include <assert.h>
#include <stdlib.h>

#include "base/sheet.h"
#include "base/status.h"
#include "facts/establish.h"

#define KEY(key, english) #key,
static const char *const KEYS[SENTENCES] = {SENTENCE_LIST(KEY) FAULT_LIST(KEY)};
#undef KEY

#define ENGLISH(key, english) english,
static const char *const ENGLISH_TEXTS[SENTENCES] = {SENTENCE_LIST(ENGLISH) FAULT_LIST(ENGLISH)};
#undef ENGLISH

struct language {
    const struct rules *rules;
    struct arena *arena;
    struct text file;        /* empty: English */
    struct text_index index; /* key to number in list */
    struct text *keys, *texts;
    uint64_t *lines;
    uint32_t count, capacity;
};

/* --- Reading ----------------------------------------------------------------------------------------- */

enum { FILE_KEY, FILE_TEXT, FILE_ENGLISH, FILE_COLUMNS };
static const struct csv_column COLUMNS[FILE_COLUMNS] = {{"key", true}, {"text", true}, {"english", false}};

static int read_message(void *context, const struct sheet *sheet)
{
    struct language *language = context;
    struct text key = sheet_cell(sheet, FILE_KEY), text = sheet_cell(sheet, FILE_TEXT);

    if (text.length == 0)
        return WM_OK;
    if (language->count == language->capacity) {
        uint32_t capacity = language->capacity ? language->capacity * 2 : 256;
        language->keys = arena_grown(language->arena, language->keys, language->count, capacity, sizeof key);
        language->texts = arena_grown(language->arena, language->texts, language->count, capacity, sizeof key);
        language->lines =
            arena_grown(language->arena, language->lines, language->count, capacity, sizeof *language->lines);
        if (language->keys == NULL || language->texts == NULL || language->lines == NULL)
            return WM_NO_MEMORY;
        language->capacity = capacity;
    }
    uint32_t number = text_index_add(&language->index, key, language->count);
    if (number == TEXT_INDEX_NONE)
        return WM_NO_MEMORY;
    if (number != language->count) {
        diag_error(sheet->sink, sheet_place(sheet, FILE_KEY), "the key \"%.*s\" stands twice; remove one",
                   TEXT_ARGUMENTS(key));
        return WM_OK;
    }
    language->keys[number] = key;
    language->texts[number] = text;
    language->lines[number] = sheet->row->line;
    language->count++;
    return WM_OK;
}

/* Names the languages that there are. */
static void report_none(const struct language *language, const char *code, struct diag_sink *sink)
{
    const struct rules_files *files = language->rules->files;
    struct buffer list = BUFFER_EMPTY;

    for (uint32_t i = 0; i < files->count; i++) {
        struct text path = files->files[i].path;
        if (text_starts_with(path, TEXT("messages/")))
            buffer_format(&list, ", %.*s", TEXT_ARGUMENTS(((struct text){path.bytes + 9, path.length - 13})));
    }
    diag_error(sink, (struct place){{NULL, 0}, 0, 0},
               "there are no messages in the language \"%s\"; choose one of "
               "en%.*s",
               code, TEXT_ARGUMENTS(buffer_text(&list)));
    buffer_free(&list);
}

static int read_file(struct language *language, const char *code, struct diag_sink *sink)
{
    struct text path = text_format(language->arena, "messages/%s.csv", code);
    const struct rules_file *file = path.bytes != NULL ? rules_files_find(language->rules->files, path) : NULL;

    if (path.bytes == NULL)
        return WM_NO_MEMORY;
    if (file == NULL && text_is(text_of(code), "en"))
        return WM_OK;
    if (file == NULL) {
        report_none(language, code, sink);
        return WM_BAD_INPUT;
    }
    language->file = path;
    return sheet_read(language->arena, path, csv_without_mark(file->bytes), COLUMNS, FILE_COLUMNS, read_message,
                      language, sink);
}

int language_open(struct arena *arena, const struct rules *rules, const char *code, struct diag_sink *sink,
                  struct language **ret_language)
{
    struct language *language = ARENA_NEW(arena, struct language);

    if (language == NULL)
        return WM_NO_MEMORY;
    language->rules = rules;
    language->arena = arena;
    int status = code != NULL ? read_file(language, code, sink) : WM_OK;
    if (status != WM_OK)
        language_close(language);
    else
        *ret_language = language;
    return status;
}

void language_close(struct language *language)
{
    if (language != NULL)
        text_index_free(&language->index);
}

/* The translation under this key, or the original. */
static struct text translated(const struct language *language, struct text key, struct text original)
{
    uint32_t number = text_index_find(&language->index, key);

    return number == TEXT_INDEX_NONE ? original : language->texts[number];
}

struct text language_text(const struct language *language, enum sentence sentence)
{
    return translated(language, text_of(KEYS[sentence]), text_of(ENGLISH_TEXTS[sentence]));
}

/* --- Places ------------------------------------------------------------------------------------------ */

/* Cuts the next place off a text: what stands before it, its name, what is left. False: there is none. */
static bool next_place(struct text *rest, struct text *ret_before, struct text *ret_name)
{
    const char *open = rest->length > 0 ? memchr(rest->bytes, '{', rest->length) : NULL;
    const char *close = open != NULL ? memchr(open, '}', (size_t)(rest->bytes + rest->length - open)) : NULL;

    if (close == NULL) {
        *ret_before = *rest;
        return false;
    }
    *ret_before = (struct text){rest->bytes, (size_t)(open - rest->bytes)};
    *ret_name = text_trim((struct text){open + 1, (size_t)(close - open - 1)});
    *rest = (struct text){close + 1, (size_t)(rest->bytes + rest->length - close - 1)};
    return true;
}

static struct text value_of(const struct said *said, struct text name)
{
    for (; said->name != NULL; said++)
        if (text_is(name, said->name))
            return said->value;
    return (struct text){"", 0};
}

static void fill(struct buffer *out, struct text text, const struct said *said)
{
    struct text before, name;

    while (next_place(&text, &before, &name)) {
        buffer_add_text(out, before);
        buffer_add_text(out, value_of(said, name));
    }
    buffer_add_text(out, before);
}

void language_say(const struct language *language, struct buffer *out, enum sentence sentence,
                  const struct said *said)
{
    fill(out, language_text(language, sentence), said);
}

/* --- Campaigns --------------------------------------------------------------------------------------- */

static struct text campaign_key(struct buffer *room, const struct campaign *campaign, const char *key)
{
    buffer_clear(room);
    buffer_format(room, "campaigns/%.*s/campaign.csv:%s", TEXT_ARGUMENTS(campaign->id), key);
    return buffer_text(room);
}

static struct text original_of_campaign(const struct campaign *campaign, const char *key)
{
    return strcmp(key, "title") == 0  ? campaign->title
           : strcmp(key, "kind") == 0 ? campaign->kind
                                      : campaign->hazard;
}

struct text language_of_campaign(const struct language *language, const struct campaign *campaign,
                                 const char *key, struct buffer *user)
{
    struct buffer room = BUFFER_EMPTY;
    struct text text =
        translated(language, campaign_key(&room, campaign, key), original_of_campaign(campaign, key));

    buffer_free_into(&room, user);
    return text;
}

/* --- Findings ---------------------------------------------------------------------------------------- */

/* The row of a check that made a finding. */
static const struct check *check_of(const struct rules *rules, struct text file, struct text row_name,
                                    uint32_t *ret_row, enum scope *ret_scope)
{
    for (int scope = 0; scope < SCOPES; scope++) {
        for (uint32_t i = 0; i < rules->check_count[scope]; i++) {
            const struct check *check = &rules->checks[scope][i];
            if (!text_equal(table_file(check->table), file))
                continue;
            for (uint32_t row = 0; row < table_row_count(check->table); row++) {
                if (!text_equal(table_row_name(check->table, row), row_name))
                    continue;
                *ret_row = row;
                *ret_scope = (enum scope)scope;
                return check;
            }
        }
    }
    return NULL;
}

static struct text row_key(struct buffer *room, struct text file, struct text row)
{
    buffer_clear(room);
    buffer_format(room, "%.*s:%.*s", TEXT_ARGUMENTS(file), TEXT_ARGUMENTS(row));
    return buffer_text(room);
}

/* The message of a check's row as its table writes it; no check is without this column. */
static struct text written_message(const struct check *check, uint32_t row)
{
    return value_as_text(table_output(check->table, row, (uint32_t)check->message_output));
}

static bool is_fact(enum fact_id id, enum scope scope, struct text name)
{
    const struct fact_kind *kind = fact_kind(id);
    bool fits = kind->scope == scope || (kind->scope == SCOPE_ITEM && scope != SCOPE_CLAIM);

    return fits && text_is(name, kind->name);
}

/* The slot of a fact as a check of this scope names it; -1: no table asks for it. */
static int slot_named(const struct rules *rules, enum scope scope, struct text name)
{
    for (int id = 0; id < FACT_COUNT; id++)
        if (is_fact((enum fact_id)id, scope, name) || is_fact((enum fact_id)id, SCOPE_CLAIM, name))
            return rules_slot(rules, (enum fact_id)id);
    for (uint32_t i = 0; i < rules->dictionary->named_count; i++)
        if (text_equal(rules->dictionary->named[i].name, name))
            return (int)rules->dictionary->named[i].slot;
    return -1;
}

/* unknown: what stands in the place of a fact that is null. */
static void fill_with_facts(const struct rules *rules, enum scope scope, const struct value *facts,
                            struct text text, struct text unknown, struct buffer *out)
{
    struct text before, name;

    while (next_place(&text, &before, &name)) {
        int slot = slot_named(rules, scope, name);
        buffer_add_text(out, before);
        if (slot >= 0 && facts[slot].type != VALUE_NULL)
            value_write(facts[slot], out);
        else
            buffer_add_text(out, unknown);
    }
    buffer_add_text(out, before);
}

/* The item that a finding is about (verdict/checks.c numbers them). */
static const struct item *item_of(const struct dossier *dossier, const struct finding *finding)
{
    uint32_t number = finding->item_order - 1;

    if (finding->item_order == 0)
        return NULL;
    if (number >= dossier->item_count)
        number -= dossier->item_count;
    assert(number < dossier->item_count);
    return &dossier->items[number];
}

/* A check's message in this language, without what an approval puts before it. */
static void add_message(const struct language *language, struct dossier *dossier, const struct finding *finding,
                        struct buffer *out)
{
    const struct item *item = item_of(dossier, finding);
    struct buffer room = BUFFER_EMPTY;
    enum scope scope;
    uint32_t row;
    const struct check *check = check_of(language->rules, finding->rule_file, finding->rule_row, &row, &scope);

    if (check == NULL) {
        language_fault(language, finding->message, out);
        return;
    }
    if (item != NULL)
        facts_of_item(language->rules, item, dossier->facts);
    struct text text = translated(language, row_key(&room, finding->rule_file, finding->rule_row),
                                  written_message(check, row));
    fill_with_facts(language->rules, scope, dossier->facts, text, TEXT(""), out);
    buffer_free_into(&room, out);
}

int language_finding(const struct language *language, struct dossier *dossier, const struct finding *finding,
                     struct buffer *out)
{
    struct buffer message = BUFFER_EMPTY;

    if (finding->effect == finding->effect_of_table) {
        add_message(language, dossier, finding, out);
    } else {
        assert(dossier->approval != NULL); /* nothing else changes what a table says */
        add_message(language, dossier, finding, &message);
        SAY(language, out, SENTENCE_approved, {"approval", dossier->approval->number},
            {"message", buffer_text(&message)});
    }
    int status = message.failed || out->failed ? WM_NO_MEMORY : WM_OK;
    buffer_free(&message);
    return status;
}

void language_possible(const struct language *language, const struct dossier *dossier, struct text rule_file,
                       struct text rule_row, struct buffer *out)
{
    struct buffer room = BUFFER_EMPTY;
    enum scope scope;
    uint32_t row;
    const struct check *check = check_of(language->rules, rule_file, rule_row, &row, &scope);

    assert(check != NULL); /* what is possible comes of a row of these rules */
    fill_with_facts(language->rules, scope, dossier->facts,
                    translated(language, row_key(&room, rule_file, rule_row), written_message(check, row)),
                    language_text(language, SENTENCE_office_secret), out);
    buffer_free_into(&room, out);
}

/* --- Reasons found again by their words --------------------------------------------------------------- */

enum { MOST_PLACES = 6, MOST_DEPTH = 4 };

struct matching {
    struct said places[MOST_PLACES + 1];
    char names[MOST_PLACES][24];
    int count;
};

static bool find_fault(const struct language *language, struct text reason, int depth, struct buffer *out);

/* Whether the words have the form of the text; what stands in its places goes to the matching. `{fault}` must
 * itself be a reason that is known. */
static bool matches(const struct language *language, struct text form, struct text words, int depth,
                    struct matching *matching)
{
    struct text before, name, rest = form;
    bool has_place = next_place(&rest, &before, &name);

    if (!text_starts_with(words, before))
        return false;
    words = (struct text){words.bytes + before.length, words.length - before.length};
    if (!has_place)
        return words.length == 0;
    assert(matching->count < MOST_PLACES); /* the forms are our own texts */
    int number = matching->count++;
    memcpy(matching->names[number], name.bytes, name.length < 23 ? name.length : 23);
    matching->names[number][name.length < 23 ? name.length : 23] = '\0';
    for (size_t length = rest.length == 0 ? words.length : 0; length <= words.length; length++) {
        struct text value = {words.bytes, length}, behind = {words.bytes + length, words.length - length};
        matching->places[number] = (struct said){matching->names[number], value};
        matching->count = number + 1;
        if ((text_is(name, "fault") && !find_fault(language, value, depth + 1, NULL)) ||
            !matches(language, rest, behind, depth, matching))
            continue;
        return true;
    }
    matching->count = number;
    return false;
}

/* Places of a reason that are themselves words of the program. */
static void translate_places(const struct language *language, struct matching *matching, int depth,
                             struct buffer *faults)
{
    static const enum sentence WHATS[] = {SENTENCE_fault_what_quantity, SENTENCE_fault_what_price,
                                          SENTENCE_fault_what_hours};

    for (int i = 0; i < matching->count; i++) {
        struct said *place = &matching->places[i];
        if (strcmp(place->name, "fault") == 0) {
            find_fault(language, place->value, depth + 1, faults);
            place->value = buffer_text(faults);
        }
        for (size_t w = 0; w < sizeof WHATS / sizeof *WHATS && strcmp(place->name, "what") == 0; w++)
            if (text_is(place->value, ENGLISH_TEXTS[WHATS[w]])) {
                place->value = language_text(language, WHATS[w]);
                break;
            }
    }
    matching->places[matching->count] = (struct said){NULL, {NULL, 0}};
}

/* out NULL: only whether it is known. */
static bool find_fault(const struct language *language, struct text reason, int depth, struct buffer *out)
{
    if (depth == MOST_DEPTH)
        return false;
    for (int sentence = FIRST_FAULT; sentence < FIRST_FAULT_WORD; sentence++) {
        struct matching matching = {.count = 0};
        struct buffer faults = BUFFER_EMPTY;
        if (!matches(language, text_of(ENGLISH_TEXTS[sentence]), reason, depth, &matching))
            continue;
        if (out != NULL) {
            translate_places(language, &matching, depth, &faults);
            language_say(language, out, (enum sentence)sentence, matching.places);
            buffer_free_into(&faults, out);
        }
        return true;
    }
    return false;
}

bool language_fault(const struct language *language, struct text reason, struct buffer *out)
{
    /* in English it says what it says */
    if (language->file.length > 0 && find_fault(language, reason, 0, out))
        return true;
    buffer_add_text(out, reason);
    return language->file.length == 0;
}

/* --- For translators --------------------------------------------------------------------------------- */

static int take_one(const struct language *language, struct text key, struct text original, take_message *take,
                    void *taker)
{
    const struct message message = {key, original, translated(language, key, TEXT(""))};

    return original.length == 0 ? WM_OK : take(taker, &message);
}

static int messages_of_checks(const struct language *language, take_message *take, void *taker)
{
    const struct rules *rules = language->rules;
    struct buffer room = BUFFER_EMPTY;
    int status = WM_OK;

    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; i < rules->check_count[scope]; i++) {
            const struct check *check = &rules->checks[scope][i];
            for (uint32_t row = 0; status == WM_OK && row < table_row_count(check->table); row++)
                status = take_one(language,
                                  row_key(&room, table_file(check->table), table_row_name(check->table, row)),
                                  written_message(check, row), take, taker);
        }
    status = room.failed ? WM_NO_MEMORY : status;
    buffer_free(&room);
    return status;
}

static int messages_of_campaigns(const struct language *language, take_message *take, void *taker)
{
    static const char *const CAMPAIGN_KEYS[] = {"title", "kind", "hazard"};
    const struct rules *rules = language->rules;
    struct buffer room = BUFFER_EMPTY;
    int status = WM_OK;

    for (uint32_t i = 0; i < rules->campaign_count; i++)
        for (size_t k = 0; status == WM_OK && k < 3; k++)
            status = take_one(language, campaign_key(&room, &rules->campaigns[i], CAMPAIGN_KEYS[k]),
                              original_of_campaign(&rules->campaigns[i], CAMPAIGN_KEYS[k]), take, taker);
    status = room.failed ? WM_NO_MEMORY : status;
    buffer_free(&room);
    return status;
}

int language_messages(const struct language *language, take_message *take, void *taker)
{
    int status = WM_OK;

    for (int i = 0; status == WM_OK && i < SENTENCES; i++)
        status = take_one(language, text_of(KEYS[i]), text_of(ENGLISH_TEXTS[i]), take, taker);
    if (status == WM_OK)
        status = messages_of_checks(language, take, taker);
    return status == WM_OK ? messages_of_campaigns(language, take, taker) : status;
}

struct checking_messages {
    const struct language *language;
    struct diag_sink *sink;
    bool *met; /* one for each text of the file */
    uint32_t missing;
};

static bool has_place(struct text text, struct text wanted)
{
    struct text before, name;

    while (next_place(&text, &before, &name))
        if (text_equal(name, wanted))
            return true;
    return false;
}

/* Whether every place of the one is in the other. */
static bool places_are_in(struct text one, struct text other, struct text *ret_missing)
{
    struct text before;

    while (next_place(&one, &before, ret_missing))
        if (!has_place(other, *ret_missing))
            return false;
    return true;
}

static int check_message(void *taker, const struct message *message)
{
    struct checking_messages *checking = taker;
    const struct language *language = checking->language;
    uint32_t number = text_index_find(&language->index, message->key);
    struct text place = {NULL, 0};

    if (number == TEXT_INDEX_NONE) {
        checking->missing++;
        return WM_OK;
    }
    checking->met[number] = true;
    struct place where = {language->file, language->lines[number], 0};
    if (!places_are_in(message->original, message->text, &place))
        diag_error(checking->sink, where, "the text of %.*s lacks the place {%.*s}; put it in",
                   TEXT_ARGUMENTS(message->key), TEXT_ARGUMENTS(place));
    else if (!places_are_in(message->text, message->original, &place))
        diag_error(checking->sink, where,
                   "the text of %.*s has a place {%.*s} that the original has not; take it out",
                   TEXT_ARGUMENTS(message->key), TEXT_ARGUMENTS(place));
    return WM_OK;
}

int language_check(const struct language *language, struct diag_sink *sink, uint32_t *ret_missing)
{
    struct checking_messages checking = {language, sink, calloc((size_t)language->count + 1, sizeof(bool)), 0};
    int status = checking.met != NULL ? language_messages(language, check_message, &checking) : WM_NO_MEMORY;

    for (uint32_t i = 0; status == WM_OK && i < language->count; i++)
        if (!checking.met[i])
            diag_error(
                sink, (struct place){language->file, language->lines[i], 0},
                "there is no text under the key \"%.*s\"; `rules messages` lists the keys that there are",
                TEXT_ARGUMENTS(language->keys[i]));
    free(checking.met);
    *ret_missing = checking.missing;
    return status;
}
