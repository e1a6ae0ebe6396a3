/* spec.c - the words of units, and of what is taken of findings. */
#include "spec/spec.h"

#include <string.h>

static const struct {
    const char *word;
    double metres;
} units[LIMIT_UNIT_COUNT] = {
    [LIMIT_COUNT] = {"count", 0},   [LIMIT_RATIO] = {"ratio", 0}, [LIMIT_SHARE] = {"share", 0},
    [LIMIT_DEGREE] = {"degree", 0}, [LIMIT_MM] = {"mm", 1e-3},    [LIMIT_CM] = {"cm", 1e-2},
    [LIMIT_M] = {"m", 1},           [LIMIT_IN] = {"in", 0.0254},  [LIMIT_DIAGONAL] = {"diagonal", 0},
};

const char *limit_unit_word(enum limit_unit unit)
{
    return units[unit].word;
}

bool limit_unit_parse(const char *word, enum limit_unit *unit)
{
    for (size_t i = 0; i < LIMIT_UNIT_COUNT; i++)
        if (strcmp(word, units[i].word) == 0) {
            *unit = (enum limit_unit)i;
            return true;
        }
    return false;
}

double limit_unit_metres(enum limit_unit unit)
{
    return units[unit].metres;
}

static const char *const takes[TAKE_COUNT_OF_WAYS] = {
    [TAKE_COUNT] = "count", [TAKE_LARGEST_SIZE] = "largest size", [TAKE_FACES] = "faces"};

const char *findings_take_word(enum findings_take take)
{
    return takes[take];
}

bool findings_take_parse(const char *word, enum findings_take *take)
{
    for (size_t i = 0; i < TAKE_COUNT_OF_WAYS; i++)
        if (strcmp(word, takes[i]) == 0) {
            *take = (enum findings_take)i;
            return true;
        }
    return false;
}
