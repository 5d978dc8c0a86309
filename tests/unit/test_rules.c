/* The rules folder: the dictionary against the engine, the finding names against the contract, and every error
 * that a folder can have outside its tables' conditions (those are test_conditions' and test_tables').
 */
#include "rules_kit.h"

#include "rules/differences.h"

#include <glob.h>

#include "base/limits.h"
#include "rules/lint.h"
#include "rules/rules_files.h"

/* --- The dictionary and the engine ------------------------------------------------------------------------ */

static const char *const SCOPE_WORDS[] = {"claim", "part", "labor", "inspection"};

static bool row_describes(const struct csv_sheet *facts, size_t row, const struct fact_kind *kind, int scope)
{
    return strcmp(csv_at(facts, row, "name"), kind->name) == 0 &&
           strcmp(csv_at(facts, row, "scope"), SCOPE_WORDS[scope]) == 0 &&
           strcmp(csv_at(facts, row, "type"), value_type_name(kind->type)) == 0;
}

static bool has_scope(const struct fact_kind *kind, int scope)
{
    return kind->scope == (enum scope)scope || (kind->scope == SCOPE_ITEM && scope != SCOPE_CLAIM);
}

static size_t rows_that_describe(const struct csv_sheet *facts, const struct fact_kind *kind, int scope)
{
    size_t count = 0;

    for (size_t row = 1; row < facts->count; row++)
        count += row_describes(facts, row, kind, scope);
    return count;
}

static void dictionary_has_what_the_engine_computes(void **state)
{
    struct csv_sheet facts = csv_sheet_of_file("rules/facts.csv");
    size_t described = 0;
    (void)state;

    for (int id = 0; id < FACT_COUNT; id++)
        for (int scope = 0; scope < SCOPES; scope++) {
            const struct fact_kind *kind = fact_kind((enum fact_id)id);
            if (!has_scope(kind, scope))
                continue;
            if (rows_that_describe(&facts, kind, scope) != 1)
                fail_msg("rules/facts.csv needs one row for the %s %s fact %s", SCOPE_WORDS[scope],
                         value_type_name(kind->type), kind->name);
            described++;
        }
    /* and nothing besides: each row was counted once */
    assert_int_equal(facts.count - 1, described);
    csv_sheet_free(&facts);
}

static void dictionary_explains_each_fact(void **state)
{
    struct csv_sheet facts = csv_sheet_of_file("rules/facts.csv");
    (void)state;

    for (size_t row = 1; row < facts.count; row++) {
        const char *shown = csv_at(&facts, row, "shown");
        assert_true(strcmp(shown, "dealer") == 0 || strcmp(shown, "office") == 0);
        assert_true(strlen(csv_at(&facts, row, "meaning")) > 10);
    }
    csv_sheet_free(&facts);
}

/* The facts of contract section 5 that tell one dealer another's business. */
static void other_dealers_business_is_the_offices(void **state)
{
    static const char *const OFFICE[] = {"earlier_claim", "earlier_replaced_claim"};
    struct csv_sheet facts = csv_sheet_of_file("rules/facts.csv");
    (void)state;

    for (size_t row = 1; row < facts.count; row++)
        for (size_t i = 0; i < COUNT(OFFICE); i++)
            if (strcmp(csv_at(&facts, row, "name"), OFFICE[i]) == 0)
                assert_string_equal(csv_at(&facts, row, "shown"), "office");
    csv_sheet_free(&facts);
}

/* --- The names of findings -------------------------------------------------------------------------------- */

/* Contract section 8. The engine makes the first two itself, the checks that ship make the others. */
#include "finding_names.h"

static size_t name_number(const char *name)
{
    size_t number = 0;

    while (number < COUNT(FINDING_NAMES) && strcmp(FINDING_NAMES[number], name) != 0)
        number++;
    return number;
}

static void count_findings(const char *path, size_t *made)
{
    struct csv_sheet table = csv_sheet_of_file(path);
    size_t finding = csv_column(&table, ">finding"), effect = csv_column(&table, ">effect");
    size_t message = csv_column(&table, ">message");

    for (size_t row = 1; row < table.count; row++) {
        char **cells = table.rows[row];
        if (cells[0][0] == '#' || cells[0][0] == '\0' || cells[finding] == NULL || cells[finding][0] == '\0')
            continue;
        size_t number = name_number(cells[finding]);
        if (number == COUNT(FINDING_NAMES))
            fail_msg("%s: %s is no finding name of the contract", path, cells[finding]);
        made[number]++;
        if (effect_from(text_of(cells[effect])) == EFFECTS)
            fail_msg("%s: %s is no effect", path, cells[effect]);
        /* a message says what is wrong and what to do, so it is more than a few words, and ends as a sentence
         * does */
        size_t length = strlen(cells[message]);
        if (length < 40 || cells[message][length - 1] != '.')
            fail_msg("%s: the message of %s says too little", path, cells[0]);
    }
    csv_sheet_free(&table);
}

static void shipped_checks_make_every_finding(void **state)
{
    size_t made[COUNT(FINDING_NAMES)] = {0};
    glob_t found;
    (void)state;

    assert_int_equal(glob("rules/checks/*/*.csv", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++)
        count_findings(found.gl_pathv[i], made);
    globfree(&found);
    for (size_t i = 0; i < COUNT(FINDING_NAMES); i++) {
        bool by_engine = i < ENGINE_FINDINGS;
        if ((made[i] > 0) == by_engine)
            fail_msg("%s is made by %zu rows of the checks", FINDING_NAMES[i], made[i]);
    }
}

/* --- Errors
 * -----------------------------------------------------------------------------------------------------------
 */

static void the_kit_can_be_used(void **state)
{
    struct rules_kit kit;
    (void)state;

    kit_start(&kit);
    assert_int_equal(kit_compile(&kit), WM_OK);
    assert_string_equal(kit.capture.text, "");
    assert_int_equal(kit.rules->campaign_count, 1);
    assert_int_equal(rules_campaign(kit.rules, TEXT("T1")), 0);
    assert_int_equal(rules_campaign(kit.rules, TEXT("T2")), -1);
    kit_end(&kit);
}

struct wrong_file {
    const char *path, *content; /* content NULL: the file is not there */
    const char *messages;       /* all of them */
};

static void expect_messages(const struct wrong_file *cases, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct rules_kit kit;
        kit_start(&kit);
        kit_put(&kit, cases[i].path, cases[i].content);
        if (kit_compile(&kit) != WM_BAD_INPUT || strcmp(kit.capture.text, cases[i].messages) != 0)
            fail_msg("%s:\n%s\nexpected\n%s\ngot\n%s", cases[i].path,
                     cases[i].content ? cases[i].content : "(no file)", cases[i].messages, kit.capture.text);
        assert_null(kit.rules);
        kit_end(&kit);
    }
}

