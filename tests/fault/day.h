/* day.h - the commands of a day, of every room of the engine, that the fault tests run. */
#ifndef WM_FAULT_DAY_H
#define WM_FAULT_DAY_H

#include <stdbool.h>

struct step {
    const char *words;  /* separated by blanks; @NAME is that line of the file `names` */
    const char *office; /* offices/NAME.db is office/office.db before it; NULL: there is none */
    bool writes;        /* adds to the office; else what is recorded must stay as it was */
    bool in_parts;      /* several files, each recorded by itself: what stands between is an office too */
    bool damaged;       /* its office does not pass verify */
    bool goes_on;       /* names what it cannot read and ends with 1 */
    bool varies; /* what it writes is another thing each time (keys, salts): only that it is there is looked at
                  */
    bool unwritable; /* the program is told that it may write nothing */
    bool anew;       /* also what failed in a command before fails here, with `once` */
    bool refused; /* ends with 2, with or without a failure: what refuses it must not be told wrongly */
    const char *input; /* the file that is its standard input; NULL: it has none */
    bool alike; /* little in it is not in another command too: run with `once` alone, where that little is what fails */
};

/* Ended by one without words. The first is the post that is also killed at each of its system calls. */
extern const struct step DAY[];

#endif
