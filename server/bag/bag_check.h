/* bag_check.h - the rules of BagIt 1.0 (RFC 8493) for a bag that is read, and what a handoff asks beyond.
 *
 * Complete and valid as section 3 has it: bagit.txt (2.1.1), a payload (2.1.2), payload manifests that list
 * every file of it once and nothing else (2.1.3), tag manifests (2.2.1), bag-info.txt with Payload-Oxum
 * (2.2.2), no fetch.txt (2.2.3). Beyond: both algorithms, sha256 and sha512, for payload and tag files; every
 * tag file but the tag manifests is listed; nothing is to be fetched. */
#ifndef BAG_BAG_CHECK_H
#define BAG_BAG_CHECK_H

#include "bag/bag.h"
#include "bag/problems.h"

/* Adds what is wrong to problems (whose arena may be keep); false only with ERROR_LIMIT, where a tag file is
 * longer than any of a handoff (16 MiB), or ERROR_MACHINE. */
bool bag_check(const struct bag *bag, struct arena *keep, struct bag_problems *problems, struct error *err);

#endif
