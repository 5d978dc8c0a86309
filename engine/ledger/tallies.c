#include "ledger/tallies.h"

#include <stdlib.h>

#include "base/status.h"

#define NONE UINT32_MAX

struct tally {
    struct packed_entry entry;
    uint32_t next_of_key;
};

void tallies_open(struct tallies *tallies)
{
    *tallies = (struct tallies){NULL, 0, 0, NULL, NULL, 0};
}

void tallies_close(struct tallies *tallies)
{
    free(tallies->list);
    free(tallies->by_day);
    free(tallies->by_key);
    tallies_open(tallies);
}

static uint32_t day_slot(const struct tallies *tallies, const struct packed_entry *entry)
{
    uint64_t mixed = (entry->hash ^ entry->number) * UINT64_C(0x9e3779b97f4a7c15);
    uint32_t mask = tallies->slots - 1;

    for (uint32_t at = (uint32_t)(mixed >> 32) & mask;; at = (at + 1) & mask) {
        uint32_t number = tallies->by_day[at];
        if (number == 0 || (tallies->list[number - 1].entry.hash == entry->hash &&
                            tallies->list[number - 1].entry.number == entry->number))
            return at;
    }
}

static uint32_t key_slot(const struct tallies *tallies, uint64_t hash)
{
    uint32_t mask = tallies->slots - 1;

    for (uint32_t at = (uint32_t)hash & mask;; at = (at + 1) & mask) {
        uint32_t number = tallies->by_key[at];
        if (number == 0 || tallies->list[number - 1].entry.hash == hash)
            return at;
    }
}

static void enter(struct tallies *tallies, uint32_t number)
{
    struct tally *tally = &tallies->list[number];
    uint32_t key = key_slot(tallies, tally->entry.hash);

    tallies->by_day[day_slot(tallies, &tally->entry)] = number + 1;
    tally->next_of_key = tallies->by_key[key] == 0 ? NONE : tallies->by_key[key] - 1;
    tallies->by_key[key] = number + 1;
}

static int grow_slots(struct tallies *tallies)
{
    uint32_t slots = tallies->slots ? tallies->slots * 2 : 1024;
    uint32_t *by_day = calloc(slots, sizeof *by_day), *by_key = calloc(slots, sizeof *by_key);

    if (by_day == NULL || by_key == NULL) {
        free(by_day);
        free(by_key);
        return WM_NO_MEMORY;
    }
    free(tallies->by_day);
    free(tallies->by_key);
    tallies->by_day = by_day;
    tallies->by_key = by_key;
    tallies->slots = slots;
    for (uint32_t i = 0; i < tallies->count; i++)
        enter(tallies, i);
    return WM_OK;
}

static int add_entry(void *context, const struct packed_entry *entry)
{
    struct tallies *tallies = context;

    if (tallies->count >= tallies->slots / 2 && grow_slots(tallies) != WM_OK)
        return WM_NO_MEMORY;
    uint32_t number = tallies->by_day[day_slot(tallies, entry)];
    if (number != 0) {
        struct packed_entry *there = &tallies->list[number - 1].entry;
        if (__builtin_add_overflow(there->amount, entry->amount, &there->amount))
            there->amount = entry->amount < 0 ? INT64_MIN : INT64_MAX;
        return WM_OK;
    }
    if (tallies->count == tallies->capacity) {
        uint32_t capacity = tallies->capacity ? tallies->capacity * 2 : 512;
        struct tally *grown = realloc(tallies->list, capacity * sizeof *grown);
        if (grown == NULL)
            return WM_NO_MEMORY;
        tallies->list = grown;
        tallies->capacity = capacity;
    }
    tallies->list[tallies->count++].entry = *entry;
    enter(tallies, tallies->count - 1);
    return WM_OK;
}

int tallies_add_claim(struct tallies *tallies, const struct claim *claim, int sign)
{
    return packed_tallies_of(claim, sign, add_entry, tallies);
}

int tallies_merge(struct tallies *to, const struct tallies *from)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < from->count; i++)
        status = add_entry(to, &from->list[i].entry);
    return status;
}

int tallies_find(const struct tallies *tallies, uint64_t hash, packed_take *take, void *taker)
{
    int status = WM_OK;
    uint32_t number = tallies->slots == 0 ? 0 : tallies->by_key[key_slot(tallies, hash)];

    for (uint32_t at = number == 0 ? NONE : number - 1; status == WM_OK && at != NONE;
         at = tallies->list[at].next_of_key)
        status = take(taker, &tallies->list[at].entry);
    return status;
}

int tallies_list(const struct tallies *tallies, struct packed_list *list)
{
    int status = WM_OK;

    for (uint32_t i = 0; status == WM_OK && i < tallies->count; i++)
        status = packed_list_add(list, &tallies->list[i].entry);
    return status;
}
