/* write.h - makes a pack from an office file and a rules folder.
 *
 * Read inside office_begin_read. What goes into a pack and what does not is said in pack/collect.h (of all
 * vehicles) and pack/own.h (of the one dealer); beyond these and the rules folder's files there is nothing in
 * it.
 */
#ifndef WM_PACK_WRITE_H
#define WM_PACK_WRITE_H

#include "ledger/office.h"
#include "pack/sealed.h"
#include "rules/rules.h"

struct pack_request {
    struct office *office;
    const struct rules *rules; /* compiled from files: only rules that can be used are packed */
    const struct rules_files *files;
    struct text dealer;           /* empty: a pack for all dealers */
    const struct text *campaigns; /* campaign_count of them, the only ones that are packed; 0: all */
    uint32_t campaign_count;
    int32_t made_on, valid_to;
    uint32_t work_kib;
    unsigned threads;
    const struct secret_key *key;
    const char *base; /* an earlier pack of the same state, whose vehicles are taken over; NULL: none */
    void (*progress)(uint64_t done, uint64_t all); /* all is above 0; may be NULL */
};

struct pack_summary {
    uint64_t vehicles, own_claims;
    uint32_t files;
};

/* Writes the whole pack to output. Reports what is wrong to the sink. */
int pack_write(const struct pack_request *request, struct output *output, struct diag_sink *sink,
               struct pack_summary *ret_summary);

#endif
