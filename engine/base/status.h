/* status.h - what a function that can fail returns.
 *
 * 0 is success everywhere; any other value means that no ret_* output was written.
 */
#ifndef WM_BASE_STATUS_H
#define WM_BASE_STATUS_H

enum status {
    WM_OK = 0,
    WM_NO_MEMORY,   /* an allocation failed */
    WM_BAD_INPUT,   /* what was read is not what it must be; a diagnostic says where and why */
    WM_IO,          /* the operating system or SQLite could not read or write */
    WM_NOT_FOUND,   /* asked for something that is not there; not always an error */
    WM_LIMIT        /* a limit of base/limits.h was reached */
};

#endif
