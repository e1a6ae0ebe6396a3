/* bag_check.c - files and manifests against one another. */
#include "bag/bag_check.h"

#include "bag/manifest.h"
#include "bag/tag_file.h"

#include <string.h>

/* The two manifests of the payload, or of the tag files. */
struct pair {
    struct manifest both[2]; /* sha256, sha512 */
};

static bool read_pair(const struct bag *bag, const char *const paths[2], struct arena *keep,
                      struct pair *pair, struct bag_problems *problems, struct error *err)
{
    for (size_t i = 0; i < 2; i++) {
        if (!manifest_read(bag, paths[i], keep, &pair->both[i], problems, err))
            return false;
        if (!pair->both[i].is_there)
            bag_problem_add(problems, BAG_COMPLETE, paths[i],
                            "is missing: a handoff lists its files by sha256 and by sha512");
    }
    return true;
}

/* Where one manifest knows better, the fault is the other's. */
static void blame_missing(const struct pair *pair, struct bag_problems *problems)
{
    for (size_t i = 0; i < 2; i++) {
        const struct manifest *one = &pair->both[i], *other = &pair->both[1 - i];
        for (size_t k = 0; k < one->missing_count; k++) {
            const char *path = one->missing[k];
            bool alone = other->is_there && !manifest_misses(other, path);
            if (alone)
                bag_problem_add(problems, BAG_COMPLETE, one->path,
                                "lists '%.200s', which is neither there nor in %s", path, other->path);
            else if (i == 0 || !other->is_there)
                bag_problem_add(problems, BAG_COMPLETE, path, "is listed, but missing");
        }
    }
}

static void blame_file(const struct bag_file *file, const struct pair *pair, size_t f,
                       struct bag_problems *problems)
{
    for (size_t i = 0; i < 2; i++) {
        const struct manifest *one = &pair->both[i], *other = &pair->both[1 - i];
        enum listing here = one->is_there ? one->listings[f] : LISTED_RIGHT;
        bool other_is_right = other->is_there && other->listings[f] == LISTED_RIGHT;
        if (here == LISTED_WRONG && other_is_right)
            bag_problem_add(problems, BAG_VALID, one->path,
                            "has another digest of '%.200s' than it has, while %s has the right one",
                            file->path, other->path);
        else if (here == LISTED_WRONG)
            bag_problem_add(problems, BAG_VALID, file->path, "its bytes changed: they are not what %s says",
                            one->path);
        else if (here == LISTED_NOT && other_is_right)
            bag_problem_add(problems, BAG_COMPLETE, one->path, "does not list '%.200s'", file->path);
        else if (here == LISTED_NOT)
            bag_problem_add(problems, BAG_COMPLETE, file->path, "is there, but %s does not list it",
                            one->path);
    }
}

static bool is_tag_manifest(const char *path)
{
    return strncmp(path, "tagmanifest-", 12) == 0;
}

/* md5 and others would leave bytes that nobody looked at. */
static bool is_unknown_manifest(const char *path)
{
    const char *algorithm = strncmp(path, "manifest-", 9) == 0       ? path + 9
                            : strncmp(path, "tagmanifest-", 12) == 0 ? path + 12
                                                                     : NULL;
    return algorithm && strcmp(algorithm, "sha256.txt") != 0 && strcmp(algorithm, "sha512.txt") != 0;
}

static void check_file(const struct bag *bag, size_t f, const struct pair *payload, const struct pair *tags,
                       struct bag_problems *problems)
{
    const struct bag_file *file = &bag->files[f];
    if (file->damage)
        bag_problem_add(problems, BAG_VALID, file->path, "%s", file->damage);
    if (is_unknown_manifest(file->path))
        bag_problem_add(problems, BAG_VALID, file->path,
                        "is a manifest of another form than sha256 or sha512, which is not checked here");
    if (!is_tag_manifest(file->path))
        blame_file(file, strncmp(file->path, "data/", 5) == 0 ? payload : tags, f, problems);
}

static void check_form(const struct bag *bag, struct bag_problems *problems)
{
    size_t payload = 0;
    for (size_t f = 0; f < bag->count; f++)
        payload += strncmp(bag->files[f].path, "data/", 5) == 0;
    if (payload == 0)
        bag_problem_add(problems, BAG_COMPLETE, "data", "there is no file in data/");
    if (bag_find(bag, "fetch.txt"))
        bag_problem_add(problems, BAG_COMPLETE, "fetch.txt",
                        "names files to be fetched from elsewhere: a handoff holds all of its files, and "
                        "nothing is fetched");
}

bool bag_check(const struct bag *bag, struct arena *keep, struct bag_problems *problems, struct error *err)
{
    static const char *const payload_paths[] = {"manifest-sha256.txt", "manifest-sha512.txt"};
    static const char *const tag_paths[] = {"tagmanifest-sha256.txt", "tagmanifest-sha512.txt"};
    struct pair payload, tags;
    check_form(bag, problems);
    if (!tag_check_declaration(bag, keep, problems, err) || !tag_check_info(bag, keep, problems, err)
        || !read_pair(bag, payload_paths, keep, &payload, problems, err)
        || !read_pair(bag, tag_paths, keep, &tags, problems, err))
        return false;
    blame_missing(&payload, problems);
    blame_missing(&tags, problems);
    for (size_t f = 0; f < bag->count; f++)
        check_file(bag, f, &payload, &tags, problems);
    return true;
}
