/* spool.h - the private file that a bag is read into; bag.h tells why. */
#ifndef BAG_SPOOL_H
#define BAG_SPOOL_H

#include "bag/bag.h"

struct spool {
    int fd;
    uint64_t at, most;
    struct bag_file *file; /* being written */
    struct digest sha256;
    struct sha512 sha512;
};

void spool_begin(struct spool *spool, struct bag_file *file);
/* ERROR_LIMIT beyond most bytes in all; ERROR_MACHINE. */
bool spool_add(struct spool *spool, const void *bytes, size_t count, struct error *err);
void spool_end(struct spool *spool);

/* Sorts the files and refuses names that stand twice, or once as a file and once as a folder. */
bool bag_settle(struct bag *bag, struct arena scratch, struct error *err);

#endif
