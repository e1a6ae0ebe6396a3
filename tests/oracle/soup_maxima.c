/* soup_maxima.c - measures random pairs of soups and holds the engine's intervals against the truth found in
 * long double (tests/measure/soup_pair.h).
 *
 *   soup_maxima SEED FIRST COUNT
 *
 * Each pair both ways, half of them at certify 1e-4, half at 1e-6. Prints JSON: how many intervals, and those
 * that failed, each shrunk to a pair that can be pasted into a test. */
#include "measure/soup_pair.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static bool still_fails(const struct soup_pair *pair, void *context)
{
    return soup_check(pair, context) != NULL;
}

/* As a JSON string, with what may stand in C source. */
static void print_text(const char *text)
{
    putchar('"');
    for (; *text; text++)
        if (*text == '\n')
            fputs("\\n", stdout);
        else
            putchar(*text);
    putchar('"');
}

static void tell_failure(struct soup_pair pair, struct soup_check *check, unsigned long number,
                         const char *what, size_t failures)
{
    static char text[1 << 16];

    soup_pair_shrink(&pair, still_fails, check);
    soup_pair_print(&pair, text, sizeof text);
    printf("%s\n{\"number\": %lu, \"kind\": \"%s\", \"certify\": %g, \"back\": %s, \"what\": \"%s\", "
           "\"pair\": ",
           failures > 1 ? "," : "", number, SOUP_KIND_NAMES[number % SOUP_KINDS], check->certify,
           check->is_back ? "true" : "false", what);
    print_text(text);
    putchar('}');
}

int main(int argc, char **argv)
{
    struct soup_check check = {0};
    struct error err;
    size_t intervals = 0, failures = 0;

    if (argc != 4 || !arena_open(&check.arena, (size_t)256 << 20, &err))
        return 2;
    unsigned long seed = strtoul(argv[1], NULL, 10), first = strtoul(argv[2], NULL, 10),
                  count = strtoul(argv[3], NULL, 10);
    printf("{\"failures\": [");
    for (unsigned long number = first; number < first + count; number++) {
        const struct soup_pair there = soup_pair_random(seed, number), back = {there.to, there.from};
        check.certify = number / SOUP_KINDS % 2 ? 1e-6 : 1e-4;
        for (int way = 0; way < 2 && failures < 10; way++, intervals++) {
            check.is_back = way;
            const char *what = soup_check(way ? &back : &there, &check);
            if (what)
                tell_failure(way ? back : there, &check, number, what, ++failures);
        }
    }
    printf("],\n\"intervals\": %zu}\n", intervals);
    return failures > 0;
}
