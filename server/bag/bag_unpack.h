/* bag_unpack.h - a bag that was read, as files of a folder. */
#ifndef BAG_BAG_UNPACK_H
#define BAG_BAG_UNPACK_H

#include "bag/bag.h"

/* Into an empty folder; every file gets the bag's time. Nothing is written over,
 * no link is followed. ERROR_MACHINE. */
bool bag_unpack(const struct bag *bag, int folder_fd, struct error *err);

#endif
