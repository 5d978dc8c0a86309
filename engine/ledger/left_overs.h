/* left_overs.h - files that a first load wrote beside an office file's name and was killed before it could take away.
 *
 * A new office file is written as NAME.PID.part (office_open_new). What is taken away here has that name, or that of
 * SQLite's journal of it; is a plain file of this user; was written by a program that runs no more on this machine; and
 * has not changed for LEFT_OVER_SECONDS, lest another machine, or a container, is writing it on a shared disk.
 */
#ifndef WM_LEDGER_LEFT_OVERS_H
#define WM_LEDGER_LEFT_OVERS_H

enum { LEFT_OVER_SECONDS = 600 };

/* Says nothing, and leaves what it cannot take away: nothing depends on it. */
void left_overs_remove(const char *path);

#endif
