/* probe.h - for tests: asks the program what is true of claims.
 *
 * A small office and a small rules folder of two campaigns, written here so that every expected value can be
 * worked out from what stands here. One table, `probe`, flags every claim (or item) with a message that is made
 * of facts, so that the findings file tells what each fact is.
 *
 * Claims are written `column=cell|column=cell`, one a line; what is left out has a cell that makes a good
 * claim.
 */
#ifndef WM_TEST_PROBE_H
#define WM_TEST_PROBE_H

#include "program.h"

/* Invented VINs with right check digits; position 7 is a letter, so K is 2019 and L is 2020. */
#define VIN_A "EZ7TAAC10KT000101"        /* Alpha, engine A, towing */
#define VIN_B "EZ7TABC19KT000202"        /* Alpha, engine B */
#define VIN_BETA "EZ7TBAC13LT000303"     /* second stage, which has no day yet */
#define VIN_GAMMA "EZ7TCAC12LT000404"    /* of no campaign */
#define VIN_SCRAPPED "EZ7TAAC12KT000505" /* Alpha, electric power steering: not eligible */
#define VIN_TWIN_1 "EZ7TAAC1XKT007606"   /* these two differ in positions 9 and 16 */
#define VIN_TWIN_2 "EZ7TAAC12KT007616"

struct probe_file {
    const char *path, *content;
};

static const struct probe_file PROBE_FILES[] = {
    {"vehicles.csv",
     "vin,model_line,model_year,engine,transmission,built_on,plant,options,status,status_on\n" VIN_A
     ",Alpha,2019,A,manual,2019-05-01,North,tow roof,in_service,\n" VIN_B
     ",Alpha,2019,B,automatic,2019-05-02,North,,in_service,\n" VIN_BETA
     ",Beta,2020,A,manual,2020-01-15,South,,unsold,\n" VIN_GAMMA
     ",Gamma,2020,A,manual,,,,in_service,\n" VIN_SCRAPPED
     ",Alpha,2019,A,manual,2019-06-01,North,eps,scrapped,2026-02-01\n" VIN_TWIN_1
     ",Alpha,2019,A,manual,2019-06-02,North,,in_service,\n" VIN_TWIN_2
     ",Alpha,2019,A,manual,2019-06-03,North,,in_service,\n"},
    {"dealers.csv", "dealer,name,region,labor_rate,parts_markup,active_from,active_to,valid_from\n"
                    "D1,One,US-NY,100,40,2025-01-01,2026-04-30,\n"
                    "D1,One,US-NY,110.55,33.3333,2025-01-01,2026-04-30,2026-03-01\n"
                    "D2,Two,US-AK,99.99,0,,,2026-02-01\n"
                    "D3,Three,US-NJ,180,25,2026-03-02,2026-03-02,\n"
                    "D4,Four,US-NY,9000000000000,0,,,\n"},
    {"shipments.csv", "shipment,dealer,part,quantity,shipped_on\n"
                      "S1,D1,K-A,3,2026-01-10\n"
                      "S2,D1,K-A,-1,2026-02-20\n" /* a return */
                      "S3,D1,k a,2,2026-03-03\n"  /* the same part number */
                      "S4,D2,K-A,5,2026-01-10\n"},
    {"approvals.csv", "approval,dealer,campaign,vin,covers,limit,valid_to,reason\n"
                      "AP-1,D1,T1," VIN_A ",work-early,100.00,2026-03-02,by letter\n"
                      "AP-2,D1,T1," VIN_A ",work-early,,,by letter\n"
                      "AP-3,D1,T1," VIN_A ",seen-by-engine,,,by letter\n"
                      "AP-4,,,,work-early,,,for all\n"},
    {"rules/deadlines.csv", "U,region,>submit_within_days,>silence_approves,>resubmit_within_days\n"
                            "ny,US-NY,,true,\nak,US-AK,90,false,30\n"},
    {"rules/campaigns/T0/campaign.csv", "key,value\ncampaign,T0\nopens_on,2025-01-01\n"},
    {"rules/campaigns/T0/eligibility.csv", "F,model_line,>eligible\nalpha,\"Alpha, Beta\",true\n"},
    {"rules/campaigns/T0/kits.csv", "U,outcome,>kit,>quantity\nall,repaired,K-A,1\n"},
    {"rules/campaigns/T1/campaign.csv",
     "key,value\ncampaign,T1\nopens_on,2026-01-12\ncloses_on,2026-06-30\nother_limit,25.00\nreplaces,T0\n"},
    {"rules/campaigns/T1/eligibility.csv", "F,model_line,option:eps,>eligible,>stage\neps,-,true,false,\nalpha,"
                                           "Alpha,-,true,first\nbeta,Beta,-,true,second\n"},
    {"rules/campaigns/T1/stages.csv", "stage,opens_on\nfirst,2026-02-02\nsecond,\n"},
    {"rules/campaigns/T1/kits.csv",
     "U,engine,outcome,>kit,>quantity\na,A,repaired,K-A,1\nb,B,repaired,K-B,1\n"},
    {"rules/campaigns/T1/parts.csv", "C,engine,outcome,inspection:CAP,>part,>quantity,>need\n"
                                     "fluid,-,repaired,-,FL-1,2,required\n"
                                     "more-fluid,B,repaired,-,FL-1,1,allowed\n" /* adds up to 3, required */
                                     "cap,-,-,wrong,CP-1,1,allowed\n"},
    {"rules/campaigns/T1/prices.csv",
     "part,price,valid_from\nK-A,100.10,\nK-A,110,2026-03-02\nK-B,99.995,\nFL-1,3.333333,\n"},
    {"rules/campaigns/T1/labor.csv", "C,outcome,option:tow,inspection:CAP,>operation,>hours,>need\n"
                                     "hose,repaired,-,-,OP-1,1.2,required\n"
                                     "towing,repaired,true,-,OP-1,0.3,allowed\n" /* adds up to 1.5, required */
                                     "cap,-,-,wrong,OP-2,0.5,allowed\n"
                                     "look,inspected,-,-,OP-9,0.4,required\n"},
    {"rules/campaigns/T1/inspections.csv", "C,engine,outcome,>inspection,>expects,>need\n"
                                           "leak,-,-,LEAK,dry,required\n"
                                           "torque,-,repaired,TQ,[22..28] N.m,required\n"
                                           "torque-b,B,repaired,TQ,[25..40] N.m,allowed\n" /* both must hold */
                                           "cap,-,-,CAP,\"right, wrong\",allowed\n"
                                           "gap,-,-,GAP,<= 1.5 mm,allowed\n"},
};

