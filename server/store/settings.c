/* settings.c - the first word of a run's settings. */
#include "store/settings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char first_word[] = "certify=";

static bool has_certify(const char *settings)
{
    return strncmp(settings, first_word, sizeof first_word - 1) == 0;
}

double store_settings_certify(const char *settings)
{
    return has_certify(settings) ? strtod(settings + sizeof first_word - 1, NULL) : 0;
}

static const char *others(const char *settings)
{
    return has_certify(settings) ? settings + strcspn(settings, " ") : settings;
}

void store_settings_write(const char *settings, double certify, char text[STORE_SETTINGS_TEXT])
{
    if (certify > 0 && has_certify(settings))
        snprintf(text, STORE_SETTINGS_TEXT, "%s%.17g%s", first_word, certify, others(settings));
    else
        snprintf(text, STORE_SETTINGS_TEXT, "%s", settings);
}

bool store_settings_alike(const char *a, const char *b)
{
    return has_certify(a) == has_certify(b) && strcmp(others(a), others(b)) == 0;
}
