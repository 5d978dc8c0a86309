#include "day.h"

#include <stddef.h>

#define OFFICE " --office office/office.db"
#define DAY_1 OFFICE " --today 2026-03-02"
#define DAY_8 OFFICE " --today 2026-03-09"
#define LATER OFFICE " --today 2026-06-01"
#define OUT " --out out/result"

/* Reads, writes, or writes something else each time; the office that it begins with, its words. */
#define READS(of, ...)                     \
    {                                      \
        .words = __VA_ARGS__, .office = of \
    }
#define WRITES(of, ...)                                    \
    {                                                      \
        .words = __VA_ARGS__, .office = of, .writes = true \
    }
#define READS_ALIKE(of, ...)                              \
    {                                                     \
        .words = __VA_ARGS__, .office = of, .alike = true \
    }
#define WRITES_ALIKE(of, ...)                                             \
    {                                                                     \
        .words = __VA_ARGS__, .office = of, .alike = true, .writes = true \
    }
#define REFUSED(of, ...)                                                   \
    {                                                                      \
        .words = __VA_ARGS__, .office = of, .alike = true, .refused = true \
    }
#define VARIES(of, ...)                                    \
    {                                                      \
        .words = __VA_ARGS__, .office = of, .varies = true \
    }

/* clang-format off */
const struct step DAY[] = {
    /* the nightly batch */
    WRITES("loaded", "post claims.csv --quiet --threads 1 --replies out/replies" DAY_1),
    WRITES("posted", "post corrected.csv --threads 1 --format csv --findings out/findings" OUT DAY_8),
    {.words = "post claims.csv corrected.csv --threads 2 --format json" OUT DAY_8, .office = "loaded", .writes = true,
     .in_parts = true},
    READS("posted", "post claims.csv --quiet --threads 1 --replies out/replies" OUT DAY_8),
    /* office data */
    WRITES(NULL, "load vehicles vehicles.csv" DAY_1),
    WRITES("posted", "load vehicles vehicles.csv" DAY_1),
    WRITES("posted", "load dealers dealers.csv" DAY_1),
    WRITES("posted", "load shipments shipments.csv" DAY_1),
    WRITES("posted", "load approvals approvals.csv" DAY_1),
    WRITES("loaded", "load notices notices.csv" LATER),
    /* people decide */
    WRITES("posted", "decide @held pay --by office --reason Seen." DAY_8),
    WRITES("posted", "reverse @paid --by office --reason Wrong." DAY_8),
    /* checking and asking */
    READS("loaded", "check claims.csv --threads 1" OUT DAY_1),
    READS("posted",
          "check claims.csv corrected.csv bad.csv --threads 2 --format csv --findings out/findings" OUT DAY_8),
    READS("loaded", "check claims.csv --format json --threads 1" DAY_1),
    READS("posted", "flags" OUT DAY_8),
    READS("posted", "flags --format csv --sort date --due-within 90 --effect hold" DAY_8),
    READS("posted", "flags --format json --limit 5" DAY_8),
    READS("posted", "followups" OUT LATER),
    READS("posted", "followups --format json" LATER),
    READS("posted", "explain @held --out out/result" OFFICE),
    READS("charged", "explain --vin @vin --format json" OFFICE),
    READS("posted", "worksheet @vin" OUT DAY_1),
    READS("posted", "worksheet @vin --dealer D113 --format csv" DAY_1),
    {.words = "verify --threads 1" OUT OFFICE, .office = "charged", .goes_on = true},
    {.words = "verify --again --threads 1" OFFICE, .office = "charged", .goes_on = true},
    /* reports */
    READS("posted", "report night" OUT DAY_1),
    READS("posted", "report completion --campaign H26-02 --format html" OUT LATER),
    READS("charged", "report payments --format csv" OUT LATER),
    READS("posted", "report findings --format json" LATER),
    READS("charged", "report dealer --dealer D113 --format html" OUT LATER),
    READS("posted", "report kits" LATER),
    READS("posted", "report followups" LATER),
    READS("posted", "report deadlines" DAY_8),
    READS("posted", "report outliers --format html" OUT LATER),
    READS("charged", "report audit --sample s --format html" OUT LATER),
    READS("charged", "report quarterly --campaign H26-02 --quarter 2026-Q1 --format html" OUT LATER),
    READS("posted", "report schedule --campaign H26-02 --format json" LATER),
    {.words = "report list", .goes_on = true},
    READS(NULL, "report views"),
    READS(NULL, "report completion --help"),
    /* audits */
    READS(NULL, "sample size rate --tolerable 5 --expected 1"),
    READS(NULL, "sample size strata strata.csv --bound 2"),
    WRITES("posted", "sample draw --name t --because x --size 28 --seed 1 --by dealer" OUT LATER),
    WRITES("drawn", "sample draw --name t --because x --size 4 --seed 1 --by money" LATER),
    WRITES("drawn", "sample record s filled.csv --by x" LATER),
    READS("judged", "sample redraw s" LATER),
    READS("judged", "evaluate s" OUT OFFICE),
    READS("charged", "evaluate s --format json" OFFICE),
    WRITES("judged", "chargeback s --by x --reason y --notified 2026-05-01 --letters out/letters" LATER),
    READS("judged", "chargeback s --by x --reason y --draft --letters out/letters" LATER),
    WRITES("posted", "outliers record --by office --rules rules-strict" LATER),
    READS("charged", "outliers --format csv" OFFICE),
    /* packs */
    VARIES(NULL, "pack keygen out/key"),
    VARIES("few",
           "pack --out out/pack --sign key --work 8 --dealer D113 --campaign H26-02 --valid-to 2026-06-30" DAY_8),
    VARIES("few", "pack --out out/pack --sign key --dealer D122 --base few.pack --work 8 --valid-to 2026-06-30" DAY_8),
    READS(NULL, "pack show few.pack --trust key.pub --today 2026-03-09"),
    READS(NULL, "pack show few.pack --format csv --today 2026-03-09"),
    READS(NULL, "check few-claims.csv --pack few.pack --trust key.pub --today 2026-03-09 --lang de --threads 1"),
    READS(NULL, "check --fix out/copy bad.csv --pack few.pack --trust key.pub --today 2026-03-09"),
    READS(NULL, "worksheet @vin --pack few.pack --trust key.pub --today 2026-03-09"),
    {.words = "check --one out/claim.csv --pack few.pack --trust key.pub --today 2026-03-09", .input = "answers"},
    /* rules */
    READS(NULL, "rules lint"),
    READS("posted", "rules lint --rules rules-other --format json" OFFICE),
    READS("posted", "rules lint --rules rules-changed" OUT OFFICE),
    READS("posted", "rules diff rules-changed" OUT OFFICE),
    READS("posted", "rules diff rules-changed --format csv" OFFICE),
    READS(NULL, "rules try rules/checks/claim/vehicle.csv facts.csv" OUT),
    READS(NULL, "rules try rules/checks/claim/vehicle.csv facts.csv --format json"),
    READS(NULL, "rules print --format html" OUT),
    READS(NULL, "rules print H26-02"),
    READS(NULL, "rules messages de" OUT),
    READS(NULL, "rules new N27-01 --rules out"),
    /* alike */
    READS_ALIKE("few", "rules lint --rules rules-faulty" OFFICE),
    READS_ALIKE(NULL, "rules lint --rules rules-faulty"),
    READS_ALIKE(NULL, "rules diff rules-faulty"),
    READS_ALIKE(NULL, "rules try deep.csv deep-facts.csv"),
    READS_ALIKE(NULL, "rules try many.csv many-facts.csv --format json"),
    READS_ALIKE(NULL, "rules try rules-faulty/checks/claim/same.csv many-facts.csv"),
    READS_ALIKE(NULL, "--manual"),
    WRITES_ALIKE("posted", "post odd.csv --rules rules-every --threads 1" OUT DAY_8),
    READS_ALIKE("loaded", "check spread.csv --separator ; --format csv" DAY_1),
    WRITES_ALIKE("loaded", "post odd.csv --rules rules-every --threads 1" OUT DAY_8),
    READS_ALIKE("posted", "report outliers --rules rules-strict --format html" OUT LATER),
    READS_ALIKE("spoken", "report quarterly --campaign H26-02 --quarter 2026-Q2 --format html" OUT LATER),
    READS_ALIKE(NULL, "check odd.csv --pack every.pack --trust key.pub --today 2026-03-09 --threads 1"),
    READS_ALIKE("posted", "check odd.csv --rules rules-every --threads 2 --format json" DAY_8),
    {.words = "check - --format csv --threads 1" DAY_1, .office = "loaded", .alike = true, .input = "claims.csv"},
    WRITES_ALIKE("spoken", "sample draw --name t --because x --size 8 --seed 1 --by campaign" LATER),
    WRITES_ALIKE("spoken",
                 "sample draw --name t --because x --size 8 --seed 1 --by stratum --bounds 100;400 --allocate neyman"
                 LATER),
    WRITES_ALIKE("spoken", "sample draw --name t --because x --pick some-picks.csv" LATER),
    READS_ALIKE("spoken", "evaluate m" OFFICE),
    WRITES_ALIKE("spoken", "chargeback e --extrapolate --by x --reason y --notified 2026-05-01" LATER),
    READS_ALIKE("covered", "chargeback m --by x --reason y --draft --letters out/letters" LATER),
    REFUSED("spoken", "chargeback e --by x --reason y --rules rules-strict" LATER),
    REFUSED("spoken", "chargeback e --by x --reason y --notified 2026-05-30 --rules rules-strict" LATER),
    REFUSED("judged", "chargeback s --by x --reason y --extrapolate --notified 2026-05-01" LATER),
    READS_ALIKE("posted", "followups --format csv" LATER),
    READS_ALIKE("posted", "flags --sort payable" DAY_8),
    READS_ALIKE("posted", "flags --dealer D113" DAY_8),
    READS_ALIKE("charged", "explain @held" OFFICE),
    READS_ALIKE("charged", "flags --format json" OFFICE),
    READS_ALIKE("charged", "report dealer --dealer D113" LATER),
    WRITES_ALIKE("few", "load vehicles long.csv" DAY_8),
    WRITES_ALIKE("recent", "post night-2.csv --quiet --threads 1" DAY_8),
    READS_ALIKE("charged", "post claims.csv --quiet --threads 1 --replies out/replies" OUT DAY_8),
    {.words = "verify --threads 1" OUT OFFICE, .office = "changed", .damaged = true, .goes_on = true,
     .alike = true},
    {.words = "verify --threads 1" OFFICE, .office = "other-view", .damaged = true, .goes_on = true,
     .alike = true},
    {.words = "post claims.csv --threads 1" OUT DAY_8, .office = "posted", .alike = true, .anew = true},
    {.words = "post claims.csv corrected.csv --threads 1 --quiet" DAY_8, .office = "loaded", .writes = true,
     .in_parts = true, .alike = true, .anew = true},
    {.words = "flags" DAY_8, .office = "posted", .alike = true, .unwritable = true},
    {.words = "post corrected.csv --threads 1 --format csv" DAY_8, .office = "posted", .writes = true, .alike = true},
    {.words = "sample draw --name t --because x --pick picks.csv" LATER, .office = "posted", .writes = true,
     .alike = true},
    READS_ALIKE("charged", "explain @held --format json" OFFICE),
    READS_ALIKE("posted", "rules diff rules-changed --format json" OFFICE),
    READS_ALIKE(NULL, "check own-claims.csv --pack own.pack --trust key.pub --today 2026-03-09 --lang de --threads 1"),
    READS_ALIKE(NULL, "check --fix out/copy slips.csv --fix-vin --pack own.pack --trust key.pub --today 2026-03-09"),
    {.words = "check --one out/claim.csv --pack own.pack --trust key.pub --today 2026-03-09 --lang de",
     .input = "other-answers", .alike = true},
    {.words = NULL},
};
