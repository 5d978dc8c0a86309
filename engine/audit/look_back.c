#include "audit/look_back.h"

#include <stdlib.h>

#include "base/status.h"

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

/* output -1: the table has no such column. */
static int32_t days(const struct look_back *look_back, const struct table_hits *hits, int output)
{
    struct value value =
        output >= 0 ? table_output(look_back->rules->deadlines, hits->rows[0], (uint32_t)output) : value_null();
    int64_t number = value.type == VALUE_NUMBER ? value.number / DECIMAL_ONE : -1;

    return number > INT32_MAX ? INT32_MAX : (int32_t)number;
}

static int ask(struct look_back *look_back, struct text region, struct audit_terms *terms)
{
    int slot = rules_slot(look_back->rules, FACT_region);
    struct table_hits hits = {0};

    *terms = (struct audit_terms){region, -1, -1, false};
    if (slot >= 0)
        look_back->facts[slot] = region.length > 0 ? value_text(region) : value_null();
    int status = table_decide(look_back->rules->deadlines, look_back->facts, look_back->scratch, &hits);
    if (status == WM_OK && hits.fault != TABLE_OK) {
        diag_error(look_back->sink, (struct place){TEXT("deadlines.csv"), 0, 0},
                   "more than one row is for region \"%.*s\"; leave one, `rules lint` names them",
                   TEXT_ARGUMENTS(region));
        return WM_BAD_INPUT;
    }
    if (status == WM_OK && hits.count > 0) {
        terms->stated = true;
        terms->audit_within_days = days(look_back, &hits, look_back->rules->deadline_output[AUDIT_WITHIN_DAYS]);
        terms->notice_days = days(look_back, &hits, look_back->rules->notice_output);
    }
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
