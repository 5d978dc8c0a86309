/* vin_lock.h - the lock on each vehicle of a pack: its VIN, through a hash that is slow on purpose.
 *
 * A pack lists no VIN. For each vehicle it has a tag, by which it is found, and a record that is covered with
 * a pad; tag and pad are bytes of Argon2id (RFC 9106; one pass, one lane, `work` KiB of memory) of the VIN,
 * salted with 16 random bytes of the pack. Who has the VIN of the vehicle in front of him looks it up with one
 * hash. Who has not must try VINs, one hash each, and a hash that misses tells nothing.
 *
 * What this protects against, and what not, in plain words. VINs are not secret and not random: maker,
 * description, check digit, year and plant leave some 10^6 serial numbers for each of some hundreds of
 * beginnings, so a maker's vehicles are found among 10^8 to 10^9 candidates. The lock turns reading a list
 * (seconds) into an attack that somebody must want: at the default work, 0.8 ms of a busy core, 10^9
 * candidates take some 200 core-hours. It does not make it impossible, graphics processors shorten it, and it
 * hides nothing from somebody who has the VIN already, which is what a pack is for. The salt is new in every
 * pack that is not made from a base, so work on one is no use for another.
 *
 * Why this work: a pack of 5,000,000 vehicles costs the office 5,000,000 hashes (an hour of one core, on all
 * cores at once; packs for further dealers take the vehicles over and cost none), one look-up costs one, and
 * the nearest VIN to a mistyped one 577, or some 50 where every registered VIN has its check digit: between 40
 * and 450 ms. Every doubling doubles all three alike. `pack --work N` chooses; the pack's header says.
 *
 * The dealer's own part is covered with a key made of the dealer's code in the same way. That keeps it from
 * being read in passing (a VIN in it is not found by a search through files); it is no protection from somebody
 * who has the file, in whose head the code stands.
 */
#ifndef WM_PACK_VIN_LOCK_H
#define WM_PACK_VIN_LOCK_H

#include <stdint.h>

#include "base/text.h"

enum { LOCK_SALT_BYTES = 16, LOCK_PAD_BYTES = 12, LOCK_KEY_BYTES = 32 };

/* KiB: least is the least that the hash takes, most keeps one look-up below some 200 ms. */
enum { LOCK_WORK_LEAST = 8, LOCK_WORK_DEFAULT = 256, LOCK_WORK_MOST = 65536 };

struct vin_lock {
    uint32_t work_kib;
    uint8_t salt[LOCK_SALT_BYTES];
};

struct vin_key {
    uint64_t tag;
    uint8_t pad[LOCK_PAD_BYTES];
};

/* Both are slow. WM_NO_MEMORY. Any number of threads may do it at once. */
int vin_lock_vehicle(const struct vin_lock *lock, struct text vin, struct vin_key *ret_key);
int vin_lock_dealer(const struct vin_lock *lock, struct text dealer, uint8_t ret_key[LOCK_KEY_BYTES]);

#endif
