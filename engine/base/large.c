#include "base/large.h"

#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>

/* Under a sanitizer all memory is the allocator's, which watches it. */
#ifdef ARENA_EXACT
static const size_t MAPPED_FROM = SIZE_MAX;
#else
static const size_t MAPPED_FROM = LARGE_BYTES;
#endif

static int is_mapped(size_t bytes)
{
    return bytes >= MAPPED_FROM;
}

static size_t whole_pages(size_t bytes)
{
    return (bytes + LARGE_BYTES - 1) / LARGE_BYTES * LARGE_BYTES;
}

void *large_take(size_t bytes)
{
    if (!is_mapped(bytes))
        return calloc(1, bytes);
    if (bytes > SIZE_MAX / 2)
        return NULL;
    size_t wanted = whole_pages(bytes), mapped = wanted + LARGE_BYTES;
    char *map = mmap(NULL, mapped, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (map == MAP_FAILED)
        return NULL;
    size_t before = (size_t)(-(uintptr_t)map % LARGE_BYTES), after = LARGE_BYTES - before;
    if (before > 0)
        munmap(map, before);
    munmap(map + before + wanted, after);
    madvise(map + before, wanted, MADV_HUGEPAGE); /* a wish: without it, it is memory all the same */
    return map + before;
}

void large_give_back(void *memory, size_t bytes)
{
    if (!is_mapped(bytes))
        free(memory);
    else if (memory != NULL)
        munmap(memory, whole_pages(bytes));
}
