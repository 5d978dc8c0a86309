/* rules_kit.h - for tests: a rules folder in memory, with files that can be exchanged for wrong ones. */
#ifndef WM_TEST_RULES_KIT_H
#define WM_TEST_RULES_KIT_H

#include "program.h"

#include "base/arena.h"
#include "base/status.h"
#include "rules/rules.h"

enum { KIT_FILES = 32 };

struct rules_kit {
    struct arena arena;
    struct rules_file list[KIT_FILES];
    struct rules_files files;
    struct rules *rules;
    struct capture capture;
};

static inline int kit_by_path(const void *a, const void *b)
{
    return text_compare(((const struct rules_file *)a)->path, ((const struct rules_file *)b)->path);
}

/* content NULL: the file is not there. */
static inline void kit_put(struct rules_kit *kit, const char *path, const char *content)
{
    uint32_t at = 0;

    while (at < kit->files.count && !text_is(kit->list[at].path, path))
        at++;
    if (content == NULL) {
        assert_true(at < kit->files.count);
        kit->list[at] = kit->list[--kit->files.count];
    } else {
        kit->list[at] = (struct rules_file){text_of(path), text_of(content)};
        kit->files.count += at == kit->files.count;
        assert_true(kit->files.count < KIT_FILES);
    }
    qsort(kit->list, kit->files.count, sizeof *kit->list, kit_by_path);
}

/* The least that makes sense: one campaign, one check, the office's own dictionary. */
static inline void kit_start(struct rules_kit *kit)
{
    static char *facts;

    if (facts == NULL)
        facts = read_whole("rules/facts.csv", NULL);
    *kit = (struct rules_kit){.arena = ARENA_EMPTY};
    kit->files = (struct rules_files){TEXT("rules"), kit->list, 0};
    kit_put(kit, "facts.csv", facts);
    kit_put(kit, "units.csv", "unit,aliases,quantity,factor\nN.m,Nm,torque,1\nmm,,length,0.001\n");
    kit_put(kit, "deadlines.csv", "U,region,>submit_within_days\nall,-,180\n");
    kit_put(kit, "campaigns/T1/campaign.csv", "key,value\ncampaign,T1\nopens_on,2026-01-01\n");
    kit_put(kit, "campaigns/T1/eligibility.csv", "F,model_year,>eligible,>stage\nall,-,true,first\n");
    kit_put(kit, "checks/claim/dates.csv",
            "C,completed_on,>finding,>effect,>message\nnone,null,no-day,return,Add it.\n");
}

static inline int kit_compile(struct rules_kit *kit)
{
    capture_start(&kit->capture);
    return rules_compile(&kit->arena, &kit->files, &kit->capture.sink, &kit->rules);
}

static inline void kit_end(struct rules_kit *kit)
{
    rules_free(kit->rules);
    arena_free(&kit->arena);
}

#endif