#define FILINGS "filing,kinds,form,quarters,annual_reports,due_day,due_days,due_working_days,moves\n"
#define FACTS "name,type,scope,shown,meaning\n"

static void errors_of_the_lists(void **state)
{
    static const struct wrong_file CASES[] = {
        {"facts.csv", NULL, "rules/facts.csv: the file is missing; the rules need it\n"},
        {"units.csv", NULL, "rules/units.csv: the file is missing; the rules need it\n"},
        {"deadlines.csv", NULL, "rules/deadlines.csv: the file is missing; the rules need it\n"},
        {"facts.csv", "",
         "rules/facts.csv:1: the file is empty; it needs a header name,type,scope,shown,meaning\n"},
        {"facts.csv", FACTS "speed,number,claim,dealer,x\n",
         "rules/facts.csv:2:1: the engine computes no claim fact \"speed\"; take the row out or correct the "
         "name\n"},
        {"facts.csv", FACTS "vin,text,car,dealer,x\n",
         "rules/facts.csv:2:3: \"car\" is no scope; write claim, part, labor or inspection\n"},
        {"facts.csv", FACTS "vin,text,claim,all,x\n",
         "rules/facts.csv:2:4: \"all\" does not say who sees the fact; write dealer or office\n"},
        {"facts.csv", FACTS "vin,number,claim,dealer,x\n",
         "rules/facts.csv:2:2: the fact \"vin\" is a text, not \"number\"; correct it\n"},
        {"facts.csv", FACTS "vin,text,claim,dealer,x\nvin,text,claim,dealer,x\n",
         "rules/facts.csv:3:1: the claim fact \"vin\" is listed twice; keep one row\n"},
        {"facts.csv", FACTS "vin,text,claim\n",
         "rules/facts.csv:2: the row has 3 cells, the header 5; make them the same\n"},
        {"campaigns/T1/campaign.csv", NULL,
         "rules/campaigns/T1/campaign.csv: the file is missing; every campaign needs it\n"},
        {"campaigns/T1/campaign.csv", "key,value\ncampaign,T2\n",
         "rules/campaigns/T1/campaign.csv: campaign \"T2\" stands in the folder \"T1\"; name them alike\n"},
        {"campaigns/T1/campaign.csv", "key,value\nopens_on,2026-02-30\n",
         "rules/campaigns/T1/campaign.csv:2:2: \"2026-02-30\" is not a date; write it as 2026-03-01\n"},
        {"campaigns/T1/campaign.csv", "key,value\nother_limit,-1\n",
         "rules/campaigns/T1/campaign.csv:2:2: other_limit \"-1\" is negative; write an amount such as "
         "25.00\n"},
        {"campaigns/T1/campaign.csv", "key,value\nopening,2026-01-01\n",
         "rules/campaigns/T1/campaign.csv:2:1: no key \"opening\"; the keys are campaign, title, kind, hazard, "
         "opens_on, closes_on, notice_began_on, notice_ended_on, currency, other_limit, replaces, "
         "manufacturer, "
         "regulator_number\n"},
        {"campaigns/T1/stages.csv", "stage,opens_on\n,2026-01-01\n",
         "rules/campaigns/T1/stages.csv:2:1: the stage has no name; fill the cell in\n"},
        {"campaigns/T1/stages.csv", "stage,opens_on\na,\na,\n",
         "rules/campaigns/T1/stages.csv:3:1: the stage \"a\" is listed twice; keep one row\n"},
        {"campaigns/T1/stages.csv", "stage,opens_on\na,soon\n",
         "rules/campaigns/T1/stages.csv:2:2: \"soon\" is not a date; write it as 2026-03-01\n"},
        {"campaigns/T1/prices.csv", "part,price,valid_from\nP-1,1,2026-01-01\nP 1,2,2026-01-01\n",
         "rules/campaigns/T1/prices.csv:3:1: the part \"P-1\" has two prices from the same day; keep one\n"},
        {"campaigns/T1/prices.csv", "part,price,valid_from\nP-1,-2,\n",
         "rules/campaigns/T1/prices.csv:2:2: the price \"-2\" is negative; write an amount such as 84.50\n"},
        {"campaigns/T1/prices.csv", "part,price,valid_from\n--,2,\n",
         "rules/campaigns/T1/prices.csv:2:1: \"--\" has no letter or digit to be known by; correct it\n"},
        {"campaigns/T1/campaign.csv", "key,value\nother_limit,25.001\n",
         "rules/campaigns/T1/campaign.csv:2:2: other_limit \"25.001\" has more places than this column allows; "
         "write an "
         "amount such as 25.00\n"},
        {"campaigns/T1/campaign.csv", "key,value\nother_limit,much\n",
         "rules/campaigns/T1/campaign.csv:2:2: other_limit \"much\" is not a number; write an amount such as "
         "25.00\n"},
        {"campaigns/T1/prices.csv", "part,price\nP-1,free\n",
         "rules/campaigns/T1/prices.csv:2:2: the price \"free\" is not a number; write an amount such as "
         "84.50\n"},
        {"campaigns/T1/prices.csv", "part,price\nP-1,\n",
         "rules/campaigns/T1/prices.csv:2:2: the price \"\" is not a number; write an amount such as 84.50\n"},
        {"facts.csv", FACTS "vin,text,part,dealer,x\nclaimed,boolean,claim,dealer,x\n",
         "rules/facts.csv:2:1: the engine computes no part fact \"vin\"; take the row out or correct the name\n"
         "rules/facts.csv:3:1: the engine computes no claim fact \"claimed\"; take the row out or correct the "
         "name\n"},
        {"filings.csv", FILINGS "a,,defect,-1,3,30,,,\n",
         "rules/filings.csv:2:4: quarters \"-1\" is no whole number from 0 to 100; correct it\n"},
        {"filings.csv", FILINGS "a,,defect,101,51,32,,,true\n",
         "rules/filings.csv:2:4: quarters \"101\" is no whole number from 0 to 100; correct it\n"
         "rules/filings.csv:2:5: annual_reports \"51\" is no whole number from 0 to 50; correct it\n"
         "rules/filings.csv:2:6: due_day \"32\" is no whole number from 0 to 31; correct it\n"
         "rules/filings.csv:2:1: the row says not when its reports are due; fill in one of due_day, due_days and "
         "due_working_days\n"},
        {"filings.csv", FILINGS "a,,defect,8,three,30,,,false\n",
         "rules/filings.csv:2:5: annual_reports \"three\" is no whole number from 0 to 50; correct it\n"},
        {"filings.csv", FILINGS "a,,defect,8,3,,,25,perhaps\n",
         "rules/filings.csv:2:9: moves \"perhaps\" is neither true nor false; write one of them\n"},
        {"campaigns/T1/prices.csv", "part,price,valid_from\nP-1,2,2026\n",
         "rules/campaigns/T1/prices.csv:2:3: \"2026\" is not a date; write it as 2026-03-01\n"},
    };
    (void)state;
    expect_messages(CASES, COUNT(CASES));
}

