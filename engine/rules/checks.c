#include "base/status.h"
#include "rules/build.h"

static const char *const EFFECT_NAMES[EFFECTS] = {"refuse", "return", "hold", "cut", "note"};

/* Findings that the engine makes itself: no table may use their names (contract section 4). */
static const char *const OWN_FINDINGS[] = {"row-unreadable", "rules-ambiguous"};

const char *effect_name(enum effect effect)
{
    return EFFECT_NAMES[effect];
}

enum effect effect_from(struct text word)
{
    int effect = 0;

    while (effect < EFFECTS && !text_is(word, EFFECT_NAMES[effect]))
        effect++;
    return (enum effect)effect;
}

static void read_flag(struct build *build, const struct check *check, uint32_t row, int finding_output,
                      int effect_output)
{
    struct flag *flag = &check->flags[row];
    struct text effect;

    flag->effect = EFFECT_NOTE;
    if (table_output(check->table, row, (uint32_t)finding_output).type == VALUE_NULL)
        return;
    if (!build_word(build, check->table, row, finding_output, &flag->finding) ||
        !build_word(build, check->table, row, effect_output, &effect))
        return;
    for (size_t i = 0; i < sizeof OWN_FINDINGS / sizeof *OWN_FINDINGS; i++)
        if (text_is(flag->finding, OWN_FINDINGS[i]))
            diag_error(build->sink, build_output_place(check->table, row, (uint32_t)finding_output),
                       "the finding %s is the engine's own; choose another name", OWN_FINDINGS[i]);
    flag->effect = effect_from(effect);
    if (flag->effect == EFFECTS)
        diag_error(build->sink, build_output_place(check->table, row, (uint32_t)effect_output),
                   "\"%.*s\" is no effect; write refuse, return, hold, cut or note", TEXT_ARGUMENTS(effect));
}

static int read_check(struct build *build, struct check *check)
{
    int finding = build_output(build, check->table, "finding");
    int effect = build_output(build, check->table, "effect");
    uint32_t rows = table_row_count(check->table);

    check->message_output = build_output(build, check->table, "message");
    if (finding < 0 || effect < 0 || check->message_output < 0)
        return WM_BAD_INPUT;
    check->flags = ARENA_ARRAY(build->arena, struct flag, rows);
    if (check->flags == NULL)
        return WM_NO_MEMORY;
    for (uint32_t row = 0; row < rows; row++)
        read_flag(build, check, row, finding, effect);
    return WM_OK;
}

static bool is_check_of(struct text path, enum scope scope)
{
    static const struct text folder = {"checks/", 7};
    struct text own = text_of(scope_name(scope));
    struct text rest;

    if (!text_starts_with(path, folder))
        return false;
    rest = (struct text){path.bytes + folder.length, path.length - folder.length};
    return text_starts_with(rest, own) && rest.length > own.length && rest.bytes[own.length] == '/';
}

static int build_scope(struct build *build, enum scope scope)
{
    const unsigned policies = HIT_BIT(HIT_UNIQUE) | HIT_BIT(HIT_ANY) | HIT_BIT(HIT_PRIORITY) | HIT_BIT(HIT_FIRST) |
                              HIT_BIT(HIT_RULE_ORDER) | HIT_BIT(HIT_OUTPUT_ORDER) | HIT_BIT(HIT_COLLECT);
    struct rules *rules = build->rules;
    int result = WM_OK;

    rules->checks[scope] = ARENA_ARRAY(build->arena, struct check, build->files->count);
    if (rules->checks[scope] == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < build->files->count; i++) {
        struct text path = build->files->files[i].path;
        struct check check = {.scope = scope};
        if (!is_check_of(path, scope))
            continue;
        int status = build_table(build, path, true, policies, FACTS_OF_SCOPE, scope, &check.table);
        if (status == WM_OK) {
            status = read_check(build, &check);
            rules->checks[scope][rules->check_count[scope]++] = check;
        }
        if (status != WM_OK && status != WM_BAD_INPUT)
            return status;
        result = status != WM_OK ? status : result;
    }
    return result;
}

/* A folder under checks/ that is no scope would never be asked: say so. */
static void report_strange_checks(struct build *build)
{
    for (uint32_t i = 0; i < build->files->count; i++) {
        struct text path = build->files->files[i].path;
        bool known = !text_starts_with(path, TEXT("checks/"));
        for (int scope = 0; scope < SCOPES && !known; scope++)
            known = is_check_of(path, (enum scope)scope);
        if (!known)
            diag_error(build->sink, (struct place){path, 0, 0},
                       "checks stand in checks/claim, checks/part, checks/labor or checks/inspection; move the file");
    }
}

static void note_late_checks(struct rules *rules)
{
    for (int scope = 0; scope < SCOPES; scope++) {
        for (uint32_t i = 0; i < rules->check_count[scope]; i++) {
            struct check *check = &rules->checks[scope][i];
            check->is_late = table_is_late(check->table);
            if (check->is_late && scope != SCOPE_CLAIM)
                rules->has_late_item_checks = true;
            if (!check->is_late || scope != SCOPE_CLAIM)
                continue;
            check->late_word = rules->late_words;
            rules->late_words += table_set_words(check->table);
        }
    }
}

int build_checks(struct build *build)
{
    int result = WM_OK;

    report_strange_checks(build);
    for (int scope = 0; scope < SCOPES; scope++) {
        int status = build_scope(build, (enum scope)scope);
        if (status != WM_OK && status != WM_BAD_INPUT)
            return status;
        result = status != WM_OK ? status : result;
    }
    note_late_checks(build->rules);
    return result;
}
