/* judging.h - a stored run judged by a stored spec, and kept as an audit. */
#ifndef HTTP_JUDGING_H
#define HTTP_JUDGING_H

#include "http/service.h"

/* With the specimen's waivers and today's day. *created false: the last audit says the same; it is *id. keep
 * holds the run's record meanwhile. */
bool judging_make(struct service *service, int64_t run, int64_t spec, struct arena *keep, int64_t *id,
                  bool *created, struct error *err);

#endif
