/* number_lines.c - number_write for a test in another language: bit patterns of doubles in, 16 hex digits a
 * line; texts out, one a line. */
#include "json/number.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

int main(void)
{
    uint64_t bits;
    char text[NUMBER_TEXT_SIZE];

    while (scanf("%" SCNx64, &bits) == 1) {
        double x;
        memcpy(&x, &bits, sizeof x);
        number_write(x, text);
        puts(text);
    }
    return 0;
}
