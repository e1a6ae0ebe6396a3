/* version.c - the only file that knows the version and the commit; the Makefile gives both. */
#include "run/version.h"

#include "run/run.h"

const char *engine_version(void)
{
    return FETTLE_VERSION;
}

const char *engine_commit(void)
{
    return FETTLE_COMMIT;
}

int engine_definitions(void)
{
    return RUN_DEFINITIONS;
}
