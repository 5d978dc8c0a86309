/* layout.h - how the parts of a pack lie in their bytes. Private to engine/pack, part of the file format.
 *
 *   PART_RULES     a count, then path and bytes of each file, in the order of paths
 *   PART_PROFILES  how many profiles and how many sets of completions (4 bytes each); for each of them where it
 *                  begins in the part (8 bytes) and behind the last where it ends; then the profiles, then the
 *                  sets
 *
 *   PART_VEHICLES  entries of 20 bytes in the order of their tags, as many whole ones as fit into each block:
 *                  tag (8), and under the pad of its VIN: profile, day built, set + 1 (4 each)
 *
 *   PART_OWN       pack/own.h, under XChaCha20 with the dealer's key (pack/vin_lock.h) and the head's nonce
 */
#ifndef WM_PACK_LAYOUT_H
#define WM_PACK_LAYOUT_H

#include "pack/sealed.h"

enum {
    ENTRY_TAG_BYTES = 8,
    ENTRY_BYTES = ENTRY_TAG_BYTES + LOCK_PAD_BYTES,
    ENTRIES_A_BLOCK = PACK_BLOCK_BYTES / ENTRY_BYTES,
    OFFSETS_AT = 8, /* in PART_PROFILES */
    OFFSET_BYTES = 8
};

#endif
