#include "intake/canonical.h"

#include <sodium.h>

#include "base/status.h"

static struct text cell_of(const struct claim *claim, int column)
{
    return column == COLUMN_VIN ? claim->vin : claim->cells[column];
}

int claim_canonical(const struct claim *claim, struct arena *arena, struct text *ret_canonical)
{
    size_t length = CLAIM_COLUMNS, at = 0;

    for (int column = 0; column < CLAIM_COLUMNS; column++)
        length += cell_of(claim, column).length;
    char *room = arena_bytes(arena, length);
    if (room == NULL)
        return WM_NO_MEMORY;
    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        struct text cell = cell_of(claim, column);
        if (cell.length > 0)
            memcpy(room + at, cell.bytes, cell.length);
        at += cell.length;
        room[at++] = '\0';
    }
    *ret_canonical = (struct text){room, length};
    return WM_OK;
}

void content_digest(struct text canonical, uint8_t ret_digest[CONTENT_DIGEST_BYTES])
{
    crypto_generichash(ret_digest, CONTENT_DIGEST_BYTES, (const unsigned char *)canonical.bytes, canonical.length, NULL,
                       0);
}

struct text canonical_cell(struct text canonical, enum claim_column column)
{
    struct text rest = canonical, cell = {"", 0};

    for (int i = 0; i <= (int)column; i++)
        if (!text_cut(rest, '\0', &cell, &rest))
            return (struct text){"", 0};
    return cell;
}

int claim_differences(const struct claim *claim, struct text canonical, struct arena *arena, struct text *ret_names)
{
    struct text names = {"", 0}, rest = canonical, cell = {"", 0};

    for (int column = 0; column < CLAIM_COLUMNS; column++) {
        text_cut(rest, '\0', &cell, &rest);
        if (text_equal(cell, cell_of(claim, column)))
            continue;
        names = text_format(arena, "%.*s%s%s", TEXT_ARGUMENTS(names), names.length > 0 ? ", " : "",
                            claim_column_name((enum claim_column)column));
        if (names.bytes == NULL)
            return WM_NO_MEMORY;
    }
    *ret_names = names;
    return WM_OK;
}
