/* version.h - which program measured: version, commit and number of the definitions. */
#ifndef RUN_VERSION_H
#define RUN_VERSION_H

const char *engine_version(void); /* "0.1.0" */
const char *engine_commit(void);  /* of the sources: twelve hex digits, "-dirty" where they were changed */
int engine_definitions(void);     /* raised when the meaning or value of any measure changes */

#endif
