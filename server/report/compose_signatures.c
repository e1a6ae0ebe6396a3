/* compose_signatures.c - who signed. */
#include "report/composer.h"

bool compose_signatures(struct composer *composer, struct error *err)
{
    (void)err;
    double persons = node_number(composer->audit, "spec.signatures");
    add_heading(composer, "Sign-off");
    add_text(composer, TEXT_BODY,
             persons == 2 ? "The spec asks for two persons to sign. Nobody has signed yet."
                          : "The spec asks for one person to sign. Nobody has signed yet.");
    struct document_signatures *signatures = &add_block(composer, BLOCK_SIGNATURES)->signatures;
    for (int i = 0; i < (persons == 2 ? 2 : 1); i++)
        add_signature(composer, signatures);
    return true;
}