static void errors_of_the_tables(void **state)
{
    static const struct wrong_file CASES[] = {
        {"deadlines.csv", "F,region,>submit_within_days\nall,-,180\n",
         "rules/deadlines.csv:1:1: hit policy F has no meaning in this table; write one of U\n"},
        {"deadlines.csv", "U,vin,>submit_within_days\nall,-,180\n",
         "rules/deadlines.csv:1:2: no fact \"vin\"; name one of the dictionary\n"},
        {"deadlines.csv", "U,option:eps,>submit_within_days\nall,-,180\n",
         "rules/deadlines.csv:1:2: no fact \"option:eps\"; name one of the dictionary\n"},
        {"campaigns/T1/eligibility.csv", "F,option:,>eligible\nall,-,true\n",
         "rules/campaigns/T1/eligibility.csv:1:2: no fact \"option:\"; name one of the dictionary\n"},
        {"campaigns/T1/eligibility.csv", "F,inspection:LEAK,>eligible\nall,-,true\n",
         "rules/campaigns/T1/eligibility.csv:1:2: no fact \"inspection:LEAK\"; name one of the dictionary\n"},
        {"checks/claim", "C,\n",
         "rules/checks/claim: checks stand in checks/claim, checks/part, checks/labor or checks/inspection; move the "
         "file\n"},
        {"checks/claim/dates.csv", "C,inspection:,inspection:--,>finding,>effect,>message\nnone,-,-,,,\n",
         "rules/checks/claim/dates.csv:1:2: no fact \"inspection:\"; nearest is \"inspections\"\n"
         "rules/checks/claim/dates.csv:1:3: no fact \"inspection:--\"; nearest is \"inspections\"\n"},
        {"campaigns/T1/eligibility.csv", NULL,
         "rules/campaigns/T1/eligibility.csv: the file is missing; the rules need it\n"},
        {"campaigns/T1/eligibility.csv", "F,model_year,>stage\nall,-,first\n",
         "rules/campaigns/T1/eligibility.csv:1: the table has no column >eligible; add it\n"},
        {"campaigns/T1/eligibility.csv", "F,modelyear,>eligible\nall,-,true\n",
         "rules/campaigns/T1/eligibility.csv:1:2: no fact \"modelyear\"; nearest is \"model_year\"\n"},
        {"campaigns/T1/kits.csv", "U,engine,>kit\na,-,K-1\n",
         "rules/campaigns/T1/kits.csv:1: the table has no column >quantity; add it\n"},
        {"campaigns/T1/kits.csv", "U,engine,>kit,>quantity\na,-,K-1,-1\n",
         "rules/campaigns/T1/kits.csv:2:4: >quantity must be a number of 0 or more; correct the cell\n"},
        {"campaigns/T1/kits.csv", "U,engine,>kit,>quantity\na,-,{engine},1\n",
         "rules/campaigns/T1/kits.csv:2:3: >kit may not hold {fact} places; write the word itself\n"},
        {"campaigns/T1/kits.csv", "U,engine,>quantity\na,-,1\n",
         "rules/campaigns/T1/kits.csv:1: the table has no column >kit; add it\n"},
        {"campaigns/T1/kits.csv", "U,engine,>kit,>quantity\ntype,,,text\na,-,K-1,1\n",
         "rules/campaigns/T1/kits.csv:2:4: the output \"quantity\" is a number; leave this cell empty\n"},
        {"campaigns/T1/kits.csv", "U,engine,>kit,>quantity\na,-,--,1\n",
         "rules/campaigns/T1/kits.csv:2:3: \"--\" has no letter or digit to be known by; correct it\n"},
        {"campaigns/T1/parts.csv", "C,engine,>quantity,>need\na,-,1,required\n",
         "rules/campaigns/T1/parts.csv:1: the table has no column >part; add it\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>need\na,-,P-1,required\n",
         "rules/campaigns/T1/parts.csv:1: the table has no column >quantity; add it\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>quantity\na,-,P-1,1\n",
         "rules/campaigns/T1/parts.csv:1: the table has no column >need; add it\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>quantity,>need\na,-,--,1,allowed\n",
         "rules/campaigns/T1/parts.csv:2:3: \"--\" has no letter or digit to be known by; correct it\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>quantity,>need\na,-,P-1,-0.5,allowed\n",
         "rules/campaigns/T1/parts.csv:2:4: >quantity must be a number of 0 or more; correct the cell\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>quantity,>need\na,-,P-1,1,\n",
         "rules/campaigns/T1/parts.csv:2:5: >need is empty; fill the cell in\n"},
        {"campaigns/T1/labor.csv", "C,engine,>hours,>need\na,-,1,required\n",
         "rules/campaigns/T1/labor.csv:1: the table has no column >operation; add it\n"},
        {"campaigns/T1/labor.csv", "C,engine,>operation,>need\na,-,OP-1,required\n",
         "rules/campaigns/T1/labor.csv:1: the table has no column >hours; add it\n"},
        {"campaigns/T1/labor.csv", "C,engine,>operation,>hours\na,-,OP-1,1\n",
         "rules/campaigns/T1/labor.csv:1: the table has no column >need; add it\n"},
        {"campaigns/T1/labor.csv", "C,engine,>operation,>hours,>need\na,-,..,1,required\nb,-,,1,required\n",
         "rules/campaigns/T1/labor.csv:2:3: \"..\" has no letter or digit to be known by; correct it\n"
         "rules/campaigns/T1/labor.csv:3:3: >operation is empty; fill the cell in\n"},
        {"campaigns/T1/inspections.csv", "C,engine,>expects,>need\na,-,dry,required\n",
         "rules/campaigns/T1/inspections.csv:1: the table has no column >inspection; add it\n"},
        {"campaigns/T1/inspections.csv", "C,engine,>inspection,>need\na,-,GAP,required\n",
         "rules/campaigns/T1/inspections.csv:1: the table has no column >expects; add it\n"},
        {"campaigns/T1/inspections.csv", "C,engine,>inspection,>expects\na,-,GAP,dry\n",
         "rules/campaigns/T1/inspections.csv:1: the table has no column >need; add it\n"},
        {"campaigns/T1/inspections.csv",
         "C,engine,>inspection,>expects,>need\na,-,,dry,required\nb,-,/,dry,allowed\n",
         "rules/campaigns/T1/inspections.csv:2:3: >inspection is empty; fill the cell in\n"
         "rules/campaigns/T1/inspections.csv:3:3: \"/\" has no letter or digit to be known by; correct it\n"},
        {"campaigns/T1/followups.csv", "C,engine,>part,>due_days\na,-,P-1,3\n",
         "rules/campaigns/T1/followups.csv:1: the table has no column >followup; add it\n"},
        {"campaigns/T1/followups.csv", "C,engine,>followup,>due_days\na,-,renew,3\n",
         "rules/campaigns/T1/followups.csv:1: the table has no column >part; add it\n"},
        {"campaigns/T1/followups.csv", "C,engine,>followup,>part\na,-,renew,P-1\n",
         "rules/campaigns/T1/followups.csv:1: the table has no column >due_days; add it\n"},
        {"campaigns/T1/followups.csv", "C,engine,>followup,>part,>due_days\na,-,,,3\n",
         "rules/campaigns/T1/followups.csv:2:3: >followup is empty; fill the cell in\n"
         "rules/campaigns/T1/followups.csv:2:4: >part is empty; fill the cell in\n"},
        {"checks/claim/dates.csv", "C,vin,>effect,>message\na,-,hold,Text.\n",
         "rules/checks/claim/dates.csv:1: the table has no column >finding; add it\n"},
        {"checks/claim/dates.csv", "C,vin,>finding,>message\na,-,x-y,Text.\n",
         "rules/checks/claim/dates.csv:1: the table has no column >effect; add it\n"},
        {"checks/claim/dates.csv", "C,vin,>finding,>effect\na,-,x-y,hold\n",
         "rules/checks/claim/dates.csv:1: the table has no column >message; add it\n"},
        {"checks/claim/dates.csv",
         "C,vin,>finding,>effect,>message\na,-,{vin},hold,Text.\nb,-,x-y,{vin},Text.\n",
         "rules/checks/claim/dates.csv:2:3: >finding may not hold {fact} places; write the word itself\n"
         "rules/checks/claim/dates.csv:3:4: >effect may not hold {fact} places; write the word itself\n"},
        {"checks/claim/dates.csv", "C,vin,>finding,>effect,>message\na,-,x-y,,Text.\n",
         "rules/checks/claim/dates.csv:2:4: >effect is empty; fill the cell in\n"},
        {"checks/claimant/x.csv", "C,vin,>finding,>effect,>message\n",
         "rules/checks/claimant/x.csv: checks stand in checks/claim, checks/part, checks/labor or "
         "checks/inspection; move the file\n"},
        {"checks/x.csv", "C,vin,>finding,>effect,>message\n",
         "rules/checks/x.csv: checks stand in checks/claim, checks/part, checks/labor or checks/inspection; "
         "move the file\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>quantity,>need\na,-,,1,required\n",
         "rules/campaigns/T1/parts.csv:2:3: >part is empty; fill the cell in\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>quantity,>need\na,-,P-1,,required\n",
         "rules/campaigns/T1/parts.csv:2:4: >quantity must be a number of 0 or more; correct the cell\n"},
        {"campaigns/T1/parts.csv", "C,engine,>part,>quantity,>need\na,-,P-1,1,must\n",
         "rules/campaigns/T1/parts.csv:2:5: \"must\" is no need; write required or allowed\n"},
        {"campaigns/T1/labor.csv", "C,engine,>operation,>hours,>need\na,-,OP-1,x,required\n",
         "rules/campaigns/T1/labor.csv:2:4: \"x\" is not a number; write digits, such as 12 or -0.5\n"},
        {"campaigns/T1/inspections.csv", "C,engine,>inspection,>expects,>need\na,-,GAP,[1..2 mm,required\n",
         NULL},
        {"campaigns/T1/inspections.csv", "C,engine,>inspection,>expects,>need\na,-,GAP,{engine},required\n",
         "rules/campaigns/T1/inspections.csv:2:4: >expects may not hold {fact} places; write the condition "
         "itself\n"},
        {"campaigns/T1/followups.csv", "C,engine,>followup,>part,>due_days\na,-,renew,P-1,-3\n",
         "rules/campaigns/T1/followups.csv:2:5: >due_days must be a number of 0 or more; correct the cell\n"},
        {"checks/other/x.csv", "C,vin,>finding,>effect,>message\n",
         "rules/checks/other/x.csv: checks stand in checks/claim, checks/part, checks/labor or "
         "checks/inspection; "
         "move the file\n"},
        {"checks/claim/dates.csv", "C,vin,>finding,>effect,>message\na,-,x-y,maybe,Text.\n",
         "rules/checks/claim/dates.csv:2:4: \"maybe\" is no effect; write refuse, return, hold, cut or note\n"},
        {"checks/claim/dates.csv", "C,vin,>finding,>effect,>message\na,-,row-unreadable,hold,Text.\n",
         "rules/checks/claim/dates.csv:2:3: the finding row-unreadable is the engine's own; choose another "
         "name\n"},
        {"checks/claim/dates.csv", "C,vin,>finding,>effect,>message\na,-,rules-ambiguous,hold,Text.\n",
         "rules/checks/claim/dates.csv:2:3: the finding rules-ambiguous is the engine's own; choose another "
         "name\n"},
        {"checks/claim/dates.csv", "C+,vin,>finding\na,-,x-y\n", NULL},
        {"checks/claim/dates.csv", "C,vin,>finding,>effect,>message\na,-,x-y,hold,See {earlier_claim}.\n",
         "rules/checks/claim/dates.csv:2:5: the fact \"earlier_claim\" is shown to the office only and this "
         "text goes to "
         "dealers; leave it out\n"},
        {"checks/claim/dates.csv", "C,part,>finding,>effect,>message\na,-,x-y,hold,Text.\n", NULL},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct rules_kit kit;
        if (CASES[i].messages != NULL) {
            expect_messages(&CASES[i], 1);
            continue;
        }
        /* worded by the tables, and tested there: here only that the folder is refused, and the place */
        kit_start(&kit);
        kit_put(&kit, CASES[i].path, CASES[i].content);
        assert_int_equal(kit_compile(&kit), WM_BAD_INPUT);
        assert_int_equal(
            strncmp(kit.capture.text, words("rules/%s:", CASES[i].path), strlen(CASES[i].path) + 7), 0);
        kit_end(&kit);
    }
}

