/* handoff_json.h - the documents that a handoff holds besides those that the store has.
 *
 * specimen.json: Darwin Core terms (dwc:, TDWG, http://rs.tdwg.org/dwc/terms/) for the specimen, Audiovisual
 * Core terms (ac:, TDWG, http://rs.tdwg.org/ac/terms/) and those it borrows (dcterms:, xmp:) for the files,
 * and an intake block of our own for each: device, operator, date, resolution, uncertainty.
 *
 * ro-crate-metadata.json: RO-Crate 1.1 (P. Sefton et al., "RO-Crate Metadata Specification 1.1.3", 2023,
 * doi:10.5281/zenodo.7867028) with PROV-O terms (prov:, W3C Recommendation 2013): which file was made from
 * which, by whom and when, and what measured, judged and signed it.
 *
 * handoff.statement.json: what the service's key signs of the whole (RFC 8785): digests of the manifests and
 * of all other tag files, of record, spec, audit and sign-offs. */
#ifndef JSON_HANDOFF_JSON_H
#define JSON_HANDOFF_JSON_H

#include "store/dossier.h"
#include "store/signoffs.h"

struct handoff_file {
    const char *path; /* in the bag */
    const char *sha256, *sha512;
    uint64_t bytes;
};
struct handoff_facts {
    const struct store_dossier *dossier;
    const struct store_signoff_list *signoffs;
    const char *name, *by, *time; /* of the handoff; as stated; "2026-11-28T12:00:00Z" */
    const char *fingerprint;      /* of the key that seals it */
    const char *subject_path;     /* in the bag */
    const char *reference_path;   /* NULL: measured alone */
};

/* Each: the caller frees *text; ERROR_MACHINE when memory is out. */
bool handoff_specimen_text(const struct handoff_facts *facts, char **text, size_t *size, struct error *err);
/* files: the payload so far; paths in it are told below data/. */
bool handoff_crate_text(const struct handoff_facts *facts, const struct handoff_file *files, size_t count,
                        char **text, size_t *size, struct error *err);
/* files: the tag files. */
bool handoff_statement_text(const struct handoff_facts *facts, const struct handoff_file *files, size_t count,
                            char **text, size_t *size, struct error *err);

#endif
