/* measure_text.c - rounding for the eye, always to the safe side where a value is certified. */
#include "cli/measure_text.h"

#include <fenv.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define DASH "\xe2\x80\x94"  /* not defined */
#define RANGE "\xe2\x80\x93" /* between the ends of an interval */
#define MINUS "\xe2\x88\x92" /* U+2212 */
#define PLUS_MINUS " \xc2\xb1 "
#define GROUP_SPACE "\xe2\x80\xaf" /* narrow no-break space */

enum { DECIMALS_MAX = 9 }; /* finer values are set with a power of ten */

size_t measure_text_width(const char *text)
{
    size_t width = 0;
    for (; *text; text++)
        width += ((unsigned char)*text & 0xc0) != 0x80;
    return width;
}

/* Sets a true minus and groups the whole part from four digits on. plain is what printf made. */
static void dress(const char *plain, char text[MEASURE_TEXT_SIZE])
{
    size_t at = 0;
    if (*plain == '-') {
        memcpy(text, MINUS, 3);
        at = 3;
        plain++;
    }
    size_t whole = strspn(plain, "0123456789");
    for (size_t i = 0; i < whole; i++) {
        if (i && whole > 3 && (whole - i) % 3 == 0) {
            memcpy(text + at, GROUP_SPACE, 3);
            at += 3;
        }
        text[at++] = plain[i];
    }
    snprintf(text + at, MEASURE_TEXT_SIZE - at, "%s", plain + whole);
}

/* printf rounds as the floating-point environment says. */
static void set_decimals(double value, int decimals, int rounding, char text[MEASURE_TEXT_SIZE])
{
    char plain[64];
    int usual = fegetround();
    fesetround(rounding);
    if (fabs(value) >= 1e15)
        snprintf(plain, sizeof plain, "%.3e", value);
    else
        snprintf(plain, sizeof plain, "%.*f", decimals, value);
    fesetround(usual);
    dress(plain, text);
}

static void set_power(double value, int digits, int rounding, char text[MEASURE_TEXT_SIZE])
{
    char plain[64];
    int usual = fegetround();
    fesetround(rounding);
    snprintf(plain, sizeof plain, "%.*e", digits - 1, value);
    fesetround(usual);
    dress(plain, text);
}

/* "0.500" becomes "0.5", "2.000" becomes "2". */
static void drop_zeros(char *text)
{
    size_t end = strlen(text);
    while (text[end - 1] == '0')
        end--;
    text[end - (text[end - 1] == '.')] = '\0';
}

static int leading_place(double value)
{
    return (int)floor(log10(fabs(value)));
}

void measure_text_count(double count, char text[MEASURE_TEXT_SIZE])
{
    if (isnan(count))
        strcpy(text, DASH);
    else
        set_decimals(count, 0, FE_TONEAREST, text);
}

void measure_text_value(double value, char text[MEASURE_TEXT_SIZE])
{
    if (isnan(value))
        strcpy(text, DASH);
    else if (value == 0)
        strcpy(text, "0");
    else if (leading_place(value) < 3 - DECIMALS_MAX)
        set_power(value, 4, FE_TONEAREST, text);
    else
        set_decimals(value, leading_place(value) < 3 ? 3 - leading_place(value) : 0, FE_TONEAREST, text);
    if (strchr(text, '.') && !strchr(text, 'e'))
        drop_zeros(text);
}

/* The number of decimals at which both ends, rounded down, first differ; -1 when only later ones tell. */
static int telling_decimals(double lower, double upper)
{
    char a[MEASURE_TEXT_SIZE], b[MEASURE_TEXT_SIZE];
    for (int decimals = 0; decimals < DECIMALS_MAX; decimals++) {
        set_decimals(lower, decimals, FE_DOWNWARD, a);
        set_decimals(upper, decimals, FE_DOWNWARD, b);
        if (strcmp(a, b) != 0)
            return decimals;
    }
    return -1;
}

