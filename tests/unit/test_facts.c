/* What is true of a claim, fact by fact (contract section 5), asked of the program: each case names facts,
 * gives claims, and says what the facts are. The office and the campaigns behind the answers stand in probe.h.
 */
#include "probe.h"

#define EXPECT(scope, cases) probe_expect(scope, cases, COUNT(cases))

static void as_stated(void **state)
{
    static const struct probe_case CASES[] = {
        {"claim revision dealer repair_order campaign vin outcome claim_model_year claim_engine",
         "claim= a b |revision=0|vin=ez7taac10kt000101|outcome=Repaired|model_year=2019|engine=A",
         "a b|0|D1|R1|T1|" VIN_A "|Repaired|2019|A\n"},
        {"revision odometer odometer_unit technician approval claim_model_year claim_engine", "",
         "0||mi||||\n"},
        {"odometer odometer_unit opened_on completed_on submitted_on",
         "odometer=12|odometer_unit=KM|opened_on=", "12|KM||2026-03-02|2026-03-05\n"},
        {"parts labor inspections", "parts=K-A; FL 1=2@3.5 |labor=OP-1=1.2|inspections=LEAK = dry",
         "K-A; FL 1=2@3.5|OP-1=1.2|LEAK = dry\n"},
        {"parts_amount labor_amount other_amount total_amount amounts_sum",
         "parts_amount=10.5|labor_amount=.25|total_amount=11", "10.5|0.25|0|11|10.75\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void vins(void **state)
{
    static const struct probe_case CASES[] = {
        {"vin_form vin_check vin_model_year vin_nearest vehicle_known",
         "vin=" VIN_A "\n"
         "vin=EZ7TAAC10KT000111\n"  /* one character replaced: 0 by 1 */
         "vin=EZT7AAC10KT000101\n"  /* neighbours swapped */
         "vin=EZ7TAAC1OKT000101\n"  /* the letter O for 0: no VIN has it, and still it has a nearest one */
         "vin=EZ7TAAC1XKT007616\n"  /* one character from either twin, so none */
         "vin=1M8GDM9AXKP042788\n"  /* right, with a digit in position 7: 1989; not registered */
         "vin=EZ7TAAC10KT00010\n"   /* 16 */
         "vin=EZ7TAAC10KT0001011\n" /* 18 */
         "vin=EZ7TAAC10UT000101",   /* U is no year */
         "ok|ok|2019||true\nok|bad|2019|" VIN_A "|false\nok|bad|2019|" VIN_A "|false\n"
         "characters|||" VIN_A
         "|false\nok|bad|2019||false\nok|ok|1989||false\nlength||||false\nlength||||false\n"
         "ok|bad||" VIN_A "|false\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void vehicles(void **state)
{
    static const struct probe_case CASES[] = {
        {"vehicle_known vehicle_status vehicle_status_on model_line model_year engine transmission built_on "
         "plant",
         "vin=" VIN_A "\nvin=" VIN_SCRAPPED "\nvin=" VIN_GAMMA "\nvin=1M8GDM9AXKP042788",
         "true|in_service||Alpha|2019|A|manual|2019-05-01|North\n"
         "true|scrapped|2026-02-01|Alpha|2019|A|manual|2019-06-01|North\n"
         "true|in_service||Gamma|2020|A|manual||\nfalse||||||||\n"},
        {"option:tow option:roof option:eps", "vin=" VIN_A "\nvin=" VIN_SCRAPPED "\nvin=1M8GDM9AXKP042788",
         "true|true|false\nfalse|false|true\n||\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void campaigns(void **state)
{
    static const struct probe_case CASES[] = {
        {"campaign_known campaign_opens_on campaign_closes_on other_limit",
         "campaign=T1\ncampaign=T0\ncampaign=T9",
         "true|2026-01-12|2026-06-30|25\ntrue|2025-01-01||\nfalse|||\n"},
        {"eligible stage stage_opens_on",
         "vin=" VIN_A "\nvin=" VIN_BETA "\nvin=" VIN_GAMMA "\nvin=" VIN_SCRAPPED
         "\nvin=1M8GDM9AXKP042788\ncampaign=T9",
         "true|first|2026-02-02\ntrue|second|\nfalse||\nfalse||\n||\n||\n"},
        /* T1 replaces T0 where T1 is open on the day, both days included, and takes in the vehicle */
        {"replaced_by",
         "campaign=T0\ncampaign=T0|vin=" VIN_GAMMA "\ncampaign=T0|completed_on=2026-01-11\n"
         "campaign=T0|completed_on=2026-01-12\ncampaign=T0|completed_on=2026-06-30\ncampaign=T0|completed_on="
         "2026-07-01\n"
         "campaign=T0|completed_on=\ncampaign=T1\ncampaign=T0|vin=" VIN_SCRAPPED,
         "T1\n\n\nT1\nT1\n\n\n\n\n"},
    };
    /* a campaign that never opened and never closes is open on every day */
    static const struct probe_case WITHOUT_DAYS[] = {
        {"replaced_by", "campaign=T0|completed_on=2000-01-01\ncampaign=T0|completed_on=2030-01-01\ncampaign=T0|"
                        "completed_on=",
         "T1\nT1\n\n"},
    };
    char *whole = read_whole(probe_path("rules/campaigns/T1/campaign.csv"), NULL);
    (void)state;

    EXPECT("claim", CASES);
    write_words(probe_path("rules/campaigns/T1/campaign.csv"), "key,value\ncampaign,T1\nreplaces,T0\n");
    EXPECT("claim", WITHOUT_DAYS);
    write_words(probe_path("rules/campaigns/T1/campaign.csv"), whole);
    free(whole);
}

static void dealers(void **state)
{
    static const struct probe_case CASES[] = {
        {"dealer_known dealer_active region submit_within_days silence_approves resubmit_within_days "
         "pay_within_days",
         "dealer=D1\ndealer=D2\ndealer=D3\ndealer=D9",
         "true|true|US-NY||true||\ntrue|true|US-AK|90|false|30|\ntrue|true|US-NJ||||\nfalse||||||\n"},
        /* both days of the agreement belong to it; empty ones are open */
        {"dealer_active",
         "completed_on=2024-12-31\ncompleted_on=2025-01-01\ncompleted_on=2026-04-30\ncompleted_on=2026-05-01\n"
         "completed_on=\ndealer=D3|completed_on=2026-03-01\ndealer=D3|completed_on=2026-03-03\n"
         "dealer=D2|completed_on=2039-01-01",
         "false\ntrue\ntrue\nfalse\n\nfalse\nfalse\ntrue\n"},
        /* D2 has no version before 2026-02-01; without a day the latest counts */
        {"dealer_known region",
         "dealer=D2|completed_on=2026-01-31\ndealer=D2|completed_on=2026-02-01\ndealer=D2|completed_on=",
         "false|\ntrue|US-AK\ntrue|US-AK\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void days(void **state)
{
    static const struct probe_case CASES[] = {
        {"days_to_submit days_open received_on first_received_on days_to_resubmit today",
         "\nopened_on=2026-03-02|submitted_on=2026-03-02\nopened_on=2026-03-04|submitted_on=2026-03-01\nopened_"
         "on=\n"
         "completed_on=\nopened_on=2024-02-28|completed_on=2024-03-01|submitted_on=2025-03-01",
         /* 2024 has a 29 February: two days from the 28th to 1 March, and 365 from there to 1 March 2025 */
         "3|1|2026-03-10|2026-03-10||2026-03-10\n0|0|2026-03-10|2026-03-10||2026-03-10\n"
         "-1|-2|2026-03-10|2026-03-10||2026-03-10\n3||2026-03-10|2026-03-10||2026-03-10\n"
         "||2026-03-10|2026-03-10||2026-03-10\n365|2|2026-03-10|2026-03-10||2026-03-10\n"},
        /* a revision of a claim of this file: first received the same day */
        {"days_to_resubmit first_received_on", "claim=X\nclaim=X|revision=1", "|2026-03-10\n0|2026-03-10\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void approvals(void **state)
{
    static const struct probe_case CASES[] = {
        {"approval_known approval_valid",
         "\napproval=AP-9\napproval=AP-1|total_amount=100\napproval=AP-1|total_amount=100.01\n"
         "approval=AP-1|completed_on=2026-03-03\napproval=AP-2|completed_on=2029-01-01|total_amount=99999\n"
         "approval=AP-2|dealer=D2\napproval=AP-2|campaign=T0\napproval=AP-2|vin=" VIN_B,
         "|\nfalse|\ntrue|true\ntrue|false\ntrue|false\ntrue|true\ntrue|false\ntrue|false\ntrue|false\n"},
        /* what an approval leaves open is open; one that ends needs a day; letters of a VIN count in any case */
        {"approval_valid",
         "approval=AP-4\napproval=AP-4|dealer=D2|campaign=T0|vin=" VIN_B "|completed_on=\napproval=AP-1|completed_on=\n"
         "approval=AP-1|completed_on=2026-03-02\napproval=AP-2|vin=ez7taac10kt000101\napproval=AP-2|completed_on=",
         "true\ntrue\nfalse\ntrue\ntrue\ntrue\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

/* --- What depends on other claims ------------------------------------------------------------------------- */

static void earlier_claims(void **state)
{
    static const struct probe_case CASES[] = {
        /* the first that stands counts, whatever its day; other campaigns and other vehicles do not */
        {"earlier_claim earlier_dealer_same earlier_completed_on earlier_outcome",
         "claim=A|completed_on=2026-03-04\nclaim=B|dealer=D2|outcome=inspected\nclaim=C\nvin=" VIN_B
         "\ncampaign=T0",
         "|||\nD1/A|false|2026-03-04|repaired\nD1/A|true|2026-03-04|repaired\n|||\n|||\n"},
        /* returned and refused claims do not stand, held ones do */
        {"earlier_claim", "claim=A|engine=RETURN\nclaim=B|engine=REFUSE\nclaim=C|engine=HOLD\nclaim=D",
         "\n\n\nD1/C\n"},
        /* never another revision of the claim in hand */
        {"earlier_claim", "claim=A\nclaim=A|revision=1\nclaim=B", "\n\nD1/A\n"},
        /* a revision that is returned takes nothing back: revision 0 goes on to stand */
        {"earlier_claim earlier_completed_on",
         "claim=A|completed_on=2026-03-04\nclaim=A|revision=1|completed_on=2026-03-05|engine=RETURN\nclaim=B",
         "|\n|\nD1/A|2026-03-04\n"},
        /* a higher revision that is paid replaces it */
        {"earlier_completed_on",
         "claim=A|completed_on=2026-03-04\nclaim=A|revision=1|completed_on=2026-03-05\nclaim=B",
         "\n\n2026-03-05\n"},
        /* a revision that is not higher than one recorded replaces nothing */
        {"earlier_completed_on",
         "claim=A|revision=2|completed_on=2026-03-04\nclaim=A|revision=1|completed_on=2026-03-05\n"
         "claim=A|revision=2|completed_on=2026-03-06\nclaim=B",
         "\n\n\n2026-03-04\n"},
        /* claim numbers are the dealer's own */
        {"earlier_claim revision_last", "claim=A\nclaim=A|dealer=D2", "|\nD1/A|\n"},
        /* an earlier claim may have no day */
        {"earlier_claim earlier_completed_on", "claim=A|completed_on=\nclaim=B", "|\nD1/A|\n"},
        {"earlier_replaced_claim earlier_replaced_on", "claim=A|campaign=T0|completed_on=\nclaim=B", "|\nD1/A|\n"},
        /* claims of several campaigns and outcomes on one vehicle are kept apart */
        {"earlier_claim earlier_outcome",
         "claim=A|campaign=T0\nclaim=B|campaign=T0|outcome=inspected\nclaim=C|outcome=inspected\nclaim=D\n"
         "claim=E|campaign=T0",
         "|\nD1/A|repaired\n|\nD1/C|inspected\nD1/A|repaired\n"},
        /* likewise under the campaign that this one replaces */
        {"earlier_replaced_claim earlier_replaced_on earlier_claim",
         "claim=A|campaign=T0|completed_on=2025-05-06\nclaim=B\nclaim=C|campaign=T0",
         "||\nD1/A|2025-05-06|\n||D1/A\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void revisions(void **state)
{
    static const struct probe_case CASES[] = {
        {"revision_last revision_expected previous_decision paid_before",
         "claim=A\nclaim=A|revision=1|engine=RETURN\nclaim=A|revision=1\nclaim=A|revision=5|engine=HOLD\nclaim="
         "A|revision=6",
         "|0||0\n0|1|pay|0\n1|2|return|0\n1|2|return|0\n5|6|hold|0\n"},
        /* what the highest revision decided pay came to: 10.00 of other costs; held and refused ones do not
           count */
        {"paid_before previous_decision",
         "claim=A|other_amount=10|total_amount=10\nclaim=A|revision=1|other_amount=12|total_amount=12|engine="
         "HOLD\n"
         "claim=A|revision=2|other_amount=8|total_amount=8\nclaim=A|revision=3",
         "0|\n10|pay\n10|hold\n8|pay\n"},
        /* what a row says otherwise than the highest revision, if it is of the same */
        {"revision_differs",
         "claim=A|repair_order=R\nclaim=A|repair_order=R|odometer=5|technician=T\nclaim=A|repair_order=R\n"
         "claim=A|repair_order=R|revision=1|odometer=7\nclaim=A|repair_order=R|revision=1|odometer=7\n"
         "claim=A|repair_order=R|revision=1|vin=" VIN_B "\nclaim=A|repair_order=R|revision=0",
         "\nodometer, technician\n\n\n\nvin, odometer\n\n"},
        /* a row that cannot be read is not recorded */
        {"revision_last", "claim=A|revision=x\nclaim=A", "\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void repair_orders_and_technicians(void **state)
{
    static const struct probe_case CASES[] = {
        /* other VINs of this dealer on this order that stand; one VIN counts once */
        {"repair_order_vins",
         "repair_order=R\nrepair_order=R\nrepair_order=R|vin=" VIN_B "\nrepair_order=R|vin=" VIN_BETA
         "|engine=RETURN\n"
         "repair_order=R|vin=" VIN_GAMMA "\nrepair_order=R|dealer=D2|vin=" VIN_GAMMA "\nrepair_order=r",
         "0\n0\n1\n2\n2\n0\n0\n"},
        /* and once only, however often it comes again */
        {"repair_order_vins",
         "repair_order=R\nrepair_order=R|vin=" VIN_B "\nrepair_order=R|vin=" VIN_B "\nrepair_order=R|vin=" VIN_GAMMA
         "\nrepair_order=R\nrepair_order=R|vin=" VIN_GAMMA,
         "0\n1\n1\n2\n2\n2\n"},
        /* a claim's own earlier revision on another VIN is not another claim */
        {"repair_order_vins", "claim=A|repair_order=R\nclaim=A|revision=1|repair_order=R|vin=" VIN_B, "0\n0\n"},
        /* hours of the technician's day at this dealer, this claim included; returned ones do not count */
        {"technician_day_hours hours_claimed",
         "technician=T|labor=OP-1=1.5; "
         "OP-2=0.25\ntechnician=T|labor=OP-1=2|engine=RETURN\ntechnician=T|labor=OP-1=2\n"
         "technician=T|labor=OP-1=1|completed_on=2026-03-03\ntechnician=T|labor=OP-1=1|dealer=D2\ntechnician="
         "U\nlabor=OP-1=1\n"
         "technician=T|labor=OP-1=1|completed_on=",
         "1.75|1.75\n3.75|2\n3.75|2\n1|1\n1|1\n0|0\n|1\n|1\n"},
        /* a revision counts instead of the one before it */
        {"technician_day_hours",
         "claim=A|technician=T|labor=OP-1=1.5\nclaim=A|revision=1|technician=T|labor=OP-1=1\nclaim=B|"
         "technician=T|labor=OP-1=0.1",
         "1.5\n1\n1.1\n"},
        /* hours beyond any day, and what they were before a revision, among kits and with none */
        {"technician_day_hours kits_claimed",
         "claim=A|technician=T|labor=OP-1=3000|parts=K-A=2; K-B\ntechnician=T|labor=OP-1=0.5|parts=K-A\n"
         "claim=A|revision=1|technician=T|labor=OP-1=1\nclaim=C|technician=T|labor=OP-1=4000\n"
         "claim=C|revision=1|technician=T|labor=OP-1=5000|parts=K-B; K-A; FL-1\nclaim=D|technician=T",
         "3000|2\n3000.5|3\n1.5|1\n4001.5|1\n5001.5|2\n5001.5|2\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

/* Kits over many days; the last claim is of the first day again. */
static void kits_of_many_days(void **state)
{
    enum { CLAIMS = 100 };
    char claims[CLAIMS * 40] = "", expected[CLAIMS * 4] = "";
    (void)state;

    for (int i = 0; i < CLAIMS; i++) {
        snprintf(claims + strlen(claims), sizeof claims - strlen(claims), "%sparts=K-A|completed_on=2026-0%d-%02d",
                 i > 0 ? "\n" : "", 1 + i / 25 % 4, 1 + i % 25);
        snprintf(expected + strlen(expected), sizeof expected - strlen(expected), "%d\n", 1 + i);
    }
    const struct probe_case cases[] = {
        {"kits_claimed", claims, expected},
        {"kits_claimed", words("%s\nparts=K-A|completed_on=2026-01-01", claims), words("%s2\n", expected)},
    };
    EXPECT("claim", cases);
}

/* A claim on record that has a technician and no day counts on no day, until a revision has one. */
static void recorded_without_a_day(void **state)
{
    const struct probe_case cases[] = {
        {"technician_day_hours",
         "claim=A|revision=1|technician=T|labor=OP-1=2\nclaim=B|technician=T|labor=OP-1=1\n"
         "claim=A|revision=2|technician=T|labor=OP-1=4|completed_on=\nclaim=C|technician=T|labor=OP-1=1",
         "2\n3\n\n2\n"},
    };
    (void)state;

    shell("cp %s %s", probe_path("office.db"), probe_path("kept.db"));
    struct result result =
        RUN("post", probe_write_claims("claim=A|technician=T|labor=OP-1=8|completed_on="), "--office",
            probe_path("office.db"), "--rules", probe_path("rules"), "--today", "2026-03-09", "--quiet");
    if (result.code > 1)
        fail_msg("%s", result.err);
    result_free(&result);
    EXPECT("claim", cases);
    shell("mv %s %s", probe_path("kept.db"), probe_path("office.db"));
}

static void odometers(void **state)
{
    static const struct probe_case CASES[] = {
        /* the highest of an earlier or equal day, in this claim's unit: 1 mi = 1.609344 km, cut to whole units.
         * 1000 mi = 1609.344 km; 1610 km = 1000.407... mi */
        {"earlier_odometer",
         "odometer=1000|completed_on=2026-03-02\nodometer=900|completed_on=2026-03-03\n"
         "odometer=5000|completed_on=2026-03-01\nodometer=1|odometer_unit=km|completed_on=2026-03-02\n"
         "odometer=1|completed_on=2026-02-28\nodometer=1|vin=" VIN_B "\nodometer=1|completed_on=",
         "\n1000\n\n8046\n\n\n\n"},
        {"earlier_odometer", "odometer=1000\nodometer=1610|odometer_unit=km\nodometer=2000", "\n1609\n1000\n"},
        /* neither a claim without a day, nor one without a reading, nor a revision that another one replaced */
        {"earlier_odometer",
         "odometer=900|completed_on=\nclaim=N\nclaim=A|odometer=800\nclaim=A|revision=1|odometer=700\nodometer=1",
         "\n\n\n\n700\n"},
        /* a reading of 0 is one */
        {"earlier_odometer", "odometer=0\nodometer=5", "\n0\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void kits(void **state)
{
    static const struct probe_case CASES[] = {
        /* shipped to D1: 3 on 10 January, one sent back on 20 February, 2 on 3 March */
        {"kit_expected kits_shipped",
         "completed_on=2026-01-09\ncompleted_on=2026-01-10\ncompleted_on=2026-02-19\ncompleted_on=2026-02-20\n"
         "completed_on=2026-03-03\nvin=" VIN_B "\noutcome=inspected\ncompleted_on=\nvin=" VIN_GAMMA,
         "K-A|0\nK-A|3\nK-A|3\nK-A|2\nK-A|4\nK-B|0\n|\nK-A|\n|\n"},
        /* claimed under all campaigns up to the day, this claim included, by this dealer */
        {"kits_claimed",
         "parts=K-A\nparts=k.a=2|campaign=T0\nparts=K-A|completed_on=2026-03-01\nparts=K-A|dealer=D2\n"
         "parts=K-A|engine=REFUSE\nparts=FL-1=2\nparts=K-B|vin=" VIN_B,
         "1\n3\n1\n1\n5\n4\n1\n"},
        /* a revision counts instead of the one before it, which may have listed another kit, or had another day
           or none */
        {"kits_claimed",
         "claim=A|parts=K-A=2\nclaim=A|revision=1|parts=K-A=3\nclaim=A|revision=2|parts=K-B\nclaim=A|revision="
         "3|parts="
         "K-A; K-B=4\nclaim=B|parts=K-A",
         "2\n3\n0\n1\n2\n"},
        {"kits_claimed",
         "claim=A|parts=K-A=2|completed_on=2026-03-09\nclaim=A|revision=1|parts=K-A\nclaim=B|parts=K-A|"
         "completed_on=\n"
         "claim=B|revision=1|parts=K-A=5\nclaim=C|parts=K-A|completed_on=2026-03-09",
         "2\n1\n\n6\n7\n"},
        /* two kits on one claim, one of each */
        {"kits_claimed", "parts=K-A=2; K-B\nvin=" VIN_B "|parts=K-A; K-B\nparts=K-A\nvin=" VIN_B, "2\n2\n4\n2\n"},
        {"kits_listed", "parts=K-A=2\nparts=K-A; k-b\nparts=K-A; k a; FL-1\nparts=K-A=0; K-B", "1\n2\n1\n1\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

/* Tables of a campaign, and deadlines, that contradict themselves for a claim: what they would say is not
 * known, and the claim says so. */
static void tables_in_error(void **state)
{
    static const struct {
        const char *path, *csv, *claim, *facts, *rule;
    } CASES[] = {
        {"rules/deadlines.csv", "U,region,>submit_within_days\na,US-NY,30\nb,\"US-NY, US-AK\",60\n", "",
         "dealer_known submit_within_days eligible", "deadlines.csv"},
        {"rules/campaigns/T1/eligibility.csv", "U,model_line,>eligible\na,Alpha,true\nb,\"Alpha, Beta\",false\n", "",
         "dealer_known stage eligible", "campaigns/T1/eligibility.csv"},
        {"rules/campaigns/T1/eligibility.csv", "U,model_line,>eligible\na,Alpha,true\nb,\"Alpha, Beta\",false\n",
         "campaign=T0", "campaign_known replaced_by eligible", NULL},
        {"rules/campaigns/T1/kits.csv", "U,engine,>kit,>quantity\na,A,K-A,1\nb,-,K-B,1\n", "",
         "eligible kit_expected dealer_known", "campaigns/T1/kits.csv"},
    };
    static const char *const MESSAGES[] = {"true||true\n", "true||\n", "true||true\n", "true||true\n"};
    (void)state;

    for (size_t i = 0; i < COUNT(CASES); i++) {
        char *kept = read_whole(probe_path(CASES[i].path), NULL);
        write_words(probe_path(CASES[i].path), CASES[i].csv);
        probe_facts("claim", CASES[i].facts);
        struct result result = probe_check(CASES[i].claim, "2026-03-10");
        char *messages = probe_messages();
        assert_string_equal(messages, MESSAGES[i]);
        struct csv_sheet decided = csv_sheet_read(result.out), findings = csv_sheet_of_file(probe_path("findings.csv"));
        assert_string_equal(csv_at(&decided, 1, "decision"), CASES[i].rule != NULL ? "hold" : "pay");
        if (CASES[i].rule != NULL) {
            assert_string_equal(csv_at(&findings, 1, "finding"), "rules-ambiguous");
            assert_string_equal(csv_at(&findings, 1, "rule"), CASES[i].rule);
            assert_string_equal(csv_at(&findings, 1, "message"),
                                "rows a and b both hit where one may; the office must correct its rules");
        }
        csv_sheet_free(&decided);
        csv_sheet_free(&findings);
        result_free(&result);
        probe_facts("claim", NULL);
        write_words(probe_path(CASES[i].path), kept);
        free(kept);
    }
}

/* --- Sums and items --------------------------------------------------------------------------------------- */

static void sums(void **state)
{
    static const struct probe_case CASES[] = {
        {"hours_claimed hours_allowed kit_expected",
         "labor=OP-1=1; op.1=0.25; OP-7=2\ninspections=CAP=wrong\noutcome=inspected\nvin=" VIN_GAMMA,
         "3.25|1.5|K-A\n0|2|K-A\n0|0.4|\n0|0|\n"},
    };
    (void)state;
    EXPECT("claim", CASES);
}

static void part_items(void **state)
{
    static const char FACTS[] = "claimed expected other_kit quantity quantity_allowed price price_listed";
    static const struct probe_case CASES[] = {
        /* kit, parts as the rules list them, then the claim's others; shown as the rules write them */
        {FACTS, "parts=X-9=2; fl 1=3@3.50; k-a@90; K-B",
         "K-A: true|kit|false|1|1|90|110\nFL-1: true|required|false|3|2|3.5|3.333333\n"
         "X-9: true||false|2|||\nK-B: true||true|1|||99.995\n"},
        /* equal items are one: quantities add up, the lowest price counts */
        {FACTS, "parts=FL-1=1@4; FL1=2@3; fl-1|completed_on=2026-03-01",
         "K-A: false|kit|false||1||100.1\nFL-1: true|required|false|4|2|3|3.333333\n"},
        /* engine B: rows of one part add up and required beats allowed; a reported cap allows a part without a
           price */
        {FACTS, "vin=" VIN_B "|inspections=cap=WRONG",
         "K-B: false|kit|false||1||99.995\nFL-1: false|required|false||3||3.333333\nCP-1: "
         "false|allowed|false||1||\n"},
        /* nothing is expected of a vehicle that is not eligible */
        {FACTS, "vin=" VIN_GAMMA "|parts=K-A; FL-1=0", "K-A: true||true|1|||110\n"},
        {FACTS, "campaign=T9|parts=K-A", "K-A: true||false|1|||\n"},
    };
    (void)state;
    EXPECT("part", CASES);
}

static void labor_items(void **state)
{
    static const char FACTS[] =
        "claimed expected hours hours_in_tenths operation_hours_allowed operation_known";
    static const struct probe_case CASES[] = {
        {FACTS, "labor=OP-3=1; op1=1.25; OP-9=0.3",
         "OP-1: true|required|1.25|false|1.5|true\nOP-3: true||1|true||false\nOP-9: true||0.3|true||true\n"},
        {FACTS, "vin=" VIN_B "|labor=OP-1=1.2;OP-1=0.05;OP-1=.05", "OP-1: true|required|1.3|true|1.2|true\n"},
        {FACTS, "outcome=inspected|inspections=CAP=wrong",
         "OP-2: false|allowed|||0.5|true\nOP-9: false|required|||0.4|true\n"},
        {FACTS, "labor=OP-1=0|vin=" VIN_GAMMA, ""},
    };
    (void)state;
    EXPECT("labor", CASES);
}

static void inspection_items(void **state)
{
    static const char FACTS[] = "claimed expected result reading unit as_expected";
    static const struct probe_case CASES[] = {
        {FACTS, "inspections=leak=Dry; TQ=25 N.m; SMELL=none",
         "LEAK: true|required|Dry|||true\nTQ: true|required|25 N.m|25|N.m|true\nCAP: false|allowed||||\n"
         "GAP: false|allowed||||\nSMELL: true||none|||\n"},
        {FACTS, "outcome=inspected|inspections=LEAK=wet; LEAK=DRY; GAP=1.5mm; CAP=none",
         "LEAK: true|required|DRY|||true\nCAP: true|allowed|none|||false\nGAP: "
         "true|allowed|1.5mm|1.5|mm|true\n"},
    };
    (void)state;
    EXPECT("inspection", CASES);
}

/* One reading of TQ each; the message of its item alone is looked at. */
static void readings(void **state)
{
    static const struct {
        const char *vin, *result, *as_expected;
    } CASES[] = {
        {VIN_A, "22Nm", "true"},
        {VIN_A, "28 N.m", "true"},
        {VIN_A, "28.000001 N.m", "false"},
        {VIN_A, "21.999999 N.m", "false"},
        /* NIST SP 811: 1 lbf.ft is 1.3558179483314004 N.m, so 22 N.m are 16.22636728... lbf.ft and 28 N.m are
         * 20.65174017...: the ends are met to the sixth place, without rounding */
        {VIN_A, "16.226368 lbf.ft", "true"},
        {VIN_A, "16.226367 lbf.ft", "false"},
        {VIN_A, "20.651740 lb-ft", "true"},
        {VIN_A, "20.651741 lb-ft", "false"},
        {VIN_A, "250 kgf.cm", "true"},
        {VIN_A, "200 in-lbs", "true"},
        {VIN_A, "25", "false"},         /* no unit */
        {VIN_A, "25 furlong", "false"}, /* an unknown one */
        {VIN_A, "25 kPa", "false"},     /* one of another quantity */
        {VIN_A, "firm", "false"},
        /* engine B: [22..28] and [25..40] must both hold */
        {VIN_B, "25 N.m", "true"},
        {VIN_B, "24.9 N.m", "false"},
        {VIN_B, "28 N.m", "true"},
        {VIN_B, "30 N.m", "false"},
    };
    (void)state;

    probe_facts("inspection", "as_expected");
    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct result result =
            probe_check(words("vin=%s|inspections=TQ=%s", CASES[i].vin, CASES[i].result), "2026-03-10");
        char *messages = probe_messages();
        if (strstr(messages, words("TQ: %s\n", CASES[i].as_expected)) == NULL)
            fail_msg("%s on %s: %s", CASES[i].result, CASES[i].vin, messages);
        result_free(&result);
    }
    probe_facts("inspection", NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_stated),   cmocka_unit_test(vins),
        cmocka_unit_test(vehicles),    cmocka_unit_test(campaigns),
        cmocka_unit_test(dealers),     cmocka_unit_test(days),
        cmocka_unit_test(approvals),   cmocka_unit_test(earlier_claims),
        cmocka_unit_test(revisions),   cmocka_unit_test(repair_orders_and_technicians),
        cmocka_unit_test(kits_of_many_days),
        cmocka_unit_test(recorded_without_a_day),
        cmocka_unit_test(odometers),   cmocka_unit_test(kits),
        cmocka_unit_test(tables_in_error),
        cmocka_unit_test(sums),        cmocka_unit_test(part_items),
        cmocka_unit_test(labor_items), cmocka_unit_test(inspection_items),
        cmocka_unit_test(readings),
    };
    return cmocka_run_group_tests(tests, probe_open, probe_close);
}
