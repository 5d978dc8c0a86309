#include "audit/frame.h"

#include <stdlib.h>

#include "base/chunks.h"
#include "base/status.h"

struct gathered {
    struct sample_claim claim;
    struct text campaign;
};

struct gathering {
    struct look_back *look_back;
    struct arena *arena;
    struct sample *sample;
    struct chunks claims;
    struct chunks regions; /* of struct sample_region */
};

static struct sample_region *region_of(struct gathering *gathering, const struct audit_terms *terms)
{
    for (uint32_t i = 0; i < gathering->regions.count; i++) {
        struct sample_region *region = chunks_at(&gathering->regions, i);
        if (text_equal(region->region, terms->region))
            return region;
    }
    struct sample_region *added = chunks_add(&gathering->regions);
    if (added != NULL) {
        added->region = text_copy(gathering->arena, terms->region);
        added->audit_within_days = terms->audit_within_days;
    }
    return added == NULL || added->region.bytes == NULL ? NULL : added;
}

static int keep(struct gathering *gathering, const struct paid_claim *claim)
{
    struct gathered *kept = chunks_add(&gathering->claims);

    if (kept == NULL)
        return WM_NO_MEMORY;
    kept->claim = (struct sample_claim){.row = claim->row,
                                        .stratum = 1,
                                        .paid_cents = claim->paid_cents,
                                        .dealer = text_copy(gathering->arena, claim->dealer),
                                        .claim = text_copy(gathering->arena, claim->claim)};
    kept->campaign = text_copy(gathering->arena, claim->campaign);
    gathering->sample->frame_cents += claim->paid_cents;
    return kept->claim.dealer.bytes == NULL || kept->claim.claim.bytes == NULL || kept->campaign.bytes == NULL
               ? WM_NO_MEMORY
               : WM_OK;
}

static int take(void *context, const struct paid_claim *claim)
{
    struct gathering *gathering = context;
    struct sample *sample = gathering->sample;
    struct audit_terms terms;

    if (claim->paid_cents <= 0) {
        sample->unpaid_count++;
        return WM_OK;
    }
    if (claim->covered_by != 0) {
        sample->covered_count++;
        sample->covered_cents += claim->paid_cents;
        return WM_OK;
    }
    int status = look_back_terms(gathering->look_back, claim->dealer, claim->completed_on, &terms);
    struct sample_region *region = status == WM_OK ? region_of(gathering, &terms) : NULL;
    if (region == NULL)
        return status == WM_OK ? WM_NO_MEMORY : status;
    if (look_back_is_over(&terms, claim->paid_on, sample->drawn_on)) {
        region->older_count++;
        region->older_cents += claim->paid_cents;
        sample->older_count++;
        sample->older_cents += claim->paid_cents;
        return WM_OK;
    }
    region->frame_count++;
    return keep(gathering, claim);
}

static int by_code(const void *a, const void *b)
{
    return text_compare(((const struct sample_region *)a)->region, ((const struct sample_region *)b)->region);
}

static int settle(struct gathering *gathering, struct text **ret_campaigns)
{
    struct sample *sample = gathering->sample;
    uint32_t count = gathering->claims.count;
    struct text *campaigns = ARENA_ARRAY(gathering->arena, struct text, count);

    sample->frame_count = count;
    sample->frame = ARENA_ARRAY(gathering->arena, struct sample_claim, count);
    sample->region_count = gathering->regions.count;
    sample->regions = ARENA_ARRAY(gathering->arena, struct sample_region, gathering->regions.count);
    if (sample->frame == NULL || sample->regions == NULL || campaigns == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < count; i++) {
        const struct gathered *kept = chunks_at(&gathering->claims, i);
        sample->frame[i] = kept->claim;
        campaigns[i] = kept->campaign;
    }
    for (uint32_t i = 0; i < sample->region_count; i++)
        sample->regions[i] = *(const struct sample_region *)chunks_at(&gathering->regions, i);
    if (sample->region_count > 1)
        qsort(sample->regions, sample->region_count, sizeof *sample->regions, by_code);
    sample_frame_digest(sample, sample->frame_digest);
    if (ret_campaigns != NULL)
        *ret_campaigns = campaigns;
    return WM_OK;
}

int frame_gather(struct office *office, struct look_back *look_back, struct arena *arena, struct sample *sample,
                 struct text **ret_campaigns)
{
    struct gathering gathering = {look_back, arena, sample, CHUNKS_OF(struct gathered),
                                  CHUNKS_OF(struct sample_region)};
    int status = ledger_paid(office, &sample->filter, take, &gathering);

    if (status == WM_OK)
        status = settle(&gathering, ret_campaigns);
    chunks_free(&gathering.claims);
    chunks_free(&gathering.regions);
    return status;
}

/* --- Two frames -------------------------------------------------------------------------------------- */

static int order_of(const struct sample_claim *a, const struct sample_claim *b)
{
    int order = text_compare(a->dealer, b->dealer);

    return order != 0 ? order : text_compare(a->claim, b->claim);
}

static bool differ(const struct sample_claim *before, const struct sample_claim *now,
                   struct frame_difference *ret_difference)
{
    const struct sample_claim *either = before != NULL ? before : now;

    *ret_difference =
        (struct frame_difference){FRAME_NEW, either->dealer, either->claim,
                                  before != NULL ? before->paid_cents : 0, now != NULL ? now->paid_cents : 0};
    if (before == NULL)
        return true;
    if (now == NULL)
        ret_difference->change = FRAME_GONE;
    else if (before->row != now->row)
        ret_difference->change = FRAME_REVISED;
    else if (before->paid_cents != now->paid_cents)
        ret_difference->change = FRAME_AMOUNT;
    else
        return false;
    return true;
}

int frame_compare(const struct sample *before, const struct sample *now, struct arena *arena,
                  struct frame_difference **ret_differences, uint32_t *ret_count)
{
    size_t most = (size_t)before->frame_count + now->frame_count;
    struct frame_difference *list = ARENA_ARRAY(arena, struct frame_difference, most);
    uint32_t count = 0;

    if (list == NULL)
        return WM_NO_MEMORY;
    for (uint32_t b = 0, n = 0; b < before->frame_count || n < now->frame_count;) {
        const struct sample_claim *was = b < before->frame_count ? &before->frame[b] : NULL;
        const struct sample_claim *is = n < now->frame_count ? &now->frame[n] : NULL;
        int order = was == NULL ? 1 : is == NULL ? -1 : order_of(was, is);
        count += differ(order <= 0 ? was : NULL, order >= 0 ? is : NULL, &list[count]);
        b += order <= 0;
        n += order >= 0;
    }
    *ret_differences = list;
    *ret_count = count;
    return WM_OK;
}