/* What the stated engine asks for is found, so that a test has every decision at hand. */
#define PROBE_DECIDER                                                                                \
    "C,claim_engine,>finding,>effect,>message\n"                                                     \
    "refuse,REFUSE,seen-by-engine,refuse,As asked.\nreturn,RETURN,seen-by-engine,return,As asked.\n" \
    "hold,HOLD,seen-by-engine,hold,As asked.\n"

static char *probe_folder;

static inline const char *probe_path(const char *name)
{
    return words("%s/%s", probe_folder, name);
}

static inline void probe_load(const char *kind)
{
    struct result result = RUN("load", kind, probe_path(words("%s.csv", kind)), "--office",
                               probe_path("office.db"), "--today", "2026-03-01", "--quiet");
    if (result.code != 0)
        fail_msg("load %s: %s", kind, result.err);
    result_free(&result);
}

/* For cmocka_run_group_tests. */
static inline int probe_open(void **state)
{
    static char pattern[] = "/tmp/witnessmark-probe-XXXXXX";
    (void)state;

    probe_folder = mkdtemp(pattern);
    need(probe_folder != NULL, "mkdtemp");
    shell("mkdir -p %s/rules/campaigns/T0 %s/rules/campaigns/T1 %s/rules/checks/claim %s/rules/checks/part "
          "%s/rules/checks/labor %s/rules/checks/inspection",
          probe_folder, probe_folder, probe_folder, probe_folder, probe_folder, probe_folder);
    /* here every fact may stand in a message */
    shell("sed 's/,office,/,dealer,/' rules/facts.csv > %s/rules/facts.csv", probe_folder);
    shell("cp rules/units.csv %s/rules", probe_folder);
    for (size_t i = 0; i < COUNT(PROBE_FILES); i++)
        write_words(probe_path(PROBE_FILES[i].path), PROBE_FILES[i].content);
    write_words(probe_path("rules/checks/claim/decider.csv"), PROBE_DECIDER);
    probe_load("vehicles");
    probe_load("dealers");
    probe_load("shipments");
    probe_load("approvals");
    return 0;
}

static inline int probe_close(void **state)
{
    (void)state;
    shell("rm -rf %s", probe_folder);
    return 0;
}

/* --- Claims ----------------------------------------------------------------------------------------------- */

static const char *const PROBE_COLUMNS[][2] = {
    {"claim", "C"}, /* and the number of the row */
    {"dealer", "D1"},
    {"repair_order", "R"}, /* and the number of the row */
    {"campaign", "T1"},
    {"vin", VIN_A},
    {"outcome", "repaired"},
    {"opened_on", "2026-03-01"},
    {"completed_on", "2026-03-02"},
    {"submitted_on", "2026-03-05"},
    {"revision", ""},
    {"model_year", ""},
    {"engine", ""},
    {"odometer", ""},
    {"odometer_unit", ""},
    {"technician", ""},
    {"approval", ""},
    {"parts", ""},
    {"labor", ""},
    {"inspections", ""},
    {"parts_amount", ""},
    {"labor_amount", ""},
    {"other_amount", ""},
    {"total_amount", ""},
};

