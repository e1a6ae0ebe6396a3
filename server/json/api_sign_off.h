/* api_sign_off.h - sign-offs, the service's key and the log as API bodies. */
#ifndef JSON_API_SIGN_OFF_H
#define JSON_API_SIGN_OFF_H

#include "store/steps.h"
#include "json/api_text.h"
#include "json/sign_off.h"

/* {"audit","state","persons","refusal","items":[...]}; refusal: why nobody may sign now, NULL: one may. */
bool api_sign_offs_write(int64_t audit, const struct sign_offs *offs, const char *refusal,
                         struct api_text *text, struct error *err);
/* The i-th of them, with statement, signature and public key. */
bool api_sign_off_write(const struct sign_offs *offs, size_t i, struct api_text *text, struct error *err);
bool api_key_write(const struct seal_public *key, struct api_text *text, struct error *err);
bool api_steps_write(const struct store_step_page *page, struct api_text *text, struct error *err);

#endif
