/* upload_parameters.h - what an upload says of the version it is to become, however the bytes come. */
#ifndef HTTP_UPLOAD_PARAMETERS_H
#define HTTP_UPLOAD_PARAMETERS_H

#include "http/request.h"

/* kind made_from against face_size name by note, read into version, whose strings are those of parameters;
 * lengths in the units of the specimen. */
bool upload_parameters_parse(const struct target *parameters, int64_t specimen, const char *units,
                             struct store_version_new *version, struct error *err);
/* A place among the uploads that run at once, until request_close_upload. ERROR_BUSY where all are taken. */
bool upload_take_slot(struct request *request, struct error *err);

#endif
