/* bag_unpack.h - a bag that was read, as files of a folder. */
#ifndef BAG_BAG_UNPACK_H
#define BAG_BAG_UNPACK_H

#include "bag/bag.h"

/* Into an empty folder; every file gets that time of change, in seconds since 1970. Nothing is written over,
 * no link is followed. ERROR_MACHINE. */
bool bag_unpack(const struct bag *bag, int folder_fd, int64_t time_s, struct error *err);

#endif
