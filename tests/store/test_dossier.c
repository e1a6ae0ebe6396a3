/* test_dossier.c
 *   dossier_*  what is kept of an audit, read together, also beside the store's owner; what is missing */
#include "store/beside.h"
#include "store/dossier.h"
#include "store/folder.h"

#include <criterion/criterion.h>
#include <string.h>
#include <unistd.h>

#define BODY "{\"schema\":\"fettle/audit/1\"}\n"

static struct folder folder;
static int64_t specimen, scan, cage, audit;

static void add_waiver(const char *spec, const char *rule, const char *expires, bool withdrawn)
{
    struct store_waiver waiver = {.specimen = specimen,
                                  .spec_name = spec,
                                  .rule = rule,
                                  .reason = "because",
                                  .author = "A. Author",
                                  .expires = expires};
    int64_t id;
    cr_assert(store_waiver_add(folder.store, &waiver, &id, &folder.err), "%s", folder.err.text);
    if (withdrawn)
        cr_assert(store_waiver_withdraw(folder.store, id, &folder.err), "%s", folder.err.text);
}

static void begin(void)
{
    struct store_spec_new spec = {.name = "House", .version = 1, .body = "{}"};
    struct store_audit_new made = {.outcome = "conforms", .body = BODY};
    bool created;
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
    scan = add_version(&folder, specimen, "scan", 0, "some bytes of a scan");
    run_next_job(&folder, 1, 0);
    cage = add_version(&folder, specimen, "cage", scan, "some bytes of a cage");
    made.run = run_next_job(&folder, 2, 0);
    memset(spec.sha256, 'a', sizeof spec.sha256 - 1);
    memset(made.sha256, 'b', sizeof made.sha256 - 1);
    cr_assert(store_spec_add(folder.store, &spec, &made.spec, &created, &folder.err), "%s", folder.err.text);
    add_waiver("house", "closed", "9999-12-31", false);
    add_waiver("House", "ran-out", "2001-12-31", false);
    add_waiver("Other", "closed", "9999-12-31", false);
    cr_assert(store_audit_add(folder.store, &made, &audit, &created, &folder.err), "%s", folder.err.text);
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(dossier, .init = begin, .fini = end);

static void expect_whole(const struct store_dossier *dossier)
{
    cr_expect_str_eq(dossier->audit.body, BODY);
    cr_expect_str_eq(dossier->spec.body, "{}");
    cr_expect_str_eq(dossier->specimen.catalogue_number, "A-1");
    cr_expect_eq(dossier->subject.id, cage);
    cr_expect_eq(dossier->reference.id, scan);
    cr_expect_eq(dossier->record_bytes, strlen(dossier->record));
    cr_expect_eq(dossier->waiver_count, 1);
    cr_expect_str_eq(dossier->waivers[0].rule, "closed");
}

Test(dossier, dossier_holds_all_that_an_audit_rests_on)
{
    struct store_dossier dossier;
    cr_assert(store_dossier_get(folder.store, audit, &folder.arena, &dossier, &folder.err), "%s",
              folder.err.text);
    expect_whole(&dossier);
}

Test(dossier, dossier_is_read_beside_the_owner)
{
    struct store_dossier dossier;
    struct store *store;
    uint64_t bytes;
    int fd;
    cr_assert(store_open_beside(folder.path, &store, &folder.err), "%s", folder.err.text);
    cr_assert(store_dossier_get(store, audit, &folder.arena, &dossier, &folder.err), "%s", folder.err.text);
    expect_whole(&dossier);
    cr_assert(store_blob_open(store, dossier.subject.sha256, &fd, &bytes, &folder.err), "%s",
              folder.err.text);
    cr_expect_eq(bytes, strlen("some bytes of a cage"));
    close(fd);
    store_close(store);
}

Test(dossier, dossier_of_no_audit_is_not_found)
{
    struct store_dossier dossier;
    cr_expect_not(store_dossier_get(folder.store, audit + 1, &folder.arena, &dossier, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND, "%s", folder.err.text);
}
