/* settings.h - what a run is made with, as the text that is kept beside it and is part of its request's key.
 *
 * "certify=0.0001 surface=2 ..."; of this room's business is only the first word, the wanted width of a
 * certified interval as a share of the reference's box diagonal. */
#ifndef STORE_SETTINGS_H
#define STORE_SETTINGS_H

#include <stdbool.h>

enum { STORE_SETTINGS_TEXT = 256 };

/* 0 where the text does not begin with it. */
double store_settings_certify(const char *settings);
/* The same settings with another certify; unchanged where they have none, or where certify is 0. */
void store_settings_write(const char *settings, double certify, char text[STORE_SETTINGS_TEXT]);
/* Whether they are the same but for certify. Both ends of a certified interval are certain whatever its
 * width, so such runs may be compared. */
bool store_settings_alike(const char *a, const char *b);

#endif