/* One run names every error, wherever it stands. */
static void every_error_is_named(void **state)
{
    struct rules_kit kit;
    (void)state;

    kit_start(&kit);
    kit_put(&kit, "deadlines.csv", "U,region,>submit_within_days\nall,-,soon\n");
    kit_put(&kit, "campaigns/T1/stages.csv", "stage,opens_on\na,soon\nb,later\n");
    kit_put(&kit, "campaigns/T1/eligibility.csv", "F,colour,model_year,>eligible\nall,-,<<3,perhaps\n");
    kit_put(&kit, "campaigns/T2/kits.csv", "U,engine,>kit,>quantity\na,-,K,x\n");
    kit_put(&kit, "checks/claim/dates.csv", "C,vin,>finding,>effect,>message\na,-,x-y,maybe,Text.\nb,-,,,\n");
    kit_put(&kit, "checks/part/x.csv", "C,nothing,>finding,>effect,>message\n");
    assert_int_equal(kit_compile(&kit), WM_BAD_INPUT);
    static const char *const PLACES[] = {
        "rules/deadlines.csv:2:3: ",
        "rules/campaigns/T1/stages.csv:2:2: ",
        "rules/campaigns/T1/stages.csv:3:2: ",
        "rules/campaigns/T1/eligibility.csv:1:2: ",
        "rules/campaigns/T1/eligibility.csv:2:3: ",
        "rules/campaigns/T1/eligibility.csv:2:4: ",
        "rules/campaigns/T2/campaign.csv: ",
        "rules/campaigns/T2/eligibility.csv: ",
        "rules/campaigns/T2/kits.csv:2:4: ",
        "rules/checks/claim/dates.csv:2:4: ",
        "rules/checks/part/x.csv:1:2: ",
    };
    for (size_t i = 0; i < COUNT(PLACES); i++)
        if (strstr(kit.capture.text, PLACES[i]) == NULL)
            fail_msg("no message at %s in\n%s", PLACES[i], kit.capture.text);
    kit_end(&kit);
}

