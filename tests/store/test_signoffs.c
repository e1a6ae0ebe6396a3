/* test_signoffs.c
 *   log_*      what is done writes its step; the log only grows
 *   signed_*   what a sign-off is about
 *   sign_*     keeping one; when it may not be
 *   person_*   names that are one person's
 *   key_*      made once, backed up, never silently replaced
 */
#include "store/signoffs.h"

#include "store/audits.h"
#include "store/folder.h"
#include "store/inside.h"
#include "store/runs.h"
#include "store/specs.h"
#include "store/waivers.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct folder folder;
static int64_t specimen, scan, run, spec, audit;

static void begin(void)
{
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
    scan = add_version(&folder, specimen, "scan", 0, "some bytes of a scan");
    run = run_next_job(&folder, 1, 0);
    spec = add_spec(&folder, "print", 1);
    audit = add_audit(&folder, run, spec, "conforms");
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(signoffs, .init = begin, .fini = end);

static bool try_sign(int64_t of_audit, const char *signer, int64_t *id)
{
    struct store_signed is;
    struct seal_key key;
    cr_assert(store_signed_get(folder.store, of_audit, &folder.arena, &is, &folder.err), "%s",
              folder.err.text);
    cr_assert(store_key_need(folder.store, &key, &folder.err), "%s", folder.err.text);
    struct store_signoff_new added = {.audit = of_audit,
                                      .revision = is.revision,
                                      .signer = signer,
                                      .role = "head of the laboratory",
                                      .created = "2026-11-28T12:00:00Z",
                                      .statement = "{\"schema\":\"fettle/sign-off/1\"}",
                                      .key = key.public_key};
    struct seal_signature signature = seal_sign(&key, added.statement, strlen(added.statement));
    seal_signature_write(&signature, added.signature);
    return store_signoff_add(folder.store, &added, id, &folder.err);
}

static void expect_refused(int64_t of_audit, const char *signer, const char *wanted)
{
    int64_t id;
    cr_expect_not(try_sign(of_audit, signer, &id));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT, "%s", folder.err.text);
    cr_expect_not_null(strstr(folder.err.text, wanted), "%s", folder.err.text);
    cr_expect_not(store_signoff_allowed(folder.store, of_audit, signer, &folder.err));
}

static struct store_step_page log_of(int64_t of_specimen)
{
    struct store_step_page page;
    cr_assert(store_step_list(folder.store, of_specimen, 50, NULL, &folder.arena, &page, &folder.err), "%s",
              folder.err.text);
    return page;
}

static void expect_step(const struct store_step *step, const char *kind, const char *who, const char *text,
                        const char *about, int64_t id)
{
    cr_expect_str_eq(step->kind, kind);
    cr_expect_str_eq(step->who ? step->who : "", who);
    cr_expect_str_eq(step->text, text);
    cr_expect_str_eq(step->about, about);
    cr_expect_eq(step->about_id, id);
    cr_expect_eq(strlen(step->created), 20u);
}

