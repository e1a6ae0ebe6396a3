/* tag_file.h - the form of bagit.txt and bag-info.txt. */
#ifndef BAG_TAG_FILE_H
#define BAG_TAG_FILE_H

#include "bag/bag.h"
#include "bag/problems.h"

/* Adds what is wrong; errors as bag_check. */
bool tag_check_declaration(const struct bag *bag, struct arena *keep, struct bag_problems *problems,
                           struct error *err);
bool tag_check_info(const struct bag *bag, struct arena *keep, struct bag_problems *problems,
                    struct error *err);

#endif
