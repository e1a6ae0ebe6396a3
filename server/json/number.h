/* number.h - a double as the shortest decimal text that reads back the same double.
 *
 * The text is that of ECMAScript's Number::toString (ECMA-262, 15th edition, section 6.1.6.1.20), which
 * RFC 8785 section 3.2.2.3 prescribes: the fewest digits, and among those the closest to the value. The same
 * in every locale. */
#ifndef JSON_NUMBER_H
#define JSON_NUMBER_H

#include <stddef.h>

#define NUMBER_TEXT_SIZE 32 /* the longest text has 25 characters: -0.000001234567890123456 and the like */

/* Writes x, terminated, and returns the length. NaN and the infinities, which JSON does not have, are "null";
 * -0 is "0". */
size_t number_write(double x, char text[NUMBER_TEXT_SIZE]);

#endif