/* --- What a folder says ----------------------------------------------------------------------------------- */

static void prices_count_from_their_day_on(void **state)
{
    struct rules_kit kit;
    int64_t price;
    (void)state;

    kit_start(&kit);
    kit_put(&kit, "campaigns/T1/prices.csv",
            "part,price,valid_from\nP-1,12.50,2026-03-01\nP-1,10,\nP-1,11.25,2026-02-01\nQ-1,3,2026-02-01\n");
    assert_int_equal(kit_compile(&kit), WM_OK);
    const struct campaign *campaign = &kit.rules->campaigns[0];
    const struct campaign_part *p = &campaign->part_list[text_index_find(&campaign->part_index, TEXT("P1"))];
    const struct campaign_part *q = &campaign->part_list[text_index_find(&campaign->part_index, TEXT("Q1"))];
    static const struct {
        int month, day;
        int64_t price;
    } CASES[] = {{1, 31, 10000000}, {2, 1, 11250000}, {2, 28, 11250000}, {3, 1, 12500000}, {12, 31, 12500000}};
    for (size_t i = 0; i < COUNT(CASES); i++) {
        assert_true(campaign_price(p, date_from_civil(2026, CASES[i].month, CASES[i].day), &price));
        assert_int_equal(price, CASES[i].price);
    }
    assert_true(campaign_price(p, DAY_NONE, &price)); /* without a day, the latest */
    assert_int_equal(price, 12500000);
    assert_false(campaign_price(q, date_from_civil(2026, 1, 31), &price));
    kit_end(&kit);
}

/* Rows that say nothing are no fault: a vehicle that takes no kit, a check row that flags nothing, an option
 * that the dictionary need not list. */
static void rows_may_say_nothing(void **state)
{
    struct rules_kit kit;
    (void)state;

    kit_start(&kit);
    kit_put(&kit, "facts.csv",
            words("%soption:eps,boolean,claim,dealer,has it\ninspection:LEAK,text,claim,dealer,leak\n",
                  read_whole("rules/facts.csv", NULL)));
    kit_put(&kit, "campaigns/T1/kits.csv", "U,engine,>kit,>quantity\nnone,E,,\nsome,not(E),K-1,1\n");
    kit_put(&kit, "campaigns/T1/campaign.csv", "key,value\nopens_on,2026-01-01\nother_limit,\nreplaces,T0\n");
    kit_put(&kit, "checks/claim/dates.csv", "C,option:eps,>finding,>effect,>message\nnone,true,,,\n");
    if (kit_compile(&kit) != WM_OK)
        fail_msg("%s", kit.capture.text);
    const struct campaign *campaign = &kit.rules->campaigns[0];
    assert_int_equal(campaign->part_count, 1);
    assert_true(campaign->part_list[0].is_kit);
    assert_false(campaign->has_other_limit);
    assert_true(text_is(campaign->id, "T1")); /* of the folder, where campaign.csv does not name it */
    assert_int_equal(campaign->replaces, -1); /* T0 has no rules any more */
    assert_int_equal(kit.rules->checks[SCOPE_CLAIM][0].flags[0].finding.length, 0);
    kit_end(&kit);
}

/* Where what is expected of a reading ends and its unit begins. */
static void expectations_have_units(void **state)
{
    static const struct {
        const char *expects, *unit; /* NULL: none */
        bool tests;
    } CASES[] = {
        {"[22..28] N.m", "N.m", true}, {"[22..28]Nm", "N.m", true}, {"(1..2)mm", "mm", true},
        {"]1..2[mm", "mm", true},      {"]1..2[ MM", "mm", true},   {"<= 1.5 mm", "mm", true},
        {"<=1.5mm", "mm", true},       {">.5mm", "mm", true},       {"=2mm", NULL, true},
        {"dry", NULL, true},           {"mm", NULL, true},          {"1.5", NULL, true},
        {"2 inches", NULL, true},      {"-", NULL, false},          {"", NULL, false},
    };
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct rules_kit kit;
        kit_start(&kit);
        kit_put(&kit, "campaigns/T1/inspections.csv",
                words("C,engine,>inspection,>expects,>need\na,-,GAP,\"%s\",required\n", CASES[i].expects));
        kit_compile(&kit);
        if (strcmp(CASES[i].expects, "=2mm") == 0 && kit.rules == NULL) { /* no test of FEEL begins with = */
            kit_end(&kit);
            continue;
        }
        if (kit.rules == NULL)
            fail_msg("%s: %s", CASES[i].expects, kit.capture.text);
        const struct inspection_test *test = &kit.rules->campaigns[0].tests[0];
        if ((test->condition != NULL) != CASES[i].tests || (test->unit != NULL) != (CASES[i].unit != NULL) ||
            (test->unit != NULL && !text_is(test->unit->name, CASES[i].unit)))
            fail_msg("%s: the unit is %.*s", CASES[i].expects,
                     test->unit != NULL ? (int)test->unit->name.length : 4,
                     test->unit != NULL ? test->unit->name.bytes : "none");
        kit_end(&kit);
    }
}

