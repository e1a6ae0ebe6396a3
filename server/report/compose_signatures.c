/* compose_signatures.c - who signed, and whether what was signed still is as it was. */
#include "report/composer.h"

#include "json/sign_off.h"

#include <string.h>

static void add_line(struct document_signature *signature, const char *line)
{
    if (signature->line_count < sizeof signature->lines / sizeof signature->lines[0])
        signature->lines[signature->line_count++] = line;
}

static const char *state_of(const struct composer *composer, unsigned changed)
{
    const char *parts = "";
    if (!changed)
        return "Holds: sealed by Ed25519 with the key below, and nothing that was signed has changed.";
    for (int part = 0; part < SIGN_OFF_PART_COUNT; part++)
        if (changed & 1U << part)
            parts = say(composer, "%s%s%s", parts, *parts ? ", " : "",
                        sign_off_part_word((enum sign_off_part)part));
    return say(composer, "BROKEN. Changed since it was signed: %s.", parts);
}

static void add_signoff(struct composer *composer, struct document_signatures *signatures,
                        const struct store_signoff *signoff, unsigned changed, bool own_key)
{
    struct document_signature *signature = add_signature(composer, signatures);
    if (!signature)
        return;
    signature->name = signoff->signer;
    add_line(signature, say(composer, "%s%s%s (name as stated)", say_time(composer, signoff->created),
                            signoff->role ? ", " : "", signoff->role ? signoff->role : ""));
    if (signoff->note)
        add_line(signature, signoff->note);
    add_line(signature, state_of(composer, changed));
    add_line(signature, say(composer, "Statement, SHA-256: %s", signoff->sha256));
    add_line(signature, say(composer, "Key%s, SHA-256 of its SubjectPublicKeyInfo: %s",
                            own_key ? "" : " (not the service's own)", signoff->fingerprint));
}

bool compose_signatures(struct composer *composer, struct error *err)
{
    struct sign_offs offs;
    if (!sign_offs_get(composer->store, composer->dossier->audit.id, composer->keep, &offs, err))
        return false;
    add_heading(composer, "Sign-off");
    add_text(composer, TEXT_BODY,
             say(composer, "The spec asks for %s to sign; this audit is %s.",
                 offs.needed == 2 ? "two persons" : "one person", sign_off_state_word(offs.state)));
    struct document_signatures *signatures = &add_block(composer, BLOCK_SIGNATURES)->signatures;
    for (size_t i = 0; i < offs.list.count; i++)
        add_signoff(composer, signatures, &offs.list.items[i], offs.changed[i], offs.own_key[i]);
    for (size_t i = offs.persons; i < offs.needed; i++)
        add_signature(composer, signatures);
    return true;
}