Test(signoffs, log_tells_each_act_newest_first)
{
    struct store_waiver waiver = {.specimen = specimen,
                                  .spec_name = "print",
                                  .rule = "closed",
                                  .reason = "the base is open",
                                  .author = "Ada",
                                  .expires = "2026-12-31"};
    int64_t waived, signed_off;
    bool stale;
    cr_assert(store_waiver_add(folder.store, &waiver, &waived, &folder.err));
    cr_assert(store_waiver_withdraw(folder.store, waived, &folder.err));
    cr_assert(store_waiver_withdraw(folder.store, waived, &folder.err), "again: nothing happens");
    cr_assert(try_sign(audit, "Grace", &signed_off), "%s", folder.err.text);
    cr_assert(store_version_withdraw(folder.store, scan, "the wrong tooth", "Ada", 0, &stale, &folder.err));

    struct store_step_page page = log_of(specimen);

    cr_assert_eq(page.count, 6u);
    cr_expect_eq(page.total, 6);
    cr_expect_null(page.next);
    expect_step(&page.items[0], "version withdrawn", "Ada", "scan 1: the wrong tooth", "version", scan);
    expect_step(&page.items[1], "signed off", "Grace", "scan 1 by print 1 (head of the laboratory)",
                "sign-off", signed_off);
    expect_step(&page.items[2], "waiver withdrawn", "", "closed of print", "waiver", waived);
    expect_step(&page.items[3], "waiver added", "Ada", "closed of print until 2026-12-31: the base is open",
                "waiver", waived);
    expect_step(&page.items[4], "audit made", "", "scan 1 by print 1: conforms", "audit", audit);
    expect_step(&page.items[5], "file added", "", "scan 1: a.obj", "version", scan);
    struct store_step_page all = log_of(0);
    cr_expect_eq(all.total, 8);
    expect_step(&all.items[6], "spec added", "", "print 1", "spec", spec);
    cr_expect_str_eq(all.items[2].kind, "key first used");
}

