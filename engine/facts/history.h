/* history.h - what other claims mean for the claim in hand: earlier completions, revisions, the technician's
 * day, kits claimed, money paid before (contract section 5, *ledger*).
 *
 * One history serves one run and one thread at a time: claims are settled in file order, and each that is
 * decided is recorded here before the next is looked at. What the office recorded before comes from a source,
 * asked once a block for all of its claims. It keeps only what the rules ask for, and only of claims, vehicles,
 * orders, days and kits that it was asked about. It copies what it keeps.
 *
 * A claim's standing revision is its highest one that was decided pay or hold; only standing claims count
 * against others.
 */
#ifndef WM_FACTS_HISTORY_H
#define WM_FACTS_HISTORY_H

#include "facts/dossier.h"
#include "facts/establish.h"

struct history;

/* A claim's standing revision. */
struct standing_claim {
    uint64_t recorded; /* place in the order of recording */
    struct text campaign, vin, outcome, repair_order, technician;
    int32_t completed_on; /* DAY_NONE: none */
    bool has_odometer, odometer_is_km;
    int64_t odometer;
    int64_t hours_claimed;         /* millionths */
    const struct part_item *parts; /* what it claims */
    uint32_t part_count;
};

/* A recorded row of a claim. */
struct recorded_revision {
    int64_t revision;
    uint64_t row;        /* place in the order of recording, from 1 */
    struct text content; /* canonical text */
};

/* What is on record of one claim, over all its revisions. A claim of nobody, with an empty dealer, stands on its
 * vehicle without a name: that is how a source says that something is done without saying whose it is. */
struct recorded_claim {
    struct text dealer, claim;
    int64_t revision_last;
    uint64_t row_last;               /* the row of revision_last that counts */
    enum decision previous_decision; /* of revision_last: the engine's, or a person's since */
    int32_t first_received_on;
    int64_t paid_cents;   /* payable of the highest revision decided pay, less what was reversed */
    struct text last_row; /* canonical text of the row of revision_last, by claim_canonical */
    const struct recorded_revision *revisions; /* all rows; asked for only where history_wants_contents */
    uint32_t revision_count;
    bool stands;
    struct standing_claim standing;
};

/* What a history asks its source; each question once in the life of a history. */
enum history_question {
    ASK_CLAIM,          /* the claim of this dealer and number */
    ASK_VEHICLE,        /* every claim that stands on this VIN */
    ASK_REPAIR_ORDER,   /* the VINs that stand on this dealer's repair order */
    ASK_TECHNICIAN_DAY, /* the hours that stand for this technician of the dealer on completed_on */
    ASK_KIT             /* the quantities of this part that stand for the dealer, by day */
};

struct history_ask {
    enum history_question question;
    struct text dealer, claim, vin, repair_order, technician, kit_key;
    int32_t completed_on;
};

struct history_source {
    void *context;
    uint64_t last_row; /* what it knows was recorded up to this row */
    /* Answers with the history_restore_* functions. */
    int (*answer)(void *context, struct history *history, const struct history_ask *asks, uint32_t count);
};

/* The file that claims are decided from, for reading a row again. */
struct history_file {
    void *context;
    /* The canonical text of the row that stands there, in the arena. Reports what fails. */
    int (*read)(void *context, uint64_t place, uint32_t length, struct arena *arena, struct text *ret_canonical);
};

/* source may be NULL: nothing was recorded before. It is borrowed. */
int history_new(const struct rules *rules, const struct history_source *source, struct history **ret_history);
void history_free(struct history *history);

/* Says that about so many claims more are coming, most of them of vehicles, orders and technicians' days of their own:
 * what grows with them need not grow step by step then. A wish. */
void history_expect(struct history *history, uint64_t claims);

/* For a run that is recorded: rows get their place in the order of recording, behind this last one, and a row
 * that says what a recorded row of its revision says is recognised (dossier->repeats). Before anything is
 * prepared; the dossiers must then have their content. */
void history_keep_contents(struct history *history, uint64_t last_row);

/* From now on rows whose dossiers say where they stand are read again when they are needed (a revision that is
 * sent once more), instead of kept. The file must stay as long as claims are established. NULL: rows are kept. */
void history_set_file(struct history *history, const struct history_file *file);

/* Whether answers should have revisions with their contents, and last_row. */
bool history_wants_contents(const struct history *history);

/* Whether anybody asks what a standing claim counts in the totals: its repair order, technician, hours, parts.
 */
bool history_wants_totals(const struct history *history);

/* Answers of the source, about what stood when the run began. A claim may be restored more than once. */
int history_restore_claim(struct history *history, const struct recorded_claim *claim);
int history_restore_repair_order(struct history *history, struct text dealer, struct text repair_order,
                                 struct text vin, uint32_t claims);
int history_restore_technician_day(struct history *history, struct text dealer, struct text technician,
                                   int32_t day, int64_t hours);
int history_restore_kit(struct history *history, struct text dealer, struct text kit_key, int32_t day,
                        int64_t quantity);

/* Notes in a readable claim's dossier what history will look for, once it is known what is expected. For
 * history_prepare; may run in parallel, before it. */
int history_note(const struct history *history, struct arena *arena, struct dossier *dossier);

/* Asks the source about what these claims touch and was not asked before. Unreadable ones are passed over. */
int history_prepare(struct history *history, struct dossier *const *dossiers, uint32_t count);

/* Puts the late facts of one claim into its values, and paid_before_cents. All claims before it in the file
 * must have been recorded. Texts are in the history. */
int history_establish(struct history *history, const struct office_day *day, struct dossier *dossier);

/* Records the claim as decided, so that those after it see it, and notes its place in the dossier. */
int history_record(struct history *history, const struct office_day *day, struct dossier *dossier);

#endif
