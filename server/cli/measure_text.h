/* measure_text.h - one value of a run as people read it: digits no finer than what is known.
 *
 * Counts are set in groups of three. Lengths have up to four significant digits. An interval is rounded
 * outward to the digit after the first in which its ends differ. A value with a half-width is cut where the
 * half-width, rounded up to one digit, stands. What is not defined is a dash. UTF-8; a unit is never part of
 * the text. */
#ifndef CLI_MEASURE_TEXT_H
#define CLI_MEASURE_TEXT_H

#include <stddef.h>

#define MEASURE_TEXT_SIZE 96

void measure_text_count(double count, char text[MEASURE_TEXT_SIZE]);
void measure_text_value(double value, char text[MEASURE_TEXT_SIZE]);
/* lower <= upper */
void measure_text_interval(double lower, double upper, char text[MEASURE_TEXT_SIZE]);
void measure_text_halfwidth(double value, double halfwidth, char text[MEASURE_TEXT_SIZE]);
void measure_text_share(double share, char text[MEASURE_TEXT_SIZE]); /* in percent, without the sign */
void measure_text_bytes(size_t bytes, char text[MEASURE_TEXT_SIZE]); /* with its unit: "4.2 MiB" */

/* Columns that UTF-8 text takes on a terminal, every character being one wide. */
size_t measure_text_width(const char *text);

#endif
