#include "rules/differences.h"

#include "base/status.h"
#include "rules/differences_parts.h"

const char *change_name(enum change change)
{
    static const char *const NAMES[] = {"added", "removed", "changed", "moved"};

    return NAMES[change];
}

/* --- Which file is which table -------------------------------------------------------------------- */

static const struct table *if_file(const struct table *table, struct text path)
{
    return table != NULL && text_equal(table_file(table), path) ? table : NULL;
}

/* NULL: the file is a list. */
static const struct table *find_table(const struct rules *rules, struct text path)
{
    const struct table *found = if_file(rules->deadlines, path);

    for (uint32_t i = 0; i < rules->campaign_count && found == NULL; i++)
        for (int which = 0; which < CAMPAIGN_TABLES && found == NULL; which++)
            found = if_file(campaign_table(&rules->campaigns[i], (enum campaign_table)which), path);
    for (int scope = 0; scope < SCOPES && found == NULL; scope++)
        for (uint32_t i = 0; i < rules->check_count[scope] && found == NULL; i++)
            found = if_file(rules->checks[scope][i].table, path);
    return found;
}

/* --- File by file --------------------------------------------------------------------------------- */

static int tell_file(struct comparing *comparing, struct text path, enum change change)
{
    return tell(comparing, &(struct difference){.change = change, .file = path});
}

static int compare_file(struct comparing *comparing, const struct rules_file *before,
                        const struct rules_file *after)
{
    struct text path = before != NULL ? before->path : after->path;
    const struct table *table = before != NULL ? find_table(comparing->before, path) : NULL;
    const struct table *other = after != NULL ? find_table(comparing->after, path) : NULL;
    int status = WM_OK;

    arena_reset(&comparing->arena);
    if (before != NULL && after != NULL && text_equal(before->bytes, after->bytes))
        return WM_OK;
    if (before == NULL || after == NULL)
        status = tell_file(comparing, path, before == NULL ? CHANGE_ADDED : CHANGE_REMOVED);
    if (status != WM_OK)
        return status;
    if (table != NULL && other != NULL)
        return compare_tables(comparing, table, other);
    if (table != NULL || other != NULL)
        return tell_whole_table(comparing, table != NULL ? table : other,
                                table != NULL ? CHANGE_REMOVED : CHANGE_ADDED);
    return compare_lists(comparing, before, after);
}

int rules_differences(const struct rules *before, const struct rules *after,
                      int (*take)(void *context, const struct difference *difference), void *context)
{
    struct comparing comparing = {.before = before, .after = after, .take = take, .context = context};
    const struct rules_files *old = before->files, *new = after->files;
    uint32_t i = 0, k = 0;
    int status = WM_OK;

    while (status == WM_OK && (i < old->count || k < new->count)) {
        int order = i == old->count   ? 1
                    : k == new->count ? -1
                                      : text_compare(old->files[i].path, new->files[k].path);
        status =
            compare_file(&comparing, order <= 0 ? &old->files[i] : NULL, order >= 0 ? &new->files[k] : NULL);
        i += order <= 0;
        k += order >= 0;
    }
    buffer_free(&comparing.words_before);
    buffer_free(&comparing.words_after);
    arena_free(&comparing.arena);
    return status;
}
