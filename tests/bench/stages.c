/* stages.c - what a claim costs, stage by stage: stages CLAIMS OFFICE RULES TODAY
 *
 * Takes a file of claims through the stages that need no other claim, a block at a time and one stage after the other
 * over the whole block, on one thread; prints a Markdown row for each stage, the shortest of three passes.
 * The first pass also reads the office, so it is never the shortest. What other claims mean for a claim
 * (history) and recording are not here: they are not a claim's own.
 */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "base/limits.h"
#include "base/status.h"
#include "cli/desk.h"
#include "cli/write_claims.h"
#include "verdict/checks.h"
#include "verdict/decision.h"

enum bench_stage { STAGE_READ, STAGE_LOOK_UP, STAGE_FACTS, STAGE_TABLES, STAGE_MONEY, STAGE_WRITE, STAGES };
static const char *const STAGE_NAMES[STAGES] = {"read", "look up", "facts", "tables", "money", "write"};

enum { MOST_CLAIMS_OF_BLOCK = 65536, PASSES = 3 };

struct pass {
    struct desk *desk;
    struct fact_worker facts;
    struct item_memo memo;
    struct arena arena;
    struct claim_header header;
    bool header_known;
    struct dossier **dossiers;
    uint32_t count;
    uint64_t claims;
    struct buffer written;
    double seconds[STAGES];
    struct timespec since;
};

static void must(int status, const char *what)
{
    if (status != WM_OK) {
        fprintf(stderr, "stages: %s failed (%d)\n", what, status);
        exit(2);
    }
}

static void begin(struct pass *pass)
{
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &pass->since);
}

static void end(struct pass *pass, enum bench_stage stage)
{
    struct timespec now;

    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    pass->seconds[stage] +=
        (double)(now.tv_sec - pass->since.tv_sec) + (double)(now.tv_nsec - pass->since.tv_nsec) * 1e-9;
    begin(pass);
}

static void read_block(struct pass *pass, const struct csv_block *block)
{
    struct csv_rows rows;
    struct csv_row row;

    must(csv_rows_open(&rows, block->bytes, block->line, LIMIT_COLUMNS, &pass->arena), "opening rows");
    if (!pass->header_known) {
        if (!csv_rows_next(&rows, &row))
            must(WM_NOT_FOUND, "the header");
        must(claim_header_read(&row, TEXT("claims"), &pass->desk->sink, &pass->header), "the header");
        pass->header_known = true;
    }
    for (pass->count = 0; csv_rows_next(&rows, &row) && pass->count < MOST_CLAIMS_OF_BLOCK;) {
        struct dossier *dossier = ARENA_NEW(&pass->arena, struct dossier);
        must(dossier == NULL ? WM_NO_MEMORY : WM_OK, "memory");
        dossier->campaign_number = -1;
        must(claim_read(&pass->header, &row, &pass->arena, &dossier->claim), "reading a claim");
        if (!dossier->claim.unreadable)
            pass->dossiers[pass->count++] = dossier;
    }
    csv_rows_close(&rows);
}

static void do_block(struct pass *pass, const struct csv_block *block)
{
    const struct office_day *day = &pass->desk->day;

    read_block(pass, block);
    end(pass, STAGE_READ);
    for (uint32_t i = 0; i < pass->count; i++)
        facts_approach(day, pass->dossiers[i]);
    for (uint32_t i = 0; i < pass->count; i++)
        facts_prefetch(day, pass->dossiers[i]);
    for (uint32_t i = 0; i < pass->count; i++)
        must(facts_look_up(day, pass->dossiers[i]), "looking up");
    end(pass, STAGE_LOOK_UP);
    for (uint32_t i = 0; i < pass->count; i++)
        must(facts_establish(&pass->facts, &pass->arena, pass->dossiers[i]), "facts");
    end(pass, STAGE_FACTS);
    for (uint32_t i = 0; i < pass->count; i++)
        must(checks_early(&pass->facts, &pass->memo, &pass->arena, pass->dossiers[i], false), "tables");
    end(pass, STAGE_TABLES);
    for (uint32_t i = 0; i < pass->count; i++)
        must(decide(&pass->arena, pass->dossiers[i], false), "money");
    end(pass, STAGE_MONEY);
    buffer_clear(&pass->written);
    for (uint32_t i = 0; i < pass->count; i++)
        write_claim(&pass->written, (struct text){NULL, 0}, pass->dossiers[i]);
    end(pass, STAGE_WRITE);
    pass->claims += pass->count;
}

static void do_file(struct pass *pass, const struct csv_source *source)
{
    struct csv_blocks *blocks;
    struct csv_block block;
    struct buffer bytes = BUFFER_EMPTY;
    int status;

    must(csv_blocks_open(&blocks, source, LIMIT_BLOCK_BYTES), "opening blocks");
    begin(pass);
    while ((status = csv_blocks_next(blocks, &bytes, &block, &pass->desk->sink)) == WM_OK) {
        arena_reset(&pass->arena);
        do_block(pass, &block);
    }
    must(status == WM_NOT_FOUND ? WM_OK : status, "reading blocks");
    csv_blocks_close(blocks);
    buffer_free(&bytes);
}

int main(int count, char **words)
{
    struct options options = {0};
    struct desk desk = {0};
    struct csv_source source;
    double shortest[STAGES] = {0};
    uint64_t claims = 1;

    if (count != 5 || !date_read(text_of(words[4]), &options.today)) {
        fputs("usage: stages CLAIMS OFFICE RULES TODAY\n", stderr);
        return 2;
    }
    options.office = words[2];
    options.rules = words[3];
    options.received_on = options.today;
    must(desk_open_rules(&desk, &options), "rules");
    must(desk_open_office(&desk, &options), "office");
    must(csv_source_open(&source, words[1], &desk.sink), "claims");
    for (int turn = 0; turn < PASSES; turn++) {
        struct pass pass = {.desk = &desk, .dossiers = calloc(MOST_CLAIMS_OF_BLOCK, sizeof(struct dossier *))};
        must(pass.dossiers == NULL ? WM_NO_MEMORY : fact_worker_open(&pass.facts, &desk.day), "memory");
        do_file(&pass, &source);
        claims = pass.claims > 0 ? pass.claims : 1;
        for (int stage = 0; stage < STAGES; stage++)
            if (turn == 0 || pass.seconds[stage] < shortest[stage])
                shortest[stage] = pass.seconds[stage];
        fact_worker_close(&pass.facts);
        item_memo_free(&pass.memo);
        arena_free(&pass.arena);
        buffer_free(&pass.written);
        free(pass.dossiers);
    }
    puts("| stage | ns a claim |\n| --- | --- |");
    for (int stage = 0; stage < STAGES; stage++)
        printf("| %s | %.0f |\n", STAGE_NAMES[stage], shortest[stage] * 1e9 / (double)claims);
    csv_source_close(&source);
    desk_close(&desk);
    return 0;
}