/* Which entries of a folder are its files, and which cannot be. */
static void the_folder_is_read(void **state)
{
    static const struct {
        const char *made; /* by the shell, in the folder */
        const char *says; /* NULL: the folder can be read */
        const char *file; /* what must be among its files, or with ! must not */
    } CASES[] = {
        {"echo x > notes.txt", NULL, "!notes.txt"},
        {"echo x > .hidden.csv", NULL, "!.hidden.csv"},
        {"mkdir drafts && echo x > drafts/y.csv", NULL, "!drafts/y.csv"},
        {"mkdir messages && echo x > messages/xx.csv", NULL, "messages/xx.csv"},
        {"mkdir -p messages/old && echo x > messages/old/xx.csv", NULL, "!messages/old/xx.csv"},
        {"echo x > campaigns/y.csv", NULL, "!campaigns/y.csv"},
        {"mkdir campaigns/T1 && echo x > campaigns/T1/kits.csv", NULL, "campaigns/T1/kits.csv"},
        {"mkdir -p checks/claim/deep && echo x > checks/claim/deep/y.csv", NULL, "!checks/claim/deep/y.csv"},
        {"ln -s /dev/null more.csv", "this is a link; put the file itself into the rules folder", NULL},
        {"ln -s /nowhere more.txt", NULL, "!more.txt"},
        {"mkfifo pipe.csv", NULL, "!pipe.csv"},
        {"cd .. && rm -r rules", "cannot read the rules folder: No such file or directory", NULL},
    };
    char folder[256];
    (void)state;

    make_folder(folder);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct arena arena = ARENA_EMPTY;
        struct rules_files files = {{NULL, 0}, NULL, 0};
        struct capture capture;
        shell("rm -rf '%s/rules' && mkdir -p '%s/rules/campaigns' && cd '%s/rules' && %s", folder, folder,
              folder, CASES[i].made);
        capture_start(&capture);
        int status = rules_files_read(words("%s/rules//", folder), &arena, &capture.sink, &files);
        if (CASES[i].says != NULL ? status == WM_OK || strstr(capture.text, CASES[i].says) == NULL
                                  : status != WM_OK)
            fail_msg("%s: %d, %s", CASES[i].made, status, capture.text);
        if (CASES[i].file != NULL) {
            bool no = CASES[i].file[0] == '!';
            if ((rules_files_find(&files, text_of(CASES[i].file + no)) == NULL) != no)
                fail_msg("%s: %s", CASES[i].made, CASES[i].file);
            assert_true(text_is(files.folder, words("%s/rules", folder)));
        }
        arena_free(&arena);
    }
    shell("rm -rf '%s'", folder);
}

/* Without the path, which is longer than what is shown of one. */
static void keep_message(void *context, const struct diag *diag)
{
    snprintf(context, 256, "%s", diag->message);
}

/* A file that the system cannot find by its whole path, and the folder of everything. */
static void paths_that_are_too_long(void **state)
{
    static const char NAME[] = "a-folder-with-quite-a-long-name-as-nobody-would-give-it-who-had-to-write-it-twice";
    struct arena arena = ARENA_EMPTY;
    struct buffer deep = BUFFER_EMPTY;
    struct rules_files files;
    struct capture capture;
    char folder[256], message[256] = "";
    (void)state;

    make_folder(folder);
    buffer_add_string(&deep, folder);
    for (size_t length = strlen(folder); length + sizeof NAME < 4090; length += sizeof NAME)
        buffer_format(&deep, "/%s", NAME);
    buffer_add_byte(&deep, '\0');
    shell("cd '%s' && while mkdir %s 2>/dev/null && cd %s && [ ${#PWD} -lt %zu ]; do :; done && echo x > %s.csv",
          folder, NAME, NAME, strlen(deep.bytes), NAME);
    struct diag_sink sink = {.report = keep_message, .context = message};
    assert_int_equal(rules_files_read(deep.bytes, &arena, &sink, &files), WM_IO);
    assert_string_equal(message, "cannot read: File name too long");
    capture_start(&capture);
    assert_int_equal(rules_files_read("/", &arena, &capture.sink, &files), WM_OK);
    assert_true(text_is(files.folder, "/"));
    buffer_free(&deep);
    arena_free(&arena);
    shell("rm -rf '%s'", folder);
}

/* A folder of the wrong kind, such as a home folder, is not read to its end. */
static void a_folder_of_too_many_files_is_not_read(void **state)
{
    struct arena arena = ARENA_EMPTY;
    struct rules_files files;
    struct capture capture;
    char folder[256];
    (void)state;

    make_folder(folder);
    shell("mkdir '%s/campaigns' '%s/campaigns/T1' && cd '%s/campaigns/T1' && seq -f '%%g.csv' %d | xargs touch",
          folder, folder, folder, LIMIT_RULES_FILES + 1);
    capture_start(&capture);
    assert_int_equal(rules_files_read(folder, &arena, &capture.sink, &files), WM_LIMIT);
    assert_string_equal(
        capture.text,
        words("%s: the rules folder holds more than 10000 files; is it the right folder?\n", folder));
    arena_free(&arena);
    shell("rm -rf '%s'", folder);
}

static void facts_that_no_table_names_have_no_slot(void **state)
{
    struct rules_kit kit;
    int32_t *days;
    uint32_t count;
    (void)state;

    kit_start(&kit);
    assert_int_equal(kit_compile(&kit), WM_OK);
    assert_true(rules_slot(kit.rules, FACT_completed_on) >= 0);
    assert_int_equal(rules_slot(kit.rules, FACT_built_on), -1);
    assert_int_equal(lint_days(kit.rules, &kit.arena, &days, &count), WM_OK);
    assert_int_equal(count, 0);
    assert_true(rules_slot(kit.rules, FACT_model_year) >= 0);
    assert_int_equal(rules_slot(kit.rules, FACT_technician_day_hours), -1);
    assert_int_equal(rules_slot(kit.rules, FACT_vin_nearest), -1);
    kit_end(&kit);
}

