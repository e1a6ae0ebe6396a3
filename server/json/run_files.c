/* run_files.c - record and fields on disk, each file whole or absent. */
#include "json/run_files.h"

#include "json/run_json.h"
#include "json/tree.h"
#include "json/writer.h"

#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* A file on its way into a folder under a name that nobody looks for. */
struct new_file {
    int folder_fd, fd;
    char name[256], own_name[300];
};

static bool fail(struct error *err, const char *doing, const char *name)
{
    return error_set(err, ERROR_MACHINE, "cannot %s '%s': %s", doing, name, strerror(errno));
}

static bool begin_file(int folder_fd, const char *name, struct new_file *file, struct error *err)
{
    *file = (struct new_file){.folder_fd = folder_fd};
    snprintf(file->name, sizeof file->name, "%s", name);
    snprintf(file->own_name, sizeof file->own_name, ".%s.%ld.tmp", file->name, (long)getpid());
    file->fd = openat(folder_fd, file->own_name, O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0666);
    return file->fd >= 0 || fail(err, "write", name);
}

static bool write_all(struct new_file *file, const void *bytes, size_t count, struct error *err)
{
    const char *at = bytes;
    while (count) {
        ssize_t written = write(file->fd, at, count);
        if (written < 0 && errno == EINTR)
            continue;
        if (written <= 0)
            return fail(err, "write", file->name);
        at += written;
        count -= (size_t)written;
    }
    return true;
}

/* Gives the file its name when ok, else removes it; false unless it is there, whole, afterwards. */
static bool end_file(struct new_file *file, bool ok, struct error *err)
{
    if (ok && fsync(file->fd) != 0)
        ok = fail(err, "write", file->name);
    if (close(file->fd) != 0 && ok)
        ok = fail(err, "write", file->name);
    if (ok && renameat(file->folder_fd, file->own_name, file->folder_fd, file->name) != 0)
        ok = fail(err, "name", file->name);
    if (!ok)
        unlinkat(file->folder_fd, file->own_name, 0);
    return ok;
}

bool run_file_save(int folder_fd, const char *name, const void *bytes, size_t count, struct error *err)
{
    struct new_file file;
    return begin_file(folder_fd, name, &file, err)
           && end_file(&file, write_all(&file, bytes, count, err), err);
}

bool run_record_save(const struct run *run, int folder_fd, const char *name, struct error *err)
{
    char *text = NULL;
    size_t size;
    bool ok = run_record_text(run, &text, &size, err) && run_file_save(folder_fd, name, text, size, err);

    free(text);
    return ok;
}

static bool write_values(struct new_file *file, const double *values, size_t count, struct error *err)
{
    uint64_t block[1024];
    for (size_t done = 0; done < count;) {
        size_t now = count - done < 1024 ? count - done : 1024;
        memcpy(block, values + done, now * sizeof *block);
        for (size_t i = 0; i < now; i++)
            block[i] = htole64(block[i]);
        if (!write_all(file, block, now * sizeof *block, err))
            return false;
        done += now;
    }
    return true;
}

static bool save_field(const struct deviation_field *field, int folder_fd, struct error *err)
{
    struct new_file file;
    char name[64];
    snprintf(name, sizeof name, "%s.bin", field->name);
    return begin_file(folder_fd, name, &file, err)
           && end_file(&file, write_values(&file, field->values, field->count, err), err);
}

static json_t *fields_json(const struct deviation_fields *fields, struct tree *tree)
{
    json_t *document = tree_object(tree), *list = tree_array(tree);
    for (size_t i = 0; i < fields->count; i++) {
        const struct deviation_field *field = &fields->fields[i];
        json_t *entry = tree_object(tree);
        char file[64];
        snprintf(file, sizeof file, "%s.bin", field->name);
        tree_put_text(tree, entry, "name", field->name);
        tree_put_text(tree, entry, "file", file);
        tree_put_text(tree, entry, "mesh", field->of_reference ? "reference" : "subject");
        tree_put_text(tree, entry, "per", field->per_face ? "face" : "vertex");
        tree_put_count(tree, entry, "count", field->count);
        tree_put_text(tree, entry, "type", "float64-le");
        tree_append(tree, list, entry);
    }
    tree_put_text(tree, document, "mesh", "subject");
    tree_put(tree, document, "fields", list);
    return document;
}

bool run_fields_save(const struct run *run, int folder_fd, struct error *err)
{
    struct tree tree = {false};
    json_t *document = NULL;
    char *text = NULL;
    size_t size;
    bool ok = false;

    for (size_t i = 0; i < run->fields.count; i++)
        if (!save_field(&run->fields.fields[i], folder_fd, err))
            goto out;
    document = fields_json(&run->fields, &tree);
    if (tree.failed) {
        error_set(err, ERROR_MACHINE, "memory is out while writing fields.json");
        goto out;
    }
    ok = writer_dump(document, WRITER_PRETTY, &text, &size, err)
         && run_file_save(folder_fd, "fields.json", text, size, err);

out:
    free(text);
    json_decref(document);
    return ok;
}
