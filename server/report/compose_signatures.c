/* compose_signatures.c - who signed, and whether the signatures hold. */
#include "report/composer.h"

#include "seal/seal.h"
#include "store/signoffs.h"

#include <string.h>

static void add_line(struct document_signature *signature, const char *line)
{
    if (signature->line_count < sizeof signature->lines / sizeof signature->lines[0])
        signature->lines[signature->line_count++] = line;
}

static bool holds(const struct store_signoff *signoff)
{
    struct seal_public key;
    struct seal_signature signature;
    return seal_public_read(signoff->public_key, &key) && seal_signature_read(signoff->signature, &signature)
           && seal_holds(&key, &signature, signoff->statement, strlen(signoff->statement));
}

static void add_signoff(struct composer *composer, struct document_signatures *signatures,
                        const struct store_signoff *signoff)
{
    struct document_signature *signature = add_signature(composer, signatures);
    if (!signature)
        return;
    signature->name = signoff->signer;
    add_line(signature, say(composer, "%s%s%s (name as stated)", say_time(composer, signoff->created),
                            signoff->role ? ", " : "", signoff->role ? signoff->role : ""));
    if (signoff->note)
        add_line(signature, signoff->note);
    add_line(signature, holds(signoff)
                            ? "The seal holds: an Ed25519 signature of the statement by the key below."
                            : "THE SEAL IS BROKEN: the signature is not one of the statement.");
    add_line(signature, say(composer, "Statement, SHA-256: %s", signoff->sha256));
    add_line(signature, say(composer, "Key, SHA-256 of its SubjectPublicKeyInfo: %s", signoff->fingerprint));
}

static const char *state_text(const struct composer *composer, size_t count, double persons)
{
    const char *asked =
        persons == 2 ? "The spec asks for two persons to sign" : "The spec asks for one person to sign";
    return count == 0 ? say(composer, "%s. Nobody has signed yet.", asked)
                      : say(composer, "%s. Signed by %zu.", asked, count);
}

bool compose_signatures(struct composer *composer, struct error *err)
{
    double persons = node_number(composer->audit, "spec.signatures");
    struct store_signoff_list list;
    if (!store_signoff_list(composer->store, composer->dossier->audit.id, composer->keep, &list, err))
        return false;
    add_heading(composer, "Sign-off");
    add_text(composer, TEXT_BODY, state_text(composer, list.count, persons));
    struct document_signatures *signatures = &add_block(composer, BLOCK_SIGNATURES)->signatures;
    for (size_t i = 0; i < list.count; i++)
        add_signoff(composer, signatures, &list.items[i]);
    for (size_t i = list.count; i < (persons == 2 ? 2 : 1); i++)
        add_signature(composer, signatures);
    return true;
}
