/* api_hook.h - hooks and their deliveries as API bodies; a secret is shown where it was made and nowhere
 * else. */
#ifndef JSON_API_HOOK_H
#define JSON_API_HOOK_H

#include "store/hooks.h"
#include "json/api_text.h"

/* secret: NULL leaves it out. */
bool api_hook_write(const struct store_hook *hook, const char *secret, struct api_text *text,
                    struct error *err);
bool api_hooks_write(const struct store_hook_list *list, struct api_text *text, struct error *err);
bool api_deliveries_write(const struct store_delivery_page *page, struct api_text *text, struct error *err);

#endif
