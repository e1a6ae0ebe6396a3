/* sign_off.h - signing an audit off, and whether what was signed still is as it was. */
#ifndef JSON_SIGN_OFF_H
#define JSON_SIGN_OFF_H

#include "store/signoffs.h"

/* --- making --- */

struct sign_off_request {
    int64_t audit;
    const char *by;          /* as stated */
    const char *role, *note; /* NULL or "": none */
};
/* ERROR_USAGE for texts that may not be kept; ERROR_CONFLICT where it may not be signed, as
 * store_signoff_allowed says, a waiver in the audit has been withdrawn or has run out, or a sign-off that is
 * there is broken; ERROR_STORE where audit, spec, record or a file is not what was judged, or the key is
 * gone. */
bool sign_off_make(struct store *store, const struct sign_off_request *request, struct arena *keep,
                   int64_t *id, struct error *err);
/* ERROR_CONFLICT where nobody may sign the audit, as above. */
bool sign_off_allowed(struct store *store, int64_t audit, struct arena *keep, struct error *err);

/* --- looking --- */

enum sign_off_part { /* what may have changed since it was signed */
                     SIGN_OFF_SPECIMEN,
                     SIGN_OFF_SUBJECT,
                     SIGN_OFF_REFERENCE,
                     SIGN_OFF_RECORD,
                     SIGN_OFF_SPEC,
                     SIGN_OFF_AUDIT,
                     SIGN_OFF_STATEMENT, /* its bytes: nothing else is believed then, nor of the next three */
                     SIGN_OFF_SIGNATURE,
                     SIGN_OFF_KEY,    /* the public key beside it is not the one that the statement names */
                     SIGN_OFF_SIGNER, /* name, role, note or time beside it are not those of the statement */
                     SIGN_OFF_PART_COUNT
};
const char *sign_off_part_word(enum sign_off_part part); /* "specimen", ... */

/* One bit for each part that changed; 0: it holds. is: store_signed_get of its audit. */
unsigned sign_off_changed(const struct store_signoff *signoff, const struct store_signed *is);

enum sign_off_state {
    SIGN_OFF_NONE,
    SIGN_OFF_PARTLY, /* by one of two */
    SIGN_OFF_DONE,
    SIGN_OFF_BROKEN /* one of them does not hold */
};
const char *sign_off_state_word(enum sign_off_state state); /* "not signed", "signed by one of two", ... */

struct sign_offs {
    enum sign_off_state state;
    size_t needed, persons; /* persons: different names among those that hold */
    struct store_signoff_list list;
    unsigned *changed; /* [list.count] */
    bool *own_key;     /* [list.count]: made with the key that the service has now */
};
/* Of an audit, each looked at anew. */
bool sign_offs_get(struct store *store, int64_t audit, struct arena *keep, struct sign_offs *offs,
                   struct error *err);

/* For fettle verify: every sign-off there is, with the bytes of the signed files too, which are hashed. Tells
 * each that does not hold, one sentence each; *count is how many were looked at, *broken how many of them. */
typedef void sign_off_listener(void *context, const char *text);
bool sign_offs_verify(struct store *store, sign_off_listener *listener, void *context, size_t *count,
                      size_t *broken, struct error *err);

#endif