/* Diagnostics name the folder, where there is one and the whole path is no longer than any system's. */
static void diagnostics_name_the_folder(void **state)
{
    static char endless[5000];
    const struct {
        const char *folder, *says;
    } CASES[] = {{"rules", "rules/units.csv: the file is missing; the rules need it\n"},
                 {"", "units.csv: the file is missing; the rules need it\n"},
                 {endless, "units.csv: the file is missing; the rules need it\n"}};
    (void)state;

    memset(endless, 'x', sizeof endless - 1);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct rules_kit kit;
        kit_start(&kit);
        kit_put(&kit, "units.csv", NULL);
        kit.files.folder = text_of(CASES[i].folder);
        assert_int_equal(kit_compile(&kit), WM_BAD_INPUT);
        assert_string_equal(kit.capture.text, CASES[i].says);
        kit_end(&kit);
    }
}

/* An office may have no campaign yet. */
static void rules_without_campaigns(void **state)
{
    struct rules_kit kit;
    (void)state;

    kit_start(&kit);
    kit_put(&kit, "campaigns/T1/campaign.csv", NULL);
    kit_put(&kit, "campaigns/T1/eligibility.csv", NULL);
    assert_int_equal(kit_compile(&kit), WM_OK);
    assert_int_equal(kit.rules->campaign_count, 0);
    assert_int_equal(kit.rules->check_count[SCOPE_CLAIM], 1);
    kit_end(&kit);
}

/* --- Which facts a table may name -------------------------------------------------------------------- */

static void facts_of_each_kind_of_table(void **state)
{
    static const char *const NAMES[] = {"outcome", "engine",  "region",     "part",           "hours",
                                        "reading", "claimed", "option:eps", "inspection:CAP", "price"};
    static const struct {
        enum fact_set set;
        enum scope scope;
        const char *found; /* x: the name in its place is found; the dictionary lists no price */
    } CASES[] = {
        {FACTS_OF_SCOPE, SCOPE_CLAIM, "xxx....xx."},   {FACTS_OF_SCOPE, SCOPE_PART, "xxxx..xxx."},
        {FACTS_OF_VEHICLE, SCOPE_CLAIM, ".x.....x.."}, {FACTS_OF_VEHICLE_OUTCOME, SCOPE_CLAIM, "xx.....x.."},
        {FACTS_OF_WORK, SCOPE_CLAIM, "xx.....xx."},    {FACTS_OF_FOLLOWUP, SCOPE_CLAIM, ".x.....xx."},
        {FACTS_OF_REGION, SCOPE_CLAIM, "..x......."},  {FACTS_OF_ANY_SCOPE, SCOPE_CLAIM, "xxxxxxxxx."},
    };
    struct arena arena = ARENA_EMPTY;
    struct capture capture;
    struct dictionary *dictionary;
    (void)state;

    capture_start(&capture);
    assert_int_equal(dictionary_read(&arena, TEXT("facts.csv"),
                                     TEXT(FACTS "outcome,text,claim,dealer,x\nengine,text,claim,dealer,x\n"
                                                "region,text,claim,dealer,x\npart,text,part,dealer,x\n"
                                                "hours,number,labor,dealer,x\nreading,number,inspection,dealer,x\n"
                                                "claimed,boolean,part,dealer,x\n"),
                                     &capture.sink, &dictionary),
                     WM_OK);
    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct fact_view view = {dictionary, CASES[i].set, CASES[i].scope};
        struct fact_source source = fact_view_source(&view);
        for (size_t n = 0; n < COUNT(NAMES); n++) {
            struct fact_ref fact;
            if (source.find(source.context, text_of(NAMES[n]), VALUE_TEXT, &fact, NULL) != (CASES[i].found[n] == 'x'))
                fail_msg("case %zu: %s", i, NAMES[n]);
        }
    }
    arena_free(&arena);
    assert_string_equal(scope_name(SCOPE_LABOR), "labor");
    assert_string_equal(scope_name(SCOPE_ITEM), "item");
}

/* --- Two folders ------------------------------------------------------------------------------------ */

static int take_difference(void *context, const struct difference *difference)
{
    buffer_format(context, "%s %.*s", change_name(difference->change), TEXT_ARGUMENTS(difference->file));
    if (difference->row.length + difference->column.length > 0)
        buffer_format(context, " %.*s/%.*s", TEXT_ARGUMENTS(difference->row), TEXT_ARGUMENTS(difference->column));
    buffer_format(context, " [%.*s]%d [%.*s]%d\n", TEXT_ARGUMENTS(difference->before), (int)difference->line_before,
                  TEXT_ARGUMENTS(difference->after), (int)difference->line_after);
    return WM_OK;
}

static const char *many_prices(int count)
{
    struct buffer csv = BUFFER_EMPTY;

    buffer_add_string(&csv, "part,price\n");
    for (int i = 0; i < count; i++)
        buffer_format(&csv, "P-%d,1.00\n", i);
    const char *prices = words("%.*s", TEXT_ARGUMENTS(buffer_text(&csv)));
    buffer_free(&csv);
    return prices;
}

#define CHECK(rows) ",>finding,>effect,>message\n" rows

