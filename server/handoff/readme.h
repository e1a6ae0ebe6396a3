/* readme.h - README.txt of a handoff: what it is and how to check it, for somebody who has nothing else. */
#ifndef HANDOFF_README_H
#define HANDOFF_README_H

#include "base/error.h"
#include "json/handoff_json.h"

/* The caller frees *text. ERROR_MACHINE when memory is out. */
bool readme_write(const struct handoff_facts *facts, char **text, size_t *size, struct error *err);

#endif