static inline void probe_write_row(FILE *file, char *cells, size_t number)
{
    const char *row[COUNT(PROBE_COLUMNS)] = {NULL};

    for (char *cell; (cell = strsep(&cells, "|")) != NULL;) {
        size_t column = 0;
        char *name = strsep(&cell, "=");
        while (column < COUNT(PROBE_COLUMNS) && strcmp(PROBE_COLUMNS[column][0], name) != 0)
            column++;
        if (column < COUNT(PROBE_COLUMNS))
            row[column] = cell;
        else if (name[0] != '\0')
            fail_msg("no column %s", name);
    }
    for (size_t i = 0; i < COUNT(PROBE_COLUMNS); i++) {
        bool numbered = row[i] == NULL && (i == 0 || i == 2);
        if (numbered)
            fprintf(file, "%s%zu", PROBE_COLUMNS[i][1], number);
        else
            fprintf(file, "\"%s\"", row[i] != NULL ? row[i] : PROBE_COLUMNS[i][1]);
        fputc(i + 1 < COUNT(PROBE_COLUMNS) ? ',' : '\n', file);
    }
}

static inline const char *probe_write_claims(const char *claims)
{
    const char *path = probe_path("claims.csv");
    FILE *file = fopen(path, "w");
    char *rest = words("%s", claims), *line;
    size_t number = 0;

    need(file != NULL, path);
    for (size_t i = 0; i < COUNT(PROBE_COLUMNS); i++)
        fprintf(file, "%s%c", PROBE_COLUMNS[i][0], i + 1 < COUNT(PROBE_COLUMNS) ? ',' : '\n');
    while ((line = strsep(&rest, "\n")) != NULL)
        probe_write_row(file, line, ++number);
    need(fclose(file) == 0, path);
    return path;
}

/* --- Asking ----------------------------------------------------------------------------------------------- */

/* Says which facts the message holds: "vin_form vin_check" makes "{vin_form}|{vin_check}". NULL: no probe. */
static inline void probe_facts(const char *scope, const char *facts)
{
    const char *path = probe_path(words("rules/checks/%s/probe.csv", scope));
    FILE *file;

    if (facts == NULL) {
        unlink(path);
        return;
    }
    file = fopen(path, "w");
    need(file != NULL, path);
    fputs("C,campaign,>finding,>effect,>message\nall,-,probe,note,{", file);
    for (; *facts != '\0'; facts++)
        fputs(*facts == ' ' ? "}|{" : (char[]){*facts, '\0'}, file);
    fputs("}\n", file);
    need(fclose(file) == 0, path);
}

/* `check` on claims as of 2026-03-10; the findings go to findings.csv of the folder. */
static inline struct result probe_check(const char *claims, const char *received)
{
    struct result result = RUN("check", probe_write_claims(claims), "--office", probe_path("office.db"),
                               "--rules", probe_path("rules"), "--today", "2026-03-10", "--received", received,
                               "--format", "csv", "--findings", probe_path("findings.csv"));
    if (result.code != 0 && result.code != 1)
        fail_msg("check: exit %d: %s", result.code, result.err);
    return result;
}

/* The probe's messages, one a line; those of items with the item before: "FL-1: true|required". */
static inline char *probe_messages(void)
{
    struct csv_sheet findings = csv_sheet_of_file(probe_path("findings.csv"));
    char *all = words("%s", "");

    for (size_t row = 1; row < findings.count; row++) {
        const char *item = csv_at(&findings, row, "item");
        if (strcmp(csv_at(&findings, row, "finding"), "probe") != 0)
            continue;
        all = words("%s%s%s%s\n", all, item, item[0] ? ": " : "", csv_at(&findings, row, "message"));
    }
    csv_sheet_free(&findings);
    return all;
}

struct probe_case {
    const char *facts, *claims, *messages; /* messages: one line a claim, or an item, each ended by a newline */
};

static inline void probe_expect(const char *scope, const struct probe_case *cases, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        probe_facts(scope, cases[i].facts);
        struct result result = probe_check(cases[i].claims, "2026-03-10");
        char *messages = probe_messages();
        if (strcmp(messages, cases[i].messages) != 0)
            fail_msg("%s of\n%s\nexpected\n%sgot\n%s\n%s", cases[i].facts, cases[i].claims, cases[i].messages,
                     messages, result.out);
        result_free(&result);
    }
    probe_facts(scope, NULL);
}

#endif
