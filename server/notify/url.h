/* url.h - whether a text may be the address of a hook. */
#ifndef NOTIFY_URL_H
#define NOTIFY_URL_H

#include "base/error.h"

/* http or https with a host; printable ASCII; no user name or password, which would be shown in lists, and no
 * fragment, which is never sent. ERROR_USAGE. */
bool url_check(const char *url, struct error *err);

#endif
