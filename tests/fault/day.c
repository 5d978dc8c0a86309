#include "day.h"

#include <stddef.h>

#define OFFICE " --office office/office.db"
#define DAY_1 OFFICE " --today 2026-03-02"
#define DAY_8 OFFICE " --today 2026-03-09"
#define LATER OFFICE " --today 2026-06-01"
#define OUT " --out out/result"

const struct step DAY[] = {
    /* the nightly batch */
    {.words = "post claims.csv --quiet --threads 1 --replies out/replies" DAY_1,
     .office = "loaded",
     .writes = true},
    {.words = "post corrected.csv --threads 1 --format csv --findings out/findings" OUT DAY_8,
     .office = "posted",
     .writes = true},
    {.words = "post claims.csv corrected.csv --threads 2 --format json" OUT DAY_8,
     .office = "loaded",
     .writes = true},
    {.words = "post claims.csv --quiet --threads 1 --replies out/replies" OUT DAY_8,
     .office = "posted",
     .writes = true},
    /* office data */
    {.words = "load vehicles vehicles.csv" DAY_1, .writes = true},
    {.words = "load vehicles vehicles.csv" DAY_1, .office = "posted", .writes = true},
    {.words = "load dealers dealers.csv" DAY_1, .office = "posted", .writes = true},
    {.words = "load shipments shipments.csv" DAY_1, .office = "posted", .writes = true},
    {.words = "load approvals approvals.csv" DAY_1, .office = "posted", .writes = true},
    {.words = "load notices notices.csv" LATER, .office = "loaded", .writes = true},
    /* people decide */
    {.words = "decide @held pay --by office --reason Seen." DAY_8, .office = "posted", .writes = true},
    {.words = "reverse @paid --by office --reason Wrong." DAY_8, .office = "posted", .writes = true},
    /* checking and asking */
    {.words = "check claims.csv --threads 1" OUT DAY_1, .office = "loaded"},
    {.words =
         "check claims.csv corrected.csv bad.csv --threads 2 --format csv --findings out/findings" OUT DAY_8,
     .office = "posted"},
    {.words = "check claims.csv --format json --threads 1" DAY_1, .office = "loaded"},
    {.words = "flags" OUT DAY_8, .office = "posted"},
    {.words = "flags --format csv --sort date --due-within 90 --effect hold" DAY_8, .office = "posted"},
    {.words = "flags --format json --limit 5" DAY_8, .office = "posted"},
    {.words = "followups" OUT LATER, .office = "posted"},
    {.words = "followups --format json" LATER, .office = "posted"},
    {.words = "explain @held --out out/result" OFFICE, .office = "posted"},
    {.words = "explain --vin @vin --format json" OFFICE, .office = "charged"},
    {.words = "worksheet @vin" OUT DAY_1, .office = "posted"},
    {.words = "worksheet @vin --dealer D113 --format json" DAY_1, .office = "posted"},
    {.words = "verify --threads 1" OUT OFFICE, .office = "charged"},
    {.words = "verify --again --threads 1" OFFICE, .office = "charged"},
    /* reports */
    {.words = "report night" OUT DAY_1, .office = "posted"},
    {.words = "report completion --campaign H26-02 --format html" OUT LATER, .office = "posted"},
    {.words = "report payments --format csv" OUT LATER, .office = "charged"},
    {.words = "report findings --format json" LATER, .office = "posted"},
    {.words = "report dealer --dealer D113 --format html" OUT LATER, .office = "charged"},
    {.words = "report kits" LATER, .office = "posted"},
    {.words = "report followups" LATER, .office = "posted"},
    {.words = "report deadlines" DAY_8, .office = "posted"},
    {.words = "report outliers --format html" OUT LATER, .office = "posted"},
    {.words = "report audit --sample s --format html" OUT LATER, .office = "charged"},
    {.words = "report quarterly --campaign H26-02 --quarter 2026-Q1 --format html" OUT LATER,
     .office = "charged"},
    {.words = "report schedule --campaign H26-02 --format json" LATER, .office = "posted"},
    {.words = "report list"},
    {.words = "report views"},
    {.words = "report completion --help"},
    /* audits */
    {.words = "sample size rate --tolerable 5 --expected 1"},
    {.words = "sample size strata strata.csv --bound 2"},
    {.words = "sample draw --name t --because x --size 10 --seed 1 --by dealer" OUT LATER,
     .office = "posted",
     .writes = true},
    {.words = "sample draw --name t --because x --size 4 --seed 1 --by money --format csv" LATER,
     .office = "drawn",
     .writes = true},
    {.words = "sample record s filled.csv --by x" LATER, .office = "drawn", .writes = true},
    {.words = "sample redraw s" LATER, .office = "judged"},
    {.words = "evaluate s" OUT OFFICE, .office = "judged"},
    {.words = "evaluate s --format json" OFFICE, .office = "charged"},
    {.words = "chargeback s --by x --reason y --notified 2026-05-01 --letters out/letters" LATER,
     .office = "judged",
     .writes = true},
    {.words = "chargeback s --by x --reason y --draft --letters out/letters" LATER, .office = "judged"},
    {.words = "outliers record --by office --rules rules-strict" LATER, .office = "posted", .writes = true},
    {.words = "outliers --format csv" OFFICE, .office = "charged"},
    /* packs */
    {.words = "pack keygen out/key", .varies = true},
    {.words =
         "pack --out out/pack --sign key --work 8 --dealer D113 --campaign H26-02 --valid-to 2026-06-30" DAY_8,
     .office = "few",
     .varies = true},
    {.words =
         "pack --out out/pack --sign key --dealer D111 --base few.pack --work 8 --valid-to 2026-06-30" DAY_8,
     .office = "few",
     .varies = true},
    {.words = "pack show few.pack --trust key.pub --today 2026-03-09"},
    {.words = "pack show few.pack --format csv --today 2026-03-09"},
    {.words = "check claims.csv --pack few.pack --trust key.pub --today 2026-03-09 --lang de --threads 1"},
    {.words = "check --fix out/copy bad.csv --pack few.pack --trust key.pub --today 2026-03-09"},
    {.words = "worksheet @vin --pack few.pack --trust key.pub --today 2026-03-09"},
    /* rules */
    {.words = "rules lint"},
    {.words = "rules lint --rules rules-other --format json" OFFICE, .office = "posted"},
    {.words = "rules lint --rules rules-changed" OUT OFFICE, .office = "posted"},
    {.words = "rules diff rules-changed" OUT OFFICE, .office = "posted"},
    {.words = "rules diff rules-changed --format csv" OFFICE, .office = "posted"},
    {.words = "rules try rules/checks/claim/vehicle.csv facts.csv" OUT},
    {.words = "rules try rules/checks/claim/vehicle.csv facts.csv --format json"},
    {.words = "rules print --format html" OUT},
    {.words = "rules print H26-02"},
    {.words = "rules messages de" OUT},
    {.words = "rules new N27-01 --rules out"},
    {.words = NULL},
};
