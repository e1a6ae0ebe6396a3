/* own_status.h - what the system says of this process's memory (/proc/self/status). */
#ifndef RUN_OWN_STATUS_H
#define RUN_OWN_STATUS_H

#include "base/error.h"

struct own_status {
    size_t address_space_bytes;
    double peak_resident_mib; /* all pages */
    double anonymous_mib;     /* now; the system keeps no peak of these */
};

/* All zero where the system does not tell. */
struct own_status own_status_read(void);

/* Keeps the file open from now on, for a process that is about to give up opening files. */
bool own_status_hold(struct error *err);

#endif
