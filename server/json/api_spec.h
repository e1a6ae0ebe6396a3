/* api_spec.h - specs, waivers and audits as API bodies; and a spec made the next version of its name. */
#ifndef JSON_API_SPEC_H
#define JSON_API_SPEC_H

#include "store/audits.h"
#include "store/specs.h"
#include "store/waivers.h"
#include "json/api_text.h"
#include "json/spec_json.h"

/* {"items":[...]} without the rules. */
bool api_specs_write(const struct store_spec_list *list, struct api_text *text, struct error *err);
/* With the whole spec under "spec". ERROR_STORE when what is stored is not JSON. */
bool api_spec_write(const struct store_spec *spec, struct api_text *text, struct error *err);

/* What adding a spec would say of it: fault NULL where it may be added. */
bool api_spec_check_write(const struct error *fault, struct api_text *text, struct error *err);

/* day: today; tells for each waiver whether it holds. */
bool api_waivers_write(const struct store_waiver_list *list, const char *day, struct api_text *text,
                       struct error *err);
bool api_waiver_write(const struct store_waiver *waiver, const char *day, struct api_text *text,
                      struct error *err);

bool api_audits_write(const struct store_audit_page *page, struct api_text *text, struct error *err);
/* With the whole audit under "audit". */
bool api_audit_write(const struct store_audit *audit, struct api_text *text, struct error *err);

/* What a changed limit of one rule would have meant. */
struct api_what_if {
    const char *rule;
    double limit;
    size_t runs; /* looked at: the latest of each version that is of a kind the spec is for */
    size_t conforms_now, undecided_now, conforms_then, undecided_then;
};
bool api_what_if_write(const struct api_what_if *what_if, struct api_text *text, struct error *err);

/* Whether two specs differ in nothing but their version. */
bool spec_says_the_same(const struct spec *a, const struct spec *b);
/* Makes it that version: its document, digest and number. */
bool spec_become_version(struct spec *spec, int version, struct error *err);

#endif
