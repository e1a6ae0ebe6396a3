/* test_handoffs.c
 *   kept_*     what was handed over stays, and is read as it was
 *   made_*     what else the same transaction does: state, log, the outbox of hooks
 *   refused_*  nothing of it is done
 *   scratch_*  files without a name
 */
#include "store/handoffs.h"

#include "store/folder.h"
#include "store/hooks.h"
#include "store/inside.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char seal[] = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef";

static struct folder folder;
static int64_t specimen, run, audit;

static void begin(void)
{
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
    add_version(&folder, specimen, "scan", 0, "some bytes of a scan");
    run = run_next_job(&folder, 1, 0);
    audit = add_audit(&folder, run, add_spec(&folder, "print", 1), "conforms");
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(handoffs, .init = begin, .fini = end);

static struct store_upload *upload_of(const char *bytes)
{
    struct store_upload *upload;
    cr_assert(store_upload_begin(folder.store, strlen(bytes), &upload, &folder.err)
                  && store_upload_write(upload, bytes, strlen(bytes), &folder.err)
                  && store_upload_finish(upload, NULL, &folder.err),
              "%s", folder.err.text);
    return upload;
}

static struct store_handoff_new wanted(void)
{
    return (struct store_handoff_new){.audit = audit,
                                      .specimen = specimen,
                                      .revision = specimen_of(&folder, specimen).revision,
                                      .name = "A-1 scan 1",
                                      .by = "Ines Quill",
                                      .seal = seal};
}

static bool try_hand_over(const struct store_handoff_new *handoff, const char *zip, int64_t *id)
{
    struct store_upload *upload = upload_of(zip);
    bool ok = store_handoff_add(folder.store, handoff, upload, id, &folder.err);
    store_upload_close(upload);
    return ok;
}

static int64_t hand_over(const char *zip)
{
    struct store_handoff_new handoff = wanted();
    int64_t id;
    cr_assert(try_hand_over(&handoff, zip, &id), "%s", folder.err.text);
    return id;
}

static struct store_handoff handoff_of(int64_t id)
{
    struct store_handoff handoff;
    cr_assert(store_handoff_get(folder.store, id, &folder.arena, &handoff, &folder.err), "%s",
              folder.err.text);
    return handoff;
}

static struct store_handoff_list handoffs_of(int64_t of_audit)
{
    struct store_handoff_list list;
    cr_assert(store_handoff_list(folder.store, of_audit, &folder.arena, &list, &folder.err), "%s",
              folder.err.text);
    return list;
}

static struct store_step last_step(void)
{
    struct store_step_page page;
    cr_assert(store_step_list(folder.store, specimen, 1, NULL, &folder.arena, &page, &folder.err));
    return page.items[0];
}

static int64_t count_of(const char *sql)
{
    int64_t count;
    cr_assert(connection_number(&folder.store->writer, sql, &count, &folder.err), "%s", folder.err.text);
    return count;
}

Test(handoffs, kept_is_read_as_it_was_handed_over_after_a_restart_too)
{
    int64_t id = hand_over("bytes of a zip");
    folder_reopen(&folder);
    struct store_handoff handoff = handoff_of(id);
    cr_expect_eq(handoff.id, id);
    cr_expect_eq(handoff.audit, audit);
    cr_expect_eq(handoff.specimen, specimen);
    cr_expect_eq(handoff.bytes, 14);
    cr_expect_str_eq(handoff.name, "A-1 scan 1");
    cr_expect_str_eq(handoff.by, "Ines Quill");
    cr_expect_str_eq(handoff.seal, seal);
    cr_expect_eq(strlen(handoff.created), 20u);
    /* by sha256sum */
    cr_expect_str_eq(handoff.sha256, "8a5db8864f6a4d0880756c21d47b92c64580ec3fa54f2c21e6f7e44a72849578");
}

Test(handoffs, kept_are_listed_of_their_audit_newest_first)
{
    int64_t other = add_audit(&folder, run, add_spec(&folder, "cast", 1), "conforms");
    int64_t first = hand_over("one zip"), second = hand_over("another zip");
    struct store_handoff_list list = handoffs_of(audit);
    cr_assert_eq(list.count, 2u);
    cr_expect_eq(list.items[0].id, second);
    cr_expect_eq(list.items[1].id, first);
    cr_expect_eq(handoffs_of(other).count, 0u);
}

Test(handoffs, kept_zips_of_the_same_bytes_are_stored_once)
{
    hand_over("the same zip");
    hand_over("the same zip");
    cr_expect_eq(handoffs_of(audit).count, 2u);
    cr_expect_eq(count_of("SELECT count(DISTINCT blob) FROM handoff"), 1);
}

Test(handoffs, kept_zips_are_hashed_when_the_folder_is_verified)
{
    struct store_handoff handoff = handoff_of(hand_over("bytes of a zip"));
    char path[256];
    snprintf(path, sizeof path, "%s/blobs/%.2s/%.2s/%s", folder.path, handoff.sha256, handoff.sha256 + 2,
             handoff.sha256);
    cr_expect_eq(verify_folder(&folder).figures.findings, 0u);
    flip_byte(path, 3);
    struct verdict verdict = verify_folder(&folder);
    cr_expect_eq(verdict.figures.findings, 1u);
    cr_expect(strstr(verdict.first_finding, handoff.sha256), "%s", verdict.first_finding);
}

Test(handoffs, kept_cannot_be_changed_or_removed)
{
    static const char *const attempts[] = {"UPDATE handoff SET by = 'Eve'", "DELETE FROM handoff"};
    hand_over("bytes of a zip");
    for (size_t i = 0; i < sizeof attempts / sizeof attempts[0]; i++)
        cr_expect_not(connection_exec(&folder.store->writer, attempts[i], &folder.err), "%s", attempts[i]);
    cr_expect_eq(handoffs_of(audit).count, 1u);
}

Test(handoffs, made_hands_the_specimen_over_and_tells_the_log_who_did)
{
    struct store_specimen before = specimen_of(&folder, specimen);
    int64_t id = hand_over("bytes of a zip");
    struct store_specimen after = specimen_of(&folder, specimen);
    cr_expect_str_eq(before.state, "in work");
    cr_expect_str_eq(after.state, "handed over");
    cr_expect_gt(after.revision, before.revision);
    struct store_step step = last_step();
    cr_expect_str_eq(step.kind, "handed over");
    cr_expect_str_eq(step.who, "Ines Quill");
    cr_expect_str_eq(step.text, "A-1 scan 1");
    cr_expect_str_eq(step.about, "handoff");
    cr_expect_eq(step.about_id, id);
}

Test(handoffs, made_is_put_into_the_outbox_of_hooks_that_want_it)
{
    struct store_hook_new added = {"https://example.org/", " handoff ", "sixteen letters."};
    int64_t hook, next_ms, id = 0;
    struct store_delivery delivery;
    bool found;
    cr_assert(store_hook_add(folder.store, &added, &hook, &folder.err), "%s", folder.err.text);
    id = hand_over("bytes of a zip");
    cr_assert(store_delivery_due(folder.store, 0, &folder.arena, &delivery, &found, &next_ms, &folder.err));
    cr_assert(found);
    cr_expect_eq(delivery.hook, hook);
    char wanted_id[40];
    snprintf(wanted_id, sizeof wanted_id, "\"%lld\"", (long long)id);
    cr_expect(strstr(delivery.body, "handoff") && strstr(delivery.body, wanted_id), "%s", delivery.body);
}

/* --- refused --- */

static void expect_nothing_done(enum error_code code, const char *text)
{
    cr_expect_eq(folder.err.code, code, "%s", folder.err.text);
    cr_expect(strstr(folder.err.text, text), "%s", folder.err.text);
    cr_expect_str_eq(specimen_of(&folder, specimen).state, "in work");
    cr_expect_str_eq(last_step().kind, "audit made");
    cr_expect_eq(count_of("SELECT count(*) FROM handoff"), 0);
}

Test(handoffs, refused_where_the_specimen_changed_meanwhile)
{
    struct store_handoff_new handoff = wanted();
    int64_t id;
    add_version(&folder, specimen, "scan", 0, "a better scan");
    cr_expect_not(try_hand_over(&handoff, "bytes of a zip", &id));
    cr_expect_eq(folder.err.code, ERROR_BUSY);
    cr_expect(strstr(folder.err.text, "changed while it was handed over"), "%s", folder.err.text);
    cr_expect_str_eq(specimen_of(&folder, specimen).state, "in work");
    cr_expect_eq(handoffs_of(audit).count, 0u);
}

Test(handoffs, refused_without_a_name_of_one_line)
{
    char longest[STORE_BY_MAX + 2];
    const char *const names[] = {"", "Ines\nQuill", longest};
    struct store_handoff_new handoff = wanted();
    int64_t id;
    memset(longest, 'x', sizeof longest);
    longest[STORE_BY_MAX + 1] = '\0';
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        handoff.by = names[i];
        cr_expect_not(try_hand_over(&handoff, "bytes of a zip", &id), "%zu", i);
        expect_nothing_done(ERROR_USAGE, "name of who hands over");
    }
    longest[STORE_BY_MAX] = '\0';
    cr_expect(try_hand_over(&handoff, "bytes of a zip", &id), "%s", folder.err.text);
}

