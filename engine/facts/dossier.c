#include "facts/dossier.h"

#include <assert.h>

#include "base/status.h"
#include "facts/items.h"

static const char *const DECISION_NAMES[] = {"pay", "hold", "return", "refuse"};

const char *decision_name(enum decision decision)
{
    return DECISION_NAMES[decision];
}

bool decision_from(struct text word, enum decision *ret_decision)
{
    for (int i = DECISION_PAY; i <= DECISION_REFUSE; i++)
        if (text_is(word, DECISION_NAMES[i])) {
            *ret_decision = (enum decision)i;
            return true;
        }
    return false;
}

struct finding *dossier_add_finding(struct arena *arena, struct dossier *dossier)
{
    if (dossier->finding_count == dossier->finding_capacity) {
        uint32_t capacity = dossier->finding_capacity ? dossier->finding_capacity * 2 : 4;
        struct finding *grown =
            arena_grown(arena, dossier->findings, dossier->finding_count, capacity, sizeof *grown);
        if (grown == NULL)
            return NULL;
        dossier->findings = grown;
        dossier->finding_capacity = capacity;
    }
    return &dossier->findings[dossier->finding_count++];
}

static struct text ambiguity_message(struct arena *arena, const struct ambiguity *ambiguity)
{
    struct text first = table_row_name(ambiguity->table, ambiguity->first_row);
    struct text second = table_row_name(ambiguity->table, ambiguity->second_row);

    switch (ambiguity->fault) {
    case TABLE_TWO_HITS:
        return text_format(arena,
                           "rows %.*s and %.*s both hit where one may; the office must correct its rules",
                           TEXT_ARGUMENTS(first), TEXT_ARGUMENTS(second));
    case TABLE_OUTPUTS_DIFFER:
        return text_format(arena,
                           "rows %.*s and %.*s hit with different outputs; the office must correct its rules",
                           TEXT_ARGUMENTS(first), TEXT_ARGUMENTS(second));
    case TABLE_PATTERN_GIVEN_UP:
    case TABLE_SUM_TOO_LARGE: /* no table of the rules adds */
    case TABLE_OK: break;
    }
    assert(ambiguity->fault == TABLE_PATTERN_GIVEN_UP);
    return text_format(arena,
                       "the pattern in row %.*s took too long on this claim; the office must correct its rules",
                       TEXT_ARGUMENTS(first));
}

int dossier_add_ambiguity(struct arena *arena, struct dossier *dossier, const struct ambiguity *ambiguity)
{
    struct finding *finding = dossier_add_finding(arena, dossier);

    if (finding == NULL)
        return WM_NO_MEMORY;
    *finding = (struct finding){.effect = EFFECT_HOLD,
                                .effect_of_table = EFFECT_HOLD,
                                .name = TEXT("rules-ambiguous"),
                                .message = ambiguity_message(arena, ambiguity),
                                .rule_file = table_file(ambiguity->table)};
    return finding->message.bytes == NULL ? WM_NO_MEMORY : WM_OK;
}
