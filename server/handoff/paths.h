/* paths.h - where in a handoff each document lies. */
#ifndef HANDOFF_PATHS_H
#define HANDOFF_PATHS_H

#define HANDOFF_RECORD_PATH "data/record.json"
#define HANDOFF_AUDIT_PATH "data/audit.json"
#define HANDOFF_SPEC_PATH "data/spec.json"
#define HANDOFF_SPECIMEN_PATH "data/specimen.json"
#define HANDOFF_CRATE_PATH "data/ro-crate-metadata.json"
#define HANDOFF_PDF_PATH "data/report.pdf"
#define HANDOFF_HTML_PATH "data/report.html"
#define HANDOFF_SIGN_OFFS_PATH "data/sign-offs/" /* N.statement.json, N.sig, N.key.pem */
#define HANDOFF_README_PATH "README.txt"
#define HANDOFF_STATEMENT_PATH "seal/handoff.statement.json"
#define HANDOFF_SIGNATURE_PATH "seal/handoff.sig"
#define HANDOFF_KEY_PATH "seal/key.pem"

/* Longest documents, in bytes; the longest record seen has 2 MiB. */
#define HANDOFF_RECORD_MAX ((uint64_t)256 << 20)
#define HANDOFF_SPEC_MAX ((uint64_t)16 << 20)
#define HANDOFF_STATEMENT_MAX ((uint64_t)1 << 20)

#endif