static void differences_of_one_file(void **state)
{
    const struct {
        const char *path, *before, *after; /* NULL: the file is not there */
        const char *told;
    } CASES[] = {
        {"zz.csv", NULL, "a,b\n1,2\n", "added zz.csv []0 []0\n"},
        {"zz.csv", "a,b\n1,2\n", NULL, "removed zz.csv []0 []0\n"},
        {"zz.csv", "a,b\n1,2\n", "a,b\n1,3\n", ""},
        {"campaigns/T1/myprices.csv", "part,price\nP-1,2\n", "part,price\nP-1,3\n", ""},
        {"campaigns/T1/prices.csv", NULL, "part,price\n# all of them,\nP-1,2\n",
         "added campaigns/T1/prices.csv []0 []0\nadded campaigns/T1/prices.csv P-1/ []0 [price 2]3\n"},
        {"campaigns/T1/prices.csv", "part,price\nP-1,2\nP-2,2\n", "part,price,valid_from\nP-2,2,2026-03-01\n",
         "removed campaigns/T1/prices.csv P-1/ [price 2]2 []0\n"
         "removed campaigns/T1/prices.csv P-2/ [price 2]3 []0\n"
         "added campaigns/T1/prices.csv P-2 2026-03-01/ []0 [price 2]2\n"},
        {"campaigns/T1/stages.csv", "stage,opens_on\nfirst,\n", "stage,opens_on\nfirst,2026-03-01\nlater,\n",
         "changed campaigns/T1/stages.csv first/opens_on []2 [2026-03-01]2\n"
         "added campaigns/T1/stages.csv later/ []0 []3\n"},
        {"units.csv", "unit,quantity,factor\nN.m,torque,1\n", "unit,aliases,quantity,factor\nN.m,Nm,torque,1\n",
         "changed units.csv N.m/aliases []2 [Nm]2\n"},
        {"campaigns/T1/prices.csv", many_prices(70), many_prices(71),
         "added campaigns/T1/prices.csv P-70/ []0 [price 1.00]72\n"},
        {"units.csv", "unit,quantity,factor\nN.m,torque,1\n",
         "unit,quantity,factor\nN.m,torque,1\nbar,pressure,100000\n",
         "added units.csv bar/ []0 [quantity pressure, factor 100000]3\n"},
        {"checks/claim/dates.csv", "C,completed_on" CHECK("none,null,no-day,return,Add it.\n"),
         "C,completed_on,opened_on" CHECK("none,null,null,no-day,return,Add it.\n"),
         "changed checks/claim/dates.csv none/opened_on [any opened on]2 [opened on not known]2\n"},
        {"checks/claim/dates.csv", "C,completed_on,opened_on" CHECK("none,null,null,no-day,return,Add it.\n"),
         "C,completed_on" CHECK("none,null,no-day,return,Add it.\n"),
         "changed checks/claim/dates.csv none/opened_on [opened on not known]2 [any opened on]2\n"},
        {"campaigns/T1/eligibility.csv", "F,model_year,engine,>eligible\nvalues,,\"R16, R20\",\nall,-,-,true\n",
         "F,model_year,>eligible,>stage\nall,-,true,first\n",
         "changed campaigns/T1/eligibility.csv /values of engine [R16 or R20]1 [none given]1\n"
         "changed campaigns/T1/eligibility.csv all/stage [nothing]3 [first]2\n"},
        {"campaigns/T1/eligibility.csv", "F,model_year,>eligible,>stage\nall,-,true,nothing\n",
         "F,model_year,>eligible\nall,-,true\n",
         "changed campaigns/T1/eligibility.csv all/stage [\"nothing\"]2 [nothing]2\n"},
        {"checks/claim/dates.csv",
         "P,kits_listed" CHECK("values,,\"a, b\",,\nsome,> 1,a,note,A.\ntwo,2,b,note,B.\n"),
         "P,kits_listed" CHECK("values,,\"b, a\",,\nsome,> 1,a,note,A.\ntwo,2,b,note,B.\n"),
         "changed checks/claim/dates.csv /values of >finding [a, b]1 [b, a]1\n"},
        {"checks/claim/dates.csv", "F,kits_listed" CHECK("a,> 1,a,note,A.\nb,2,b,note,B.\n"),
         "F,kits_listed" CHECK("b,2,b,note,B.\nnew,3,c,note,C.\na,> 1,a,note,A.\n"),
         "added checks/claim/dates.csv new/ []0 [kits listed 3: finding c, effect note, message C.]3\n"
         "moved checks/claim/dates.csv b/order [behind \"a\"]3 [first]2\n"},
        {"checks/claim/dates.csv", "F,kits_listed" CHECK("a,> 1,a,note,A.\n"),
         "F,kits_listed" CHECK("b,2,b,note,B.\n"),
         "removed checks/claim/dates.csv a/ [kits listed more than 1: finding a, effect note, message A.]2 []0\n"
         "added checks/claim/dates.csv b/ []0 [kits listed 2: finding b, effect note, message B.]2\n"},
    };
    size_t wrong = 0;
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct rules_kit before, after;
        struct buffer told = BUFFER_EMPTY;
        kit_start(&before);
        kit_start(&after);
        if (CASES[i].before != NULL)
            kit_put(&before, CASES[i].path, CASES[i].before);
        if (CASES[i].after != NULL)
            kit_put(&after, CASES[i].path, CASES[i].after);
        if (kit_compile(&before) != WM_OK || kit_compile(&after) != WM_OK)
            fail_msg("%s: %s%s", CASES[i].path, before.capture.text, after.capture.text);
        assert_int_equal(rules_differences(before.rules, after.rules, take_difference, &told), WM_OK);
        buffer_add_byte(&told, '\0');
        if (strcmp(told.bytes, CASES[i].told) != 0)
            print_error("case %zu, %s:\n%s", i, CASES[i].path, told.bytes);
        wrong += strcmp(told.bytes, CASES[i].told) != 0;
        buffer_free(&told);
        kit_end(&before);
        kit_end(&after);
    }
    assert_int_equal(wrong, 0);
}

/* Who reports nothing counts all the same. */
static void errors_that_nobody_is_told(void **state)
{
    struct rules_kit kit;
    struct diag_sink silent = {0};
    (void)state;

    kit_start(&kit);
    kit_put(&kit, "campaigns/T1/eligibility.csv", NULL);
    assert_int_equal(rules_compile(&kit.arena, &kit.files, &silent, &kit.rules), WM_BAD_INPUT);
    assert_int_equal(silent.errors, 1);
    kit_end(&kit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dictionary_has_what_the_engine_computes),
        cmocka_unit_test(dictionary_explains_each_fact),
        cmocka_unit_test(other_dealers_business_is_the_offices),
        cmocka_unit_test(shipped_checks_make_every_finding),
        cmocka_unit_test(the_kit_can_be_used),
        cmocka_unit_test(errors_of_the_lists),
        cmocka_unit_test(errors_of_the_tables),
        cmocka_unit_test(every_error_is_named),
        cmocka_unit_test(prices_count_from_their_day_on),
        cmocka_unit_test(rows_may_say_nothing),
        cmocka_unit_test(expectations_have_units),
        cmocka_unit_test(the_folder_is_read),
        cmocka_unit_test(a_folder_of_too_many_files_is_not_read),
        cmocka_unit_test(facts_that_no_table_names_have_no_slot),
        cmocka_unit_test(paths_that_are_too_long),
        cmocka_unit_test(diagnostics_name_the_folder),
        cmocka_unit_test(errors_that_nobody_is_told),
        cmocka_unit_test(rules_without_campaigns),
        cmocka_unit_test(facts_of_each_kind_of_table),
        cmocka_unit_test(differences_of_one_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
