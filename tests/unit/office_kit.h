/* office_kit.h - for tests: an office file in a folder of its own, and what a query gives as text. */
#ifndef WM_TEST_OFFICE_KIT_H
#define WM_TEST_OFFICE_KIT_H

#include "capture.h"

#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/status.h"
#include "ledger/office.h"

struct office_kit {
    char folder[256];
    char path[300]; /* of the office file */
    struct capture capture;
    struct office *office;
};

static inline void kit_begin(struct office_kit *kit)
{
    *kit = (struct office_kit){.office = NULL};
    make_folder(kit->folder);
    snprintf(kit->path, sizeof kit->path, "%s/office.db", kit->folder);
    capture_start(&kit->capture);
}

static inline int kit_open(struct office_kit *kit, enum office_mode mode)
{
    capture_start(&kit->capture);
    return office_open(kit->path, mode, &kit->capture.sink, &kit->office);
}

static inline void kit_close(struct office_kit *kit)
{
    office_close(kit->office);
    kit->office = NULL;
}

static inline void kit_end(struct office_kit *kit)
{
    char command[1024];

    kit_close(kit);
    snprintf(command, sizeof command, "chmod -R u+w '%s' && rm -rf '%s'", kit->folder, kit->folder);
    assert_int_equal(system(command), 0);
}

/* Where the test was built for it, writes what gcov counted; else it is not there. */
void __gcov_exit(void) __attribute__((weak));

/* A child that may write nothing of root's. It keeps the way back for end_child. */
static inline void become_nobody(void)
{
    if (geteuid() == 0 && setresuid(65534, 65534, 0) != 0)
        _exit(99);
}

/* Ends a child of a test, which otherwise would take with it what was counted of it. */
static inline void end_child(int code) __attribute__((noreturn));
static inline void end_child(int code)
{
    uid_t real, effective, saved;

    if (getresuid(&real, &effective, &saved) == 0 && saved == 0 && setresuid(0, 0, 0) != 0)
        _exit(99);
    if (__gcov_exit != NULL)
        __gcov_exit();
    _exit(code);
}

/* Rows as lines, cells with `|` between them, null as `-`. The text is valid until the next call. */
static inline const char *query(struct office *office, const char *sql)
{
    static char text[65536];
    size_t length = 0;
    sqlite3_stmt *statement = NULL;
    int result = sqlite3_prepare_v2(office_database(office), sql, -1, &statement, NULL);

    text[0] = '\0';
    while (result == SQLITE_OK || result == SQLITE_ROW) {
        result = sqlite3_step(statement);
        for (int i = 0; result == SQLITE_ROW && i < sqlite3_column_count(statement); i++) {
            const char *cell = (const char *)sqlite3_column_text(statement, i);
            length += (size_t)snprintf(text + length, sizeof text - length, "%s%s", i > 0 ? "|" : "",
                                       cell != NULL ? cell : "-");
            assert_true(length < sizeof text - 2);
        }
        if (result == SQLITE_ROW)
            text[length++] = '\n';
        text[length] = '\0';
    }
    if (result != SQLITE_DONE)
        snprintf(text, sizeof text, "error: %s", sqlite3_errmsg(office_database(office)));
    sqlite3_finalize(statement);
    return text;
}

#endif
