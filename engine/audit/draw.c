#include "audit/draw.h"

#include <stdlib.h>

#include "audit/selection.h"
#include "base/status.h"
#include "base/text_index.h"

static struct place nowhere(void)
{
    return (struct place){{NULL, 0}, 0, 0};
}

bool sample_name_is_one(struct text name)
{
    bool is = name.length >= 1 && name.length <= SAMPLE_NAME_BYTES;

    for (size_t i = 0; is && i < name.length; i++) {
        char c = name.bytes[i];
        is = (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '.' ||
             c == '_' || c == '-';
    }
    return is;
}

/* --- Selection --------------------------------------------------------------------------------------- */

/* The places of a stratum's claims in the frame; room has space for all. */
static uint32_t places_of(const struct sample *sample, uint32_t stratum, uint32_t *room)
{
    uint32_t count = 0;

    for (uint32_t i = 0; i < sample->frame_count; i++)
        if (sample->frame[i].stratum == stratum)
            room[count++] = i;
    return count;
}

static int select_by_strata(const struct sample *sample, struct generator *generator, struct arena *arena,
                            uint32_t *items, uint32_t *ret_count)
{
    uint32_t *places = ARENA_ARRAY(arena, uint32_t, sample->frame_count), drawn = 0;

    if (places == NULL)
        return WM_NO_MEMORY;
    for (uint32_t stratum = 1; stratum <= sample->stratum_count; stratum++) {
        uint32_t count = places_of(sample, stratum, places);
        int64_t size = sample->strata[stratum - 1].item_count;
        uint32_t take = size < 0 ? 0 : size > count ? count : (uint32_t)size;
        select_at_random(generator, places, count, take);
        memcpy(items + drawn, places, take * sizeof *items);
        drawn += take;
    }
    *ret_count = drawn;
    return WM_OK;
}

static int select_by_amount(const struct sample *sample, struct generator *generator, struct arena *arena,
                            uint32_t *items, uint32_t *ret_count)
{
    int64_t *amounts = ARENA_ARRAY(arena, int64_t, sample->frame_count);
    uint32_t certain;

    if (amounts == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < sample->frame_count; i++)
        amounts[i] = sample->frame[i].paid_cents;
    *ret_count =
        select_by_money(generator, amounts, sample->frame_count, sample->interval_cents, items, &certain);
    return WM_OK;
}

int sample_select(const struct sample *sample, struct arena *arena, uint32_t **ret_items, uint32_t *ret_count)
{
    struct generator generator;
    uint32_t *items = ARENA_ARRAY(arena, uint32_t, sample->frame_count);

    if (items == NULL)
        return WM_NO_MEMORY;
    generator_start(&generator, sample->seed);
    int status = text_is(sample->method, METHOD_MONEY)
                     ? select_by_amount(sample, &generator, arena, items, ret_count)
                     : select_by_strata(sample, &generator, arena, items, ret_count);
    if (status == WM_OK)
        *ret_items = items;
    return status;
}

/* --- Strata ------------------------------------------------------------------------------------------ */

struct drawing {
    const struct draw_request *request;
    struct arena *arena;
    struct diag_sink *sink;
    struct sample *sample;
    struct text *campaigns;
    struct stratum_sum sums[ALLOCATION_STRATA];
};

static int add_stratum(struct drawing *drawing, struct text name)
{
    struct sample *sample = drawing->sample;

    if (name.bytes == NULL)
        return WM_NO_MEMORY;
    if (sample->stratum_count == ALLOCATION_STRATA) {
        diag_error(drawing->sink, nowhere(),
                   "the frame falls into more than %d strata; narrow it, or draw without --by",
                   ALLOCATION_STRATA);
        return WM_BAD_INPUT;
    }
    sample->strata[sample->stratum_count++] = (struct sample_stratum){.name = name};
    return WM_OK;
}

/* Dealers come one after the other, for the frame is in their order. */
static int strata_by_dealer(struct drawing *drawing)
{
    struct sample *sample = drawing->sample;
    int status = WM_OK;

    for (uint32_t i = 0; i < sample->frame_count && status == WM_OK; i++) {
        if (i == 0 || !text_equal(sample->frame[i].dealer, sample->frame[i - 1].dealer))
            status = add_stratum(drawing, sample->frame[i].dealer);
        sample->frame[i].stratum = sample->stratum_count;
    }
    return status;
}

static int by_name(const void *a, const void *b)
{
    return text_compare(((const struct sample_stratum *)a)->name, ((const struct sample_stratum *)b)->name);
}

static int strata_by_campaign(struct drawing *drawing)
{
    struct sample *sample = drawing->sample;
    struct text_index index = TEXT_INDEX_EMPTY;
    int status = WM_OK;

    for (uint32_t i = 0; i < sample->frame_count && status == WM_OK; i++)
        if (text_index_find(&index, drawing->campaigns[i]) == TEXT_INDEX_NONE) {
            status = add_stratum(drawing, drawing->campaigns[i]);
            if (status == WM_OK && text_index_add(&index, drawing->campaigns[i], 0) == TEXT_INDEX_NONE)
                status = WM_NO_MEMORY;
        }
    if (sample->stratum_count > 1)
        qsort(sample->strata, sample->stratum_count, sizeof *sample->strata, by_name);
    text_index_clear(&index);
    for (uint32_t i = 0; i < sample->stratum_count && status == WM_OK; i++)
        (void)text_index_add(&index, sample->strata[i].name, i); /* it has had room for them before */
    for (uint32_t i = 0; i < sample->frame_count && status == WM_OK; i++)
        sample->frame[i].stratum = text_index_find(&index, drawing->campaigns[i]) + 1;
    text_index_free(&index);
    return status;
}

static struct text amount_text(struct arena *arena, const char *before, int64_t cents)
{
    char room[DECIMAL_ROOM];

    money_write(cents, room);
    return text_format(arena, "%s %s", before, room);
}

/* Strata that no claim falls into are left out. */
static int strata_by_bounds(struct drawing *drawing)
{
    const struct draw_request *request = drawing->request;
    struct sample *sample = drawing->sample;
    int status = WM_OK;

    for (uint32_t b = 0; b <= request->bound_count && status == WM_OK; b++) {
        int64_t above = b == 0 ? 0 : request->bounds[b - 1];
        bool last = b == request->bound_count, named = false;
        for (uint32_t i = 0; i < sample->frame_count && status == WM_OK; i++) {
            int64_t cents = sample->frame[i].paid_cents;
            if (cents <= above || (!last && cents > request->bounds[b]))
                continue;
            if (!named)
                status = add_stratum(drawing, last ? amount_text(drawing->arena, "over", above)
                                                   : amount_text(drawing->arena, "up to", request->bounds[b]));
            named = true;
            sample->frame[i].stratum = sample->stratum_count;
        }
    }
    return status;
}

static int strata_by_interval(struct drawing *drawing)
{
    struct sample *sample = drawing->sample;
    int status = add_stratum(drawing, TEXT("looked at for certain"));

    if (status == WM_OK)
        status = add_stratum(drawing, TEXT("by interval"));
    for (uint32_t i = 0; i < sample->frame_count; i++)
        sample->frame[i].stratum =
            sample->frame[i].paid_cents >= sample->interval_cents ? STRATUM_CERTAIN : STRATUM_INTERVAL;
    return status;
}

static int make_strata(struct drawing *drawing)
{
    struct sample *sample = drawing->sample;

    sample->strata = ARENA_ARRAY(drawing->arena, struct sample_stratum, ALLOCATION_STRATA);
    if (sample->strata == NULL)
        return WM_NO_MEMORY;
    int status = text_is(sample->method, METHOD_MONEY)    ? strata_by_interval(drawing)
                 : text_is(sample->strata_by, "dealer")   ? strata_by_dealer(drawing)
                 : text_is(sample->strata_by, "campaign") ? strata_by_campaign(drawing)
                 : text_is(sample->strata_by, "stratum")  ? strata_by_bounds(drawing)
                                                          : add_stratum(drawing, TEXT("all"));
    for (uint32_t i = 0; i < sample->frame_count && status == WM_OK; i++) {
        struct sample_stratum *stratum = &sample->strata[sample->frame[i].stratum - 1];
        stratum->frame_count++;
        stratum->frame_cents += sample->frame[i].paid_cents;
        stratum_sum_add(&drawing->sums[sample->frame[i].stratum - 1], sample->frame[i].paid_cents);
    }
    return status;
}

static int share_out(struct drawing *drawing)
{
    struct sample *sample = drawing->sample;
    uint32_t sizes[ALLOCATION_STRATA], least = allocation_least(drawing->sums, sample->stratum_count);

    if (text_is(sample->method, METHOD_STRATIFIED) && sample->size_asked < least) {
        diag_error(drawing->sink, nowhere(),
                   "%lld claims are too few for %u strata: each takes two, or its spread cannot be told; use "
                   "--size %u "
                   "or more, or fewer strata",
                   (long long)sample->size_asked, sample->stratum_count, least);
        return WM_BAD_INPUT;
    }
    if (text_is(sample->method, METHOD_STRATIFIED))
        allocate(drawing->sums, sample->stratum_count, (uint32_t)sample->size_asked, drawing->request->neyman,
                 sizes);
    else
        sizes[0] = (uint32_t)sample->size_asked;
    for (uint32_t i = 0; i < sample->stratum_count; i++)
        sample->strata[i].item_count = sizes[i];
    return WM_OK;
}

/* --- Drawing ----------------------------------------------------------------------------------------- */

static int check_frame(const struct drawing *drawing)
{
    const struct sample *sample = drawing->sample;

    if (sample->frame_count == 0) {
        diag_error(
            drawing->sink, nowhere(),
            "no claim can be drawn: none is paid that fits the filter and may be audited (left out: %lld older "
            "than the region's look-back, %lld with nothing paid any more, %lld covered by an extrapolated "
            "chargeback); widen the filter",
            (long long)sample->older_count, (long long)sample->unpaid_count, (long long)sample->covered_count);
        return WM_BAD_INPUT;
    }
    if (drawing->request->picks == NULL && sample->size_asked > sample->frame_count) {
        diag_error(drawing->sink, nowhere(), "the frame has %u claims; use --size %u or less",
                   sample->frame_count, sample->frame_count);
        return WM_BAD_INPUT;
    }
    return WM_OK;
}

static int find_pick(struct drawing *drawing, const struct picked_claim *pick, uint32_t *ret_place)
{
    const struct sample *sample = drawing->sample;
    uint32_t low = 0, high = sample->frame_count;

    while (low < high) {
        uint32_t middle = low + (high - low) / 2;
        int order = text_compare(sample->frame[middle].dealer, pick->dealer);
        if (order == 0)
            order = text_compare(sample->frame[middle].claim, pick->claim);
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    if (low < sample->frame_count && text_equal(sample->frame[low].dealer, pick->dealer) &&
        text_equal(sample->frame[low].claim, pick->claim)) {
        *ret_place = low;
        return WM_OK;
    }
    diag_error(drawing->sink, pick->place,
               "claim %.*s/%.*s is not among the paid claims that fit the filter and may be audited; take the "
               "row out, or "
               "widen the filter",
               TEXT_ARGUMENTS(pick->dealer), TEXT_ARGUMENTS(pick->claim));
    return WM_BAD_INPUT;
}

static int by_place(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;

    return x < y ? -1 : x > y;
}

/* What is in the list twice is picked once. */
static int pick(struct drawing *drawing)
{
    const struct draw_request *request = drawing->request;
    struct sample *sample = drawing->sample;
    int worst = WM_OK;

    sample->items = ARENA_ARRAY(drawing->arena, uint32_t, request->pick_count);
    if (sample->items == NULL)
        return WM_NO_MEMORY;
    for (uint32_t i = 0; i < request->pick_count; i++) {
        int status = find_pick(drawing, &request->picks[i], &sample->items[i]);
        worst = status != WM_OK ? status : worst;
    }
    if (worst != WM_OK)
        return worst;
    qsort(sample->items, request->pick_count, sizeof *sample->items, by_place);
    for (uint32_t i = 0; i < request->pick_count; i++)
        if (i == 0 || sample->items[i] != sample->items[i - 1])
            sample->items[sample->item_count++] = sample->items[i];
    sample->size_asked = sample->item_count;
    return WM_OK;
}

/* An interval is what was paid on the frame over the size, at least a cent. */
static void set_interval(struct drawing *drawing)
{
    struct sample *sample = drawing->sample;
    int64_t interval = drawing->request->interval_cents;

    if (interval == 0)
        interval = sample->frame_cents / sample->size_asked;
    sample->interval_cents = interval > 0 ? interval : 1;
}

static void count_items(struct sample *sample)
{
    for (uint32_t i = 0; i < sample->stratum_count; i++)
        sample->strata[i].item_count = 0;
    for (uint32_t i = 0; i < sample->item_count; i++)
        sample->strata[sample->frame[sample->items[i]].stratum - 1].item_count++;
}

static int select_items(struct drawing *drawing)
{
    struct sample *sample = drawing->sample;
    bool by_money = text_is(sample->method, METHOD_MONEY), picked = text_is(sample->method, METHOD_PICKED);

    if (by_money)
        set_interval(drawing);
    int status = make_strata(drawing);
    if (status == WM_OK && !by_money && !picked)
        status = share_out(drawing);
    if (status == WM_OK)
        status =
            picked ? pick(drawing) : sample_select(sample, drawing->arena, &sample->items, &sample->item_count);
    if (status == WM_OK)
        count_items(sample);
    return status;
}

static struct text bounds_words(struct drawing *drawing)
{
    const struct draw_request *request = drawing->request;
    struct text words = TEXT("");
    char room[DECIMAL_ROOM];

    for (uint32_t i = 0; i < request->bound_count && words.bytes != NULL; i++) {
        money_write(request->bounds[i], room);
        words = text_format(drawing->arena, "%.*s%s%s", TEXT_ARGUMENTS(words), i > 0 ? ";" : "", room);
    }
    return words;
}

static bool is_stratified(struct text by)
{
    return text_is(by, "dealer") || text_is(by, "campaign") || text_is(by, "stratum");
}

static void begin(struct drawing *drawing)
{
    const struct draw_request *request = drawing->request;
    bool stratified = is_stratified(request->by);

    *drawing->sample = (struct sample){
        .name = request->name,
        .method = text_of(request->picks != NULL          ? METHOD_PICKED
                          : stratified                    ? METHOD_STRATIFIED
                          : text_is(request->by, "money") ? METHOD_MONEY
                                                          : METHOD_SIMPLE),
        .strata_by = stratified ? request->by : TEXT(""),
        .allocation = !stratified       ? TEXT("")
                      : request->neyman ? TEXT("neyman")
                                        : TEXT("proportional"),
        .filter = request->filter,
        .because = request->because,
        .drawn_on = request->drawn_on,
        .recorded_at = request->recorded_at,
        .generator = request->picks != NULL ? TEXT("") : TEXT(GENERATOR_NAME),
        .seed = request->picks != NULL ? TEXT("") : request->seed,
        .size_asked = request->size,
    };
}

int sample_draw(struct office *office, struct look_back *look_back, const struct draw_request *request,
                struct arena *arena, struct diag_sink *sink, struct sample *ret_sample)
{
    struct drawing *drawing = ARENA_NEW(arena, struct drawing);

    if (drawing == NULL)
        return WM_NO_MEMORY;
    *drawing = (struct drawing){.request = request, .arena = arena, .sink = sink, .sample = ret_sample};
    begin(drawing);
    ret_sample->bounds = bounds_words(drawing);
    int status = ret_sample->bounds.bytes == NULL
                     ? WM_NO_MEMORY
                     : frame_gather(office, look_back, arena, ret_sample, &drawing->campaigns);
    if (status == WM_OK)
        status = check_frame(drawing);
    if (status == WM_OK)
        status = select_items(drawing);
    if (status == WM_OK && ret_sample->item_count == 0) {
        diag_error(sink, nowhere(), "no claim was drawn: the interval is larger than what was paid; make it smaller");
        status = WM_BAD_INPUT;
    }
    if (status != WM_OK)
        return status;
    status = sample_write(office, ret_sample);
    if (status == WM_BAD_INPUT)
        diag_error(sink, nowhere(), "there is a sample %.*s already; give this one another name",
                   TEXT_ARGUMENTS(request->name));
    return status;
}
