#include "ledger/claim_name.h"

#include <string.h>

#include "base/status.h"

/* The next cut behind *at, which moves on to it. */
static bool next_cut(struct text name, size_t *at, struct claim_named *ret_cut)
{
    for (size_t slash = *at; slash + 1 < name.length; slash++)
        if (slash > 0 && name.bytes[slash] == '/') {
            *at = slash + 1;
            *ret_cut = (struct claim_named){
                {name.bytes, slash}, {name.bytes + slash + 1, name.length - slash - 1}, false};
            return true;
        }
    return false;
}

bool claim_name_is_whole(struct text name)
{
    struct claim_named cut;
    size_t at = 0;

    return next_cut(name, &at, &cut);
}

static int look_up(struct ledger_reader *reader, struct arena *arena, struct claim_named *cut)
{
    struct ledger_claim claim;
    int status = ledger_claim_read(reader, arena, cut->dealer, cut->claim, &claim);

    cut->recorded = status == WM_OK;
    return status == WM_NOT_FOUND ? WM_OK : status;
}

static void say_both(struct text name, const struct claim_named *one, const struct claim_named *other,
                     struct diag_sink *sink)
{
    diag_error(sink, (struct place){{NULL, 0}, 0, 0},
               "\"%.*s\" is claim %.*s of dealer %.*s and also claim %.*s of dealer %.*s; say which with "
               "--dealer CODE",
               TEXT_ARGUMENTS(name), TEXT_ARGUMENTS(one->claim), TEXT_ARGUMENTS(one->dealer),
               TEXT_ARGUMENTS(other->claim), TEXT_ARGUMENTS(other->dealer));
}

int ledger_claim_named(struct ledger_reader *reader, struct text name, struct text dealer,
                       struct diag_sink *sink, struct claim_named *ret_named)
{
    struct claim_named cut, named = {{NULL, 0}, {NULL, 0}, false};
    struct arena arena = ARENA_EMPTY;
    size_t at = 0;
    int status = WM_OK;

    while (status == WM_OK && next_cut(name, &at, &cut)) {
        if (dealer.length > 0 && !text_equal(dealer, cut.dealer))
            continue;
        arena_reset(&arena);
        status = look_up(reader, &arena, &cut);
        if (status == WM_OK && cut.recorded && named.recorded) {
            say_both(name, &named, &cut, sink);
            status = WM_BAD_INPUT;
        } else if (cut.recorded || named.dealer.bytes == NULL) {
            named = cut;
        }
    }
    arena_free(&arena);
    if (status == WM_OK && named.dealer.bytes == NULL) {
        diag_error(sink, (struct place){{NULL, 0}, 0, 0},
                   "\"%.*s\" does not begin with the dealer's code %.*s/", TEXT_ARGUMENTS(name),
                   TEXT_ARGUMENTS(dealer));
        status = WM_BAD_INPUT;
    }
    if (status == WM_OK)
        *ret_named = named;
    return status;
}
