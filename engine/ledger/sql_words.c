#include "ledger/sql_words.h"

#include <strings.h>

static bool is_name_byte(unsigned char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '$' ||
           c >= 128;
}

/* Behind a comment that starts here; at itself where there is none. */
static size_t skip_comment(struct text sql, size_t at)
{
    if (at + 1 < sql.length && sql.bytes[at] == '-' && sql.bytes[at + 1] == '-') {
        while (at < sql.length && sql.bytes[at] != '\n')
            at++;
    } else if (at + 1 < sql.length && sql.bytes[at] == '/' && sql.bytes[at + 1] == '*') {
        at += 2;
        while (at + 1 < sql.length && !(sql.bytes[at] == '*' && sql.bytes[at + 1] == '/'))
            at++;
        at = at + 2 < sql.length ? at + 2 : sql.length;
    }
    return at;
}

/* Behind a blank that stands here; at itself where there is none. SQLite takes a byte order mark for a blank before any
 * word, and a vertical tab behind another blank. */
static size_t skip_blank(struct text sql, size_t at)
{
    static const char BLANKS[] = " \t\n\v\f\r";
    const struct text mark = TEXT("\xEF\xBB\xBF");

    if (memchr(BLANKS, sql.bytes[at], sizeof BLANKS - 1) != NULL)
        return at + 1;
    return text_starts_with((struct text){sql.bytes + at, sql.length - at}, mark) ? at + mark.length : at;
}

/* Behind a quoted word that starts here. A doubled quote is one quote, but in brackets. */
static size_t skip_quoted(struct text sql, size_t at)
{
    char end = sql.bytes[at] == '[' ? ']' : sql.bytes[at];

    for (at++; at < sql.length; at++) {
        if (sql.bytes[at] != end)
            continue;
        if (end == ']' || at + 1 >= sql.length || sql.bytes[at + 1] != end)
            return at + 1;
        at++;
    }
    return sql.length;
}

bool sql_next_word(struct sql_words *words, struct text *ret_word)
{
    struct text sql = words->sql;
    size_t at = words->at;

    for (size_t next = at; at < sql.length; at = next) {
        next = skip_comment(sql, skip_blank(sql, at));
        if (next == at)
            break;
    }
    if (at >= sql.length)
        return false;
    words->start = at;
    char c = sql.bytes[at];
    if (c == '"' || c == '\'' || c == '`' || c == '[')
        at = skip_quoted(sql, at);
    else if (is_name_byte((unsigned char)c))
        while (at < sql.length && is_name_byte((unsigned char)sql.bytes[at]))
            at++;
    else
        at++;
    words->at = at;
    *ret_word = (struct text){sql.bytes + words->start, at - words->start};
    return true;
}

bool sql_word_name(struct text word, char *room, size_t size)
{
    bool quoted = word.length >= 2 && strchr("\"'`[", word.bytes[0]) != NULL;
    char end = quoted && word.bytes[0] == '[' ? ']' : word.bytes[0];
    size_t length = 0;

    if (!quoted && (word.length == 0 || !is_name_byte((unsigned char)word.bytes[0])))
        return false;
    for (size_t i = quoted; i < word.length - quoted; i++) {
        if (length + 1 >= size)
            return false;
        room[length++] = word.bytes[i];
        i += quoted && end != ']' && word.bytes[i] == end;
    }
    room[length] = '\0';
    return true;
}

bool sql_word_is(struct text word, const char *name)
{
    char room[256];

    return sql_word_name(word, room, sizeof room) && strcasecmp(room, name) == 0;
}

bool sql_defines_table(struct sql_words words)
{
    struct text word;

    while (sql_next_word(&words, &word)) {
        if (text_is(word, "("))
            return true;
        if (!text_equal_any_case(word, TEXT("not")) && !text_equal_any_case(word, TEXT("materialized")))
            return false;
    }
    return false;
}

/* --- Where tables stand ---------------------------------------------------------------------------- */

/* What may come next at one depth of parentheses. */
enum clause {
    CLAUSE_OTHER,
    CLAUSE_TABLE,       /* a table: behind FROM, JOIN, and a comma there */
    CLAUSE_BEHIND_TABLE /* a comma or JOIN leads to another table; also in ON */
};

enum { MOST_DEPTH = 200 };

static bool is_one_of(struct text word, const char *const *list)
{
    while (*list != NULL && !text_equal_any_case(word, text_of(*list)))
        list++;
    return *list != NULL;
}

/* The clause behind a word that is no parenthesis. */
static enum clause clause_behind(struct text word, enum clause clause)
{
    static const char *const TABLE[] = {"from", "join", NULL};
    static const char *const OTHER[] = {"select", "where",  "group",     "having", "order",  "limit",
                                        "window", "except", "intersect", "union",  "values", NULL};

    if (is_one_of(word, TABLE))
        return CLAUSE_TABLE;
    if (is_one_of(word, OTHER) || text_is(word, ";"))
        return CLAUSE_OTHER;
    if (text_is(word, ","))
        return clause == CLAUSE_BEHIND_TABLE ? CLAUSE_TABLE : clause;
    /* `main.claim_rows`: the table is still to come */
    if (text_is(word, "."))
        return clause == CLAUSE_BEHIND_TABLE ? CLAUSE_TABLE : clause;
    return clause == CLAUSE_TABLE ? CLAUSE_BEHIND_TABLE : clause;
}

bool sql_selects_from(struct text sql, const char *table)
{
    struct sql_words words = {sql, 0, 0};
    enum clause clauses[MOST_DEPTH] = {CLAUSE_OTHER};
    struct text word;
    size_t depth = 0;

    while (sql_next_word(&words, &word)) {
        if (clauses[depth] == CLAUSE_TABLE && sql_word_is(word, table))
            return true;
        if (text_is(word, "(")) {
            if (depth + 1 == MOST_DEPTH)
                return true;
            /* `FROM (a JOIN b)`; what stands in other parentheses begins anew */
            clauses[depth + 1] = clauses[depth] == CLAUSE_TABLE ? CLAUSE_TABLE : CLAUSE_OTHER;
            clauses[depth] = clauses[depth] == CLAUSE_TABLE ? CLAUSE_BEHIND_TABLE : clauses[depth];
            depth++;
        } else if (text_is(word, ")")) {
            depth -= depth > 0;
        } else {
            clauses[depth] = clause_behind(word, clauses[depth]);
        }
    }
    return false;
}