Test(handoffs, refused_before_the_zip_is_whole)
{
    struct store_handoff_new handoff = wanted();
    struct store_upload *upload;
    int64_t id;
    cr_assert(store_upload_begin(folder.store, 3, &upload, &folder.err));
    cr_assert(store_upload_write(upload, "zip", 3, &folder.err));
    cr_expect_not(store_handoff_add(folder.store, &handoff, upload, &id, &folder.err));
    store_upload_close(upload);
    expect_nothing_done(ERROR_USAGE, "not finished");
}

Test(handoffs, refused_where_there_is_no_such_audit)
{
    struct store_handoff handoff;
    struct store_handoff_list list;
    cr_expect_not(store_handoff_list(folder.store, 99, &folder.arena, &list, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    cr_expect_not(store_handoff_get(folder.store, 99, &folder.arena, &handoff, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    struct store_handoff_new wrong = wanted();
    int64_t id;
    wrong.audit = 99;
    cr_expect_not(try_hand_over(&wrong, "bytes of a zip", &id));
    expect_nothing_done(ERROR_CONFLICT, "contradicts what is stored");
}

/* --- files without a name --- */

static size_t files_in_uploads(void)
{
    size_t count = 0;
    DIR *uploads = opendir(path_in(&folder, "uploads"));
    cr_assert(uploads != NULL);
    for (struct dirent *entry; (entry = readdir(uploads));)
        count += entry->d_name[0] != '.';
    closedir(uploads);
    return count;
}

Test(handoffs, scratch_file_is_read_and_written_and_has_no_name)
{
    char read_back[4] = "";
    struct stat is;
    int fd;
    cr_assert(store_scratch_file(folder.store, 100, &fd, &folder.err), "%s", folder.err.text);
    cr_assert_eq(pwrite(fd, "zip", 3, 0), 3);
    cr_assert_eq(pread(fd, read_back, 3, 0), 3);
    cr_expect_str_eq(read_back, "zip");
    cr_assert_eq(fstat(fd, &is), 0);
    cr_expect_eq(is.st_nlink, 0u);
    cr_expect_eq(is.st_mode & 0777, 0600u);
    cr_expect_eq(files_in_uploads(), 0u);
    close(fd);
}

Test(handoffs, scratch_file_is_refused_where_it_would_eat_into_the_reserve)
{
    int fd;
    cr_expect_not(store_scratch_file(folder.store, UINT64_MAX / 2, &fd, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_MACHINE);
    cr_expect(strstr(folder.err.text, "not enough free disk"), "%s", folder.err.text);
    cr_expect_eq(fd, -1);
}
