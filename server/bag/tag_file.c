/* tag_file.c - bagit.txt (RFC 8493, section 2.1.1) and bag-info.txt (2.2.2). */
#include "bag/tag_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const uint64_t tag_bytes_max = (uint64_t)16 << 20;

/* The text of a tag file, NULL where it is not there or is no text, which is added to problems. */
static bool get_text(const struct bag *bag, const char *path, struct arena *keep, char **text,
                     struct bag_problems *problems, struct error *err)
{
    const struct bag_file *file = bag_find(bag, path);
    const char *bytes;
    *text = NULL;
    if (!file) {
        bag_problem_add(problems, BAG_COMPLETE, path, "is missing");
        return true;
    }
    if (!bag_read(bag, file, tag_bytes_max, keep, &bytes, err))
        return false;
    if (strlen(bytes) != file->bytes || strncmp(bytes, "\xef\xbb\xbf", 3) == 0)
        bag_problem_add(problems, BAG_VALID, path, "is not plain UTF-8 text without a byte order mark");
    else
        *text = (char *)(uintptr_t)bytes;
    return true;
}

/* Cuts the next line off *text; NULL at the end. */
static char *next_line(char **text)
{
    char *line = *text;
    if (!*line)
        return NULL;
    size_t size = strcspn(line, "\r\n");
    *text += size;
    if (**text)
        *text += (*text)[0] == '\r' && (*text)[1] == '\n' ? 2 : 1;
    line[size] = '\0';
    return line;
}

bool tag_check_declaration(const struct bag *bag, struct arena *keep, struct bag_problems *problems,
                           struct error *err)
{
    static const char *const wanted[] = {"BagIt-Version: 1.0", "Tag-File-Character-Encoding: UTF-8"};
    char *text;
    if (!get_text(bag, "bagit.txt", keep, &text, problems, err))
        return false;
    if (!text)
        return true;
    for (size_t i = 0; i < 2; i++) {
        const char *line = next_line(&text);
        if (!line || strcmp(line, wanted[i]) != 0)
            bag_problem_add(problems, BAG_VALID, "bagit.txt", "line %zu must be '%s'", i + 1, wanted[i]);
    }
    if (*text)
        bag_problem_add(problems, BAG_VALID, "bagit.txt", "must have two lines and no more");
    return true;
}

static void check_oxum(const struct bag *bag, const char *value, struct bag_problems *problems)
{
    unsigned long long bytes = 0, files = 0;
    char stated[64];
    for (size_t i = 0; i < bag->count; i++)
        if (strncmp(bag->files[i].path, "data/", 5) == 0) {
            bytes += bag->files[i].bytes;
            files++;
        }
    snprintf(stated, sizeof stated, "%llu.%llu", bytes, files);
    if (strcmp(value, stated) != 0)
        bag_problem_add(problems, BAG_VALID, "bag-info.txt",
                        "Payload-Oxum says '%.60s', the payload is %llu bytes in %llu files: %s", value,
                        bytes, files, stated);
}

/* A label, a colon, a value; or, beginning with a blank, more of the value before. */
static const char *line_value(char *line)
{
    char *colon = strchr(line, ':');
    if (!colon || colon == line || line[0] == ' ' || colon[-1] == ' ' || colon[-1] == '\t')
        return NULL;
    *colon = '\0';
    return colon + 1 + strspn(colon + 1, " \t");
}

bool tag_check_info(const struct bag *bag, struct arena *keep, struct bag_problems *problems,
                    struct error *err)
{
    char *text, *line;
    size_t number = 0, oxums = 0;
    if (!get_text(bag, "bag-info.txt", keep, &text, problems, err))
        return false;
    while (text && (line = next_line(&text)) != NULL) {
        number++;
        if (number > 1 && (line[0] == ' ' || line[0] == '\t'))
            continue;
        const char *value = line_value(line);
        if (!value)
            bag_problem_add(problems, BAG_VALID, "bag-info.txt", "line %zu is not 'Label: value'", number);
        else if (strcmp(line, "Payload-Oxum") == 0 && oxums++ == 0)
            check_oxum(bag, value, problems);
    }
    if (text && oxums != 1)
        bag_problem_add(problems, BAG_VALID, "bag-info.txt",
                        "must say Payload-Oxum once, and says it %zu times", oxums);
    return true;
}
