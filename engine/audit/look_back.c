#include "audit/look_back.h"

#include <stdlib.h>

#include "base/status.h"
#include "facts/deadlines.h"

struct look_back {
    const struct rules *rules;
    struct office_register *office_register;
    struct diag_sink *sink;
    struct table_scratch *scratch;
    struct value *facts;
    struct audit_terms last; /* dealers come in order, so the region at hand is mostly the one before */
    bool has_last;
};

int look_back_open(const struct rules *rules, struct office_register *office_register, struct diag_sink *sink,
                   struct look_back **ret_look_back)
{
    struct look_back *look_back = calloc(1, sizeof *look_back);

    if (look_back == NULL)
        return WM_NO_MEMORY;
    *look_back = (struct look_back){.rules = rules, .office_register = office_register, .sink = sink};
    look_back->facts = calloc((size_t)rules->dictionary->slot_count + 1, sizeof *look_back->facts);
    int status = look_back->facts == NULL ? WM_NO_MEMORY : table_scratch_new(&look_back->scratch);
    if (status == WM_OK)
        *ret_look_back = look_back;
    else
        look_back_close(look_back);
    return status;
}

void look_back_close(struct look_back *look_back)
{
    if (look_back == NULL)
        return;
    table_scratch_free(look_back->scratch);
    free(look_back->facts);
    free(look_back);
}

static int ask(struct look_back *look_back, struct text region, struct audit_terms *terms)
{
    struct deadlines deadlines;
    int status = deadlines_of_region(look_back->rules, region, look_back->facts, look_back->scratch, look_back->sink,
                                     &deadlines);

    if (status == WM_OK)
        *terms = (struct audit_terms){region, deadline_days(deadlines.values[AUDIT_WITHIN_DAYS]),
                                      deadline_days(deadlines.notice_days)};
    return status;
}

int look_back_terms(struct look_back *look_back, struct text code, int32_t day, struct audit_terms *ret_terms)
{
    const struct dealer *dealer = NULL;
    int status = register_dealer(look_back->office_register, code, day, &dealer);
    struct text region = dealer != NULL ? dealer->region : TEXT("");

    if (status == WM_OK && (!look_back->has_last || !text_equal(look_back->last.region, region)))
        status = ask(look_back, region, &look_back->last);
    look_back->has_last = status == WM_OK;
    if (status == WM_OK)
        *ret_terms = look_back->last;
    return status;
}