Test(signoffs, log_is_read_in_pages)
{
    struct store_step_page page;
    cr_assert(store_step_list(folder.store, specimen, 1, NULL, &folder.arena, &page, &folder.err));
    cr_assert_eq(page.count, 1u);
    cr_expect_str_eq(page.items[0].kind, "audit made");
    cr_assert_not_null(page.next);
    cr_assert(store_step_list(folder.store, specimen, 1, page.next, &folder.arena, &page, &folder.err));
    cr_expect_str_eq(page.items[0].kind, "file added");
    cr_expect_null(page.next);
    cr_expect_not(store_step_list(folder.store, 99, 1, NULL, &folder.arena, &page, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
}

Test(signoffs, log_takes_steps_of_others)
{
    struct store_step step = {.specimen = specimen,
                              .kind = "handed over",
                              .who = "Ada",
                              .text = "to the printer",
                              .about = "audit",
                              .about_id = audit};
    cr_assert(store_step_add(folder.store, &step, &folder.err), "%s", folder.err.text);
    expect_step(&log_of(specimen).items[0], "handed over", "Ada", "to the printer", "audit", audit);
    step.specimen = 99;
    cr_expect_not(store_step_add(folder.store, &step, &folder.err));
}

Test(signoffs, log_and_sign_offs_cannot_be_changed_or_shortened)
{
    static const char *const attempts[] = {"UPDATE step SET who = 'Eve'", "DELETE FROM step",
                                           "UPDATE signoff SET signer = 'Eve'", "DELETE FROM signoff"};
    int64_t id;
    cr_assert(try_sign(audit, "Grace", &id));
    for (size_t i = 0; i < sizeof attempts / sizeof attempts[0]; i++)
        cr_expect_not(connection_exec(&folder.store->writer, attempts[i], &folder.err), "%s", attempts[i]);
    cr_expect_eq(log_of(specimen).total, 3);
}

Test(signoffs, signed_is_digests_of_what_is_there)
{
    struct store_signed is;
    cr_assert(store_signed_get(folder.store, audit, &folder.arena, &is, &folder.err), "%s", folder.err.text);
    cr_expect_eq(is.specimen, specimen);
    cr_expect_str_eq(is.catalogue_number, "A-1");
    cr_expect_eq(is.run, run);
    cr_expect_eq(is.file_count, 1u);
    cr_expect_str_eq(is.files[0].role, "subject");
    cr_expect_str_eq(is.files[0].kind, "scan");
    cr_expect_eq(is.files[0].bytes, 20);
    /* by sha256sum */
    cr_expect_str_eq(is.files[0].sha256, "c414ed48fb7620b31e85ae6fdf8047a791985b7ffd999bfd14aab2c7c6c66010");
    cr_expect_str_eq(is.record_sha256, "2669acf239e659e6969cd0f8a4efb06c50631842e424dd8cc43bf52bd6bf0aa8");
    cr_expect_str_eq(is.spec_sha256, "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a");
    cr_expect_str_eq(is.audit_sha256, "e346432021b04179518d9614f3560ccd71354a4ee101ddcb893d6959a9d6301c");
    cr_expect_not(store_signed_get(folder.store, 99, &folder.arena, &is, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
}

Test(signoffs, sign_keeps_every_byte)
{
    struct store_signoff kept;
    struct store_signoff_list list;
    struct seal_public key;
    struct seal_signature signature;
    int64_t id;
    cr_assert(try_sign(audit, "  Grace", &id), "%s", folder.err.text);
    cr_assert(store_signoff_get(folder.store, id, &folder.arena, &kept, &folder.err), "%s", folder.err.text);
    cr_expect_str_eq(kept.signer, "  Grace");
    cr_expect_eq(kept.audit, audit);
    cr_expect_eq(kept.specimen, specimen);
    cr_expect_str_eq(kept.created, "2026-11-28T12:00:00Z");
    cr_expect_null(kept.note);
    cr_assert(seal_public_read(kept.public_key, &key));
    cr_assert(seal_signature_read(kept.signature, &signature));
    cr_expect(seal_holds(&key, &signature, kept.statement, strlen(kept.statement)));
    cr_assert(store_signoff_list(folder.store, audit, &folder.arena, &list, &folder.err));
    cr_expect_eq(list.count, 1u);
    cr_expect_eq(list.items[0].id, id);
    cr_expect_not(store_signoff_list(folder.store, 99, &folder.arena, &list, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
}

Test(signoffs, sign_twice_by_one_name_is_refused_whatever_its_case_and_blanks)
{
    int64_t id;
    cr_assert(try_sign(audit, "Ada Lovelace", &id));
    expect_refused(audit, "ada  LOVELACE ", "this name has signed audit 1 already");
    cr_expect(try_sign(audit, "Grace", &id), "%s", folder.err.text);
}

Test(signoffs, sign_what_does_not_conform_is_refused)
{
    int64_t other = add_audit(&folder, run, add_spec(&folder, "cast", 1), "does not conform");
    expect_refused(other, "Ada", "does not conform");
    expect_refused(add_audit(&folder, run, add_spec(&folder, "archive", 1), "undecided"), "Ada", "undecided");
}

Test(signoffs, sign_beside_a_newer_run_is_refused)
{
    struct store_run_request again = {.version = scan, .again = true};
    int64_t found, job;
    cr_assert(store_run_request(folder.store, &again, &found, &job, &folder.err));
    run_next_job(&folder, 1, 0);
    expect_refused(audit, "Ada", "run 2 of scan 1 is newer than run 1");
}

Test(signoffs, sign_beside_a_newer_spec_or_audit_is_refused)
{
    int64_t next = add_spec(&folder, "print", 2);
    expect_refused(audit, "Ada", "version 2 of the spec \"print\" is newer than version 1");
    int64_t second = add_audit(&folder, run, next, "conforms");
    cr_expect(store_signoff_allowed(folder.store, second, "Ada", &folder.err), "%s", folder.err.text);
    add_audit(&folder, run, next, "undecided");
    expect_refused(second, "Ada", "audit 3 of the same run by the same spec is newer");
}

Test(signoffs, sign_of_a_withdrawn_version_is_refused)
{
    bool stale;
    cr_assert(store_version_withdraw(folder.store, scan, "wrong", "Ada", 0, &stale, &folder.err));
    expect_refused(audit, "Ada", "scan 1 is withdrawn");
}

Test(signoffs, sign_of_a_specimen_that_changed_meanwhile_is_refused)
{
    struct store_signoff_new late = {.audit = audit,
                                     .revision = specimen_of(&folder, specimen).revision,
                                     .signer = "Ada",
                                     .created = "2026-11-28T12:00:00Z",
                                     .statement = "{}"};
    const struct store_specimen_patch patch = {.title = "Another"};
    bool stale;
    int64_t id;
    cr_assert(store_specimen_change(folder.store, specimen, &patch, 0, &stale, &folder.err));
    cr_expect_not(store_signoff_add(folder.store, &late, &id, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_BUSY);
    late.signer = " ";
    cr_expect_not(store_signoff_add(folder.store, &late, &id, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
}

Test(signoffs, person_is_the_same_whatever_case_and_blanks)
{
    static const struct {
        const char *name, *other;
        bool same;
    } cases[] = {
        {"Ada Lovelace", "ADA LOVELACE", true},
        {"Ada Lovelace", " ada\xc2\xa0lovelace\xe2\x80\x8b", true},   /* no-break, zero-width */
        {"\xc3\x89mile \xc5\x81uk", "\xc3\xa9MILE \xc5\x82UK", true}, /* Latin-1, Latin Extended-A */
        {"\xce\xa3\xce\xaf\xce\xbc\xcf\x82", "\xcf\x83\xce\x8a\xce\x9c\xce\xa3", true}, /* Greek */
        {"\xd0\x96\xd1\x91\xd0\xbd\xd1\x8f", "\xd0\xb6\xd0\x81\xd0\x9d\xd0\xaf", true}, /* Cyrillic */
        {"\xe5\xb1\xb1\xe7\x94\xb0", "\xe5\xb1\xb1 \xe7\x94\xb0", true},                /* without case */
        {"Ada Lovelace", "Ada Lovelacf", false},
        {"\xc3\xb7", "\xc3\x97", false}, /* signs of division and multiplication */
        {"\xc4\xb1", "i", false},        /* the dotless i is a letter of its own */
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *one = store_person(cases[i].name, &folder.arena),
                   *other = store_person(cases[i].other, &folder.arena);
        cr_expect_eq(strcmp(one, other) == 0, cases[i].same, "%s and %s: %s, %s", cases[i].name,
                     cases[i].other, one, other);
    }
}

Test(signoffs, key_is_made_once_and_stays)
{
    struct seal_key first, second;
    struct seal_public public_key;
    bool found;
    cr_assert(store_key_public(folder.store, &public_key, &found, &folder.err));
    cr_expect_not(found);
    cr_assert(store_key_need(folder.store, &first, &folder.err), "%s", folder.err.text);
    folder_reopen(&folder);
    cr_assert(store_key_need(folder.store, &second, &folder.err));
    cr_assert(store_key_public(folder.store, &public_key, &found, &folder.err));
    cr_expect(found);
    cr_expect_arr_eq(first.secret, second.secret, 32);
    cr_expect_arr_eq(first.public_key.bytes, public_key.bytes, 32);
}

Test(signoffs, key_that_is_gone_is_not_replaced_where_it_has_signed)
{
    struct seal_key key;
    struct seal_public public_key;
    bool found;
    int64_t id;
    cr_assert(store_key_need(folder.store, &key, &folder.err));
    cr_assert_eq(unlink(path_in(&folder, "seal.pem")), 0);
    cr_expect(try_sign(audit, "Ada", &id), "nothing was signed with it: a new one is made");
    cr_assert_eq(unlink(path_in(&folder, "seal.pem")), 0);

    cr_expect_not(store_key_need(folder.store, &key, &folder.err));

    cr_expect_eq(folder.err.code, ERROR_STORE);
    cr_expect_not_null(strstr(folder.err.text, "put back the one of a backup"), "%s", folder.err.text);
    cr_expect_not_null(strstr(folder.err.text, "-out seal.pem"), "%s", folder.err.text);
    cr_expect_not(store_key_public(folder.store, &public_key, &found, &folder.err));
    cr_expect_neq(access(path_in(&folder, "seal.pem"), F_OK), 0);
}
