/* Findings that rules/outliers.csv counts and no check gives. */
#include "base/status.h"
#include "rules/lint_parts.h"

enum { FINDING_COLUMN = 8 }; /* in the documented order */

static bool some_check_gives(const struct rules *rules, struct text finding)
{
    for (int scope = 0; scope < SCOPES; scope++)
        for (uint32_t i = 0; i < rules->check_count[scope]; i++) {
            const struct check *check = &rules->checks[scope][i];
            for (uint32_t row = 0; row < table_row_count(check->table); row++)
                if (text_equal(check->flags[row].finding, finding))
                    return true;
        }
    return false;
}

static int say_unknown(struct lint *lint, const struct measure *measure, struct text finding)
{
    struct lint_result result = {
        .severity = LINT_WARNING,
        .kind = LINT_SPELLING,
        .place = {lint->rules->measures.file, measure->line, FINDING_COLUMN},
        .wrong = text_format(&lint->arena, "measure \"%.*s\" counts the finding \"%.*s\", which no check gives",
                             TEXT_ARGUMENTS(measure->name), TEXT_ARGUMENTS(finding)),
        .advice = TEXT("correct the name")};

    return lint_say(lint, &result);
}

int lint_measures(struct lint *lint)
{
    const struct measures *measures = &lint->rules->measures;
    int status = WM_OK;

    arena_reset(&lint->arena);
    for (uint32_t i = 0; status == WM_OK && i < measures->count; i++) {
        struct text rest = measures->list[i].finding, finding;
        while (status == WM_OK && text_next(&rest, ';', &finding))
            if (finding.length > 0 && !some_check_gives(lint->rules, finding))
                status = say_unknown(lint, &measures->list[i], finding);
    }
    return status;
}
