/* bag.h - a bag from elsewhere, read into one private file: nothing in it is believed, and no name of it ever
 * reaches the file system.
 *
 * All files lie one after the other in the spool, a file without a name that the caller opened. What is
 * looked at afterwards is that copy, so that nothing can change between being hashed and being used. */
#ifndef BAG_BAG_H
#define BAG_BAG_H

#include "base/arena.h"
#include "base/digest.h"
#include "base/sha512.h"

struct bag_limits {
    size_t files;
    uint64_t bytes; /* of all files, unpacked */
    uint64_t ratio; /* unpacked to packed, of one file */
};
/* 10,000 files, 64 GiB, 200: common practice, no source. */
struct bag_limits bag_limits_default(void);

struct bag_file {
    const char *path;       /* below the bag's folder, as bag_path_check has it */
    uint64_t bytes, offset; /* in the spool */
    char sha256[DIGEST_HEX_SIZE], sha512[SHA512_HEX_SIZE];
    const char *damage; /* how the container says that its bytes are not what was put in; NULL: it does not */
};
struct bag {
    int spool_fd;     /* the caller's */
    const char *name; /* of the bag's folder; "" where a folder was opened */
    int64_t time_s;   /* of its first file in the zip, in seconds since 1970; 0 where a folder was opened */
    size_t count;
    struct bag_file *files; /* by path, as strcmp orders */
};

/* The zip must hold one folder with the bag. Refused, with what, where and what to do: ERROR_SYNTAX where it
 * is no sound zip (its directory and what it lists disagree, entries overlap, bytes belong to none),
 * ERROR_TYPE for what is encrypted or packed otherwise than stored or deflated, ERROR_DATA for names
 * (bag_path_check; the same name twice, also by case alone) and for what is no plain file, ERROR_LIMIT beyond
 * the limits, looked at before anything is unpacked; ERROR_MACHINE. */
bool bag_open_zip(int zip_fd, int spool_fd, const struct bag_limits *limits, struct arena *keep,
                  struct bag *bag, struct error *err);
/* The same of a folder: ERROR_DATA for symbolic links, files with several names, devices and the like. */
bool bag_open_folder(int folder_fd, int spool_fd, const struct bag_limits *limits, struct arena *keep,
                     struct bag *bag, struct error *err);

/* NULL: there is none. */
const struct bag_file *bag_find(const struct bag *bag, const char *path);
/* All of a file and a terminating zero that is not counted; ERROR_LIMIT beyond most bytes. */
bool bag_read(const struct bag *bag, const struct bag_file *file, uint64_t most, struct arena *keep,
              const char **bytes, struct error *err);
/* Into an open file, from its start, in place of what it held. */
bool bag_copy(const struct bag *bag, const struct bag_file *file, int fd, struct error *err);

#endif
