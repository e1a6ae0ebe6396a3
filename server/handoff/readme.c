/* readme.c - plain words and commands. */
#include "handoff/readme.h"

#include "handoff/paths.h"

#include <stdio.h>
#include <stdlib.h>

static void say_what(FILE *file, const struct handoff_facts *facts)
{
    const struct store_dossier *dossier = facts->dossier;
    fprintf(file,
            "%s: %s\n"
            "handed over by %s (the name as stated) at %s\n"
            "\n"
            "This folder is a digitised specimen with everything that was found out about it. It needs no\n"
            "program, server or network of ours to be read.\n"
            "\n"
            "  %s\n"
            "      the file that was judged: %s %lld\n",
            dossier->specimen.catalogue_number, dossier->specimen.title, facts->by, facts->time,
            facts->subject_path, dossier->subject.kind, (long long)dossier->subject.number);
    if (facts->reference_path)
        fprintf(file,
                "  %s\n"
                "      the file that it was measured against: %s %lld\n",
                facts->reference_path, dossier->reference.kind, (long long)dossier->reference.number);
    fputs(
        "  data/report.pdf, data/report.html   the report, to read first\n"
        "  data/record.json      all that was measured, with the settings\n"
        "  data/spec.json        the rules it was judged by\n"
        "  data/audit.json       the outcome of each rule\n"
        "  data/specimen.json    the specimen (Darwin Core) and how the files came to be (Audiovisual Core)\n"
        "  data/ro-crate-metadata.json   what was made from what, by whom and when (RO-Crate 1.1, PROV)\n"
        "  data/sign-offs/       who signed the audit: statement, signature, public key\n"
        "  seal/                 what binds all of it together: statement, signature, public key\n"
        "  manifest-*.txt        a digest of every file in data/; tagmanifest-*.txt: of every other file\n"
        "\n",
        file);
}

static void say_how(FILE *file, const struct handoff_facts *facts)
{
    fputs(
        "How to check it\n"
        "\n"
        "1. That no file changed. In this folder:\n"
        "\n"
        "     sha256sum -c manifest-sha256.txt\n"
        "     sha512sum -c manifest-sha512.txt\n"
        "     sha512sum -c tagmanifest-sha512.txt\n"
        "\n"
        "2. That the service sealed it (OpenSSL 3; each line must say \"Signature Verified Successfully\"):\n"
        "\n"
        "     openssl pkeyutl -verify -pubin -inkey seal/key.pem -rawin \\\n"
        "       -in seal/handoff.statement.json -sigfile seal/handoff.sig\n",
        file);
    for (size_t i = 1; i <= facts->signoffs->count; i++)
        fprintf(file,
                "     openssl pkeyutl -verify -pubin -inkey data/sign-offs/%zu.key.pem -rawin \\\n"
                "       -in data/sign-offs/%zu.statement.json -sigfile data/sign-offs/%zu.sig\n",
                i, i, i);
    fprintf(
        file,
        "\n"
        "   seal/handoff.statement.json names the digests of the manifests. That the key is the right one\n"
        "   you know only from elsewhere: ask whoever handed it over for its fingerprint, by another way\n"
        "   than this folder came, and compare it with what this prints:\n"
        "\n"
        "     openssl pkey -pubin -in seal/key.pem -outform DER | sha256sum\n"
        "\n"
        "   When this was written it was\n"
        "     %s\n"
        "\n"
        "3. All of that, and that measuring and judging again give the same values, with one command:\n"
        "\n"
        "     fettle verify-handoff FOLDER-OR-ZIP\n"
        "\n"
        "Names of persons are as they were stated; the service does not know who typed them. Measures\n"
        "describe the files, not the object. Nothing here clears a part for clinical, load-bearing or\n"
        "safety use.\n",
        facts->fingerprint);
}

bool readme_write(const struct handoff_facts *facts, char **text, size_t *size, struct error *err)
{
    *text = NULL;
    FILE *file = open_memstream(text, size);
    if (file) {
        say_what(file, facts);
        say_how(file, facts);
        if (fclose(file) == 0)
            return true;
    }
    free(*text);
    *text = NULL;
    return error_set(err, ERROR_MACHINE, "memory is out while writing a handoff");
}
