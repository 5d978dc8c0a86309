/* excerpt.h - what a dealer wrote, made fit for a message: in quotes, shortened, control characters as `?`. */
#ifndef WM_INTAKE_EXCERPT_H
#define WM_INTAKE_EXCERPT_H

#include "base/text.h"

enum { EXCERPT_CHARACTERS = 40, EXCERPT_ROOM = EXCERPT_CHARACTERS * 4 + 8 };

/* Writes the excerpt of valid UTF-8, NUL-terminated, to EXCERPT_ROOM bytes and returns room. */
const char *excerpt_write(struct text t, char *room);

#endif