void measure_text_interval(double lower, double upper, char text[MEASURE_TEXT_SIZE])
{
    char a[MEASURE_TEXT_SIZE], b[MEASURE_TEXT_SIZE];

    if (isnan(lower) || isnan(upper)) {
        strcpy(text, DASH);
        return;
    }
    int decimals = telling_decimals(lower, upper);
    if (lower == upper) {
        measure_text_value(lower, text);
        return;
    }
    int place = leading_place(fmax(fabs(lower), fabs(upper)));
    if (decimals >= 0) {
        /* Ends that differ in the units of large numbers need no decimals; far below 1000 one more tells. */
        decimals = decimals == 0 && upper - lower >= 10 ? 0 : decimals + 1;
        /* Narrow ends on both sides of a round number differ early, but must not look far apart. */
        int width_decimals = -leading_place(upper - lower), most = place < 6 ? 6 - place : 0;
        width_decimals = width_decimals < most ? width_decimals : most;
        decimals = decimals > width_decimals ? decimals : width_decimals;
        set_decimals(lower, decimals, FE_DOWNWARD, a);
        set_decimals(upper, decimals, FE_UPWARD, b);
    } else if (place >= 3 - DECIMALS_MAX) {
        /* Ends alike in more digits than anybody reads: seven, rounded outwards. */
        decimals = place < 6 ? 6 - place : 0;
        set_decimals(lower, decimals, FE_DOWNWARD, a);
        set_decimals(upper, decimals, FE_UPWARD, b);
    } else {
        set_power(lower, 10, FE_DOWNWARD, a);
        set_power(upper, lower == 0 ? 2 : 10, FE_UPWARD, b);
        if (lower == 0)
            strcpy(a, "0");
    }
    snprintf(text, MEASURE_TEXT_SIZE, "%.40s" RANGE "%.40s", a, b);
}

void measure_text_halfwidth(double value, double halfwidth, char text[MEASURE_TEXT_SIZE])
{
    char a[MEASURE_TEXT_SIZE], b[MEASURE_TEXT_SIZE];

    if (isnan(value) || isnan(halfwidth) || halfwidth <= 0) {
        measure_text_value(value, text);
        return;
    }
    int place = leading_place(halfwidth), least = value != 0 ? leading_place(fabs(value)) - 5 : place;
    if (place < least) { /* six digits of the value are enough; what they leave out widens the other */
        place = least;
        halfwidth += pow(10, place) / 2;
    }
    if (-place > DECIMALS_MAX) {
        set_power(value, 4, FE_TONEAREST, a);
        set_power(halfwidth, 1, FE_UPWARD, b);
    } else {
        /* One digit of 0.96 rounded up is 1.0: that digit stands one place higher. */
        if (ceil(halfwidth / pow(10, place)) >= 10)
            place++;
        double unit = place > 0 ? pow(10, place) : 1;
        int decimals = place < 0 ? -place : 0;
        set_decimals(place > 0 ? nearbyint(value / unit) * unit : value, decimals, FE_TONEAREST, a);
        set_decimals(place > 0 ? ceil(halfwidth / unit) * unit : halfwidth, decimals, FE_UPWARD, b);
    }
    snprintf(text, MEASURE_TEXT_SIZE, "%.40s" PLUS_MINUS "%.40s", a, b);
}

void measure_text_share(double share, char text[MEASURE_TEXT_SIZE])
{
    if (isnan(share))
        strcpy(text, DASH);
    else
        set_decimals(100 * share, 1, FE_TONEAREST, text);
}

void measure_text_bytes(size_t bytes, char text[MEASURE_TEXT_SIZE])
{
    static const char *const units[] = {"B", "KiB", "MiB", "GiB", "TiB"};
    double size = (double)bytes;
    size_t unit = 0;
    while (size >= 1024 && unit < 4) {
        size /= 1024;
        unit++;
    }
    snprintf(text, MEASURE_TEXT_SIZE, "%.*f %s", unit ? 1 : 0, size, units[unit]);
}
