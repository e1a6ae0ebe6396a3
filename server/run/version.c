/* version.c - the only file that knows the version and the commit; the Makefile gives both. */
#include "run/version.h"

#include "run/run.h"

const char *version_text(void)
{
    return FETTLE_VERSION;
}

const char *version_commit(void)
{
    return FETTLE_COMMIT;
}

int version_definitions(void)
{
    return RUN_DEFINITIONS;
}
