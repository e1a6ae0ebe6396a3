/* scratch.h - private files without a name, gone when they are closed. */
#ifndef CLI_SCRATCH_H
#define CLI_SCRATCH_H

#include "base/error.h"

/* In the folder that TMPDIR names, else in /tmp. ERROR_MACHINE; the caller closes *fd. */
bool scratch_open(int *fd, struct error *err);

#endif
