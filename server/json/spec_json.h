/* spec_json.h - a spec read from JSON: schema/spec.schema.json says its form, this says what is wrong with
 * it. */
#ifndef JSON_SPEC_JSON_H
#define JSON_SPEC_JSON_H

#include "base/error.h"
#include "spec/spec.h"
#include "json/measures.h"

/* On success the caller owes spec_close. ERROR_USAGE names rule and key, and says what belongs there; a text
 * that is not JSON has its line. ERROR_MACHINE: memory is out. The measures may be closed afterwards. */
bool spec_open(const char *bytes, size_t size, const struct measure_list *measures, struct spec *spec,
               struct error *err);
void spec_close(struct spec *spec);

/* Its RFC 8785 text, what its digest is made of; the caller frees *text. */
bool spec_canonical(const struct spec *spec, char **text, size_t *size, struct error *err);

/* spec->sha256 from its document; done by spec_open. */
bool spec_digest(struct spec *spec, struct error *err);

#endif
