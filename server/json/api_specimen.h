/* api_specimen.h - specimens, versions and uploads in pieces as API bodies. */
#ifndef JSON_API_SPECIMEN_H
#define JSON_API_SPECIMEN_H

#include "store/part.h"
#include "store/specimen.h"
#include "store/version.h"
#include "json/api_text.h"

bool api_specimen_write(const struct store_specimen *specimen, struct api_text *text, struct error *err);
bool api_specimens_write(const struct store_specimen_page *page, struct api_text *text, struct error *err);
bool api_version_write(const struct store_version *version, struct api_text *text, struct error *err);
bool api_versions_write(const struct store_version_page *page, struct api_text *text, struct error *err);
bool api_holders_write(const struct store_holder_page *page, struct api_text *text, struct error *err);
bool api_part_write(const struct store_part *part, struct api_text *text, struct error *err);

#endif
