/* ground.h - where a command of the fault tests runs: a folder of its own, as it was before each time.
 *
 * Every path is relative to the folder, which is the working folder of the process: so that each worker has
 * equal words to deal with, wherever it stands. In it are the files of input/ (never written), and office/ the
 * office file, and what SQLite keeps beside it out/      what the command writes besides
 */
#ifndef WM_FAULT_GROUND_H
#define WM_FAULT_GROUND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

enum { MOST_FILES = 96, DIGEST_BYTES = 16 };

/* Files of a folder, as they are. */
struct snapshot {
    int count;
    struct {
        char name[80]; /* a process number in it is `PID` */
        off_t bytes;
        uint8_t digest[DIGEST_BYTES];
    } files[MOST_FILES];
};

/* Takes a folder of what prepare.sh made as the working folder, copied to FOLDER/w<number> beside it. */
void ground_enter(const char *folder, int number);

/* The office that stays as the one to begin with; NULL: none. */
void ground_set_office(const char *name);

/* Everything as it was in the beginning. */
void ground_restore(void);

/* The office is what it was, to the byte, and nothing lies beside it. */
bool ground_office_is_old(void);

void ground_look(const char *folder, struct snapshot *ret_snapshot);
bool snapshots_equal(const struct snapshot *one, const struct snapshot *other);

/* Everything in one is in the other, as it is there. */
bool snapshot_is_part_of(const struct snapshot *part, const struct snapshot *whole);

/* Without names that end in `.part`: what a killed program may leave. */
void snapshot_drop_parts(struct snapshot *snapshot);

/* The file, NUL-terminated; NULL if it cannot be read. The caller frees it. */
char *ground_read(const char *path, size_t *ret_length);

#endif
