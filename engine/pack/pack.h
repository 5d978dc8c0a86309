/* pack.h - a pack, opened at the dealer's: the rules in it, a register, and a history, as the engine reads
 * them.
 *
 * The same engine that decides at the office decides here; only the sources differ. Vehicles are asked for one
 * at a time, each through the lock of its VIN (pack/vin_lock.h); what was found is kept, so that one claim
 * costs one slow hash. The history answers with the dealer's own claims, and with what others completed on a
 * vehicle as claims of nobody: without number, day, or reading. What that leaves unknown, unknown_facts.h says.
 *
 * A pack may be asked by several threads, through the register and the history; it has a lock. It owns all that
 * it hands out.
 */
#ifndef WM_PACK_PACK_H
#define WM_PACK_PACK_H

#include "facts/history.h"
#include "pack/sealed.h"
#include "register/register_source.h"
#include "rules/rules_files.h"

struct pack;

struct pack_trust {
    const struct public_key *key; /* the one key to trust; NULL: the one that this machine remembers */
    int32_t today;                /* a pack is refused behind its last day */
};

/* Opens and checks a pack. Without a key and with none remembered, any key will do, and pack_remember_key is
 * what the caller owes when the pack has proved usable. Each refusal with a diagnostic that says what to do. */
int pack_open(const char *path, const struct pack_trust *trust, struct diag_sink *sink, struct pack **ret_pack);

/* Remembers the key of a pack that was opened with none to trust: *ret_path says where, as long as the pack
 * lives. NULL: there was nothing to remember. WM_IO with a diagnostic. */
int pack_remember_key(struct pack *pack, struct diag_sink *sink, const char **ret_path);

void pack_close(struct pack *pack); /* accepts NULL */

const struct pack_head *pack_head(const struct pack *pack);

/* Checks every block of the file. WM_IO with a diagnostic. */
int pack_check_all(struct pack *pack, struct diag_sink *sink);

/* The rules folder's files; they live as long as the pack. The folder's name is the pack's. */
const struct rules_files *pack_rules(const struct pack *pack);

/* For register_open and history_new; they live as long as the pack. */
struct register_source *pack_register(struct pack *pack);
const struct history_source *pack_history(const struct pack *pack);

/* What went wrong with the pack last, in words; empty if nothing did. */
struct text pack_error(struct pack *pack);

/* Whether this is the dealer for whom the pack was made. */
bool pack_is_for(const struct pack *pack, struct text dealer);

/* A campaign that stands as done on a vehicle. */
struct completion {
    struct text campaign;
    enum outcome outcome;
    bool own;             /* by the dealer of the pack */
    int32_t completed_on; /* the dealer's own; DAY_NONE: not told */
};

/* All of a vehicle, in the arena. */
int pack_completions(struct pack *pack, struct text vin, struct arena *arena, struct completion **ret_list,
                     uint32_t *ret_count);

#endif
