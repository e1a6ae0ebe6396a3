/* record_pick.c - copies the wanted members of a JSON text, which jansson then parses. */
#include "json/record_pick.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

bool record_places_add(struct json_t *places, const char *path)
{
    json_t *node = places;
    while (node && !json_is_true(node)) {
        size_t length = strcspn(path, ".");
        bool is_last = !path[length];
        json_t *next = json_object_getn(node, path, length);
        if (is_last || !next) {
            next = is_last ? json_true() : json_object();
            if (json_object_setn_new(node, path, length, next))
                return false;
        }
        node = next;
        path += length + !is_last;
    }
    return node != NULL;
}

struct pick {
    const char *at, *end; /* of the text */
    char *out;            /* behind what was copied */
};

static bool is_at(const struct pick *pick, char c)
{
    return pick->at < pick->end && *pick->at == c;
}

static void pass_blanks(struct pick *pick)
{
    while (is_at(pick, ' ') || is_at(pick, '\n') || is_at(pick, '\r') || is_at(pick, '\t'))
        pick->at++;
}

/* From the opening quote behind the closing one. */
static void pass_string(struct pick *pick)
{
    const char *at = pick->at + 1;
    while (at < pick->end && *at != '"')
        at += *at == '\\' && at + 1 < pick->end ? 2 : 1;
    pick->at = at < pick->end ? at + 1 : at;
}

/* Up to the comma or the bracket that ends it. */
static void pass_value(struct pick *pick)
{
    size_t depth = 0;
    while (pick->at < pick->end) {
        char c = *pick->at;
        if (depth == 0 && (c == ',' || c == '}' || c == ']'))
            return;
        if (c == '"') {
            pass_string(pick);
            continue;
        }
        depth += c == '{' || c == '[';
        depth -= c == '}' || c == ']';
        pick->at++;
    }
}

static void copy(struct pick *pick, const char *bytes, size_t count)
{
    memcpy(pick->out, bytes, count);
    pick->out += count;
}

static bool pick_object(struct pick *pick, const json_t *places);

/* From its key behind its value; false where the text is no member. */
static bool pick_member(struct pick *pick, const json_t *places, bool *is_first)
{
    const char *key = pick->at;
    if (!is_at(pick, '"'))
        return false;
    pass_string(pick);
    const size_t key_size = (size_t)(pick->at - key);
    pass_blanks(pick);
    if (!is_at(pick, ':'))
        return false;
    pick->at++;
    pass_blanks(pick);
    const char *value = pick->at;
    const json_t *wanted = json_object_getn(places, key + 1, key_size - 2);
    if (!wanted) {
        pass_value(pick);
        return true;
    }
    copy(pick, ",", *is_first ? 0 : 1);
    *is_first = false;
    copy(pick, key, key_size);
    copy(pick, ":", 1);
    if (json_is_object(wanted) && is_at(pick, '{'))
        return pick_object(pick, wanted);
    pass_value(pick);
    copy(pick, value, (size_t)(pick->at - value));
    return true;
}

/* What is copied is never longer than what was read: a key keeps its quotes and its colon. */
static bool pick_object(struct pick *pick, const json_t *places)
{
    bool is_first = true;
    if (!is_at(pick, '{'))
        return false;
    copy(pick, "{", 1);
    do {
        pick->at++;
        pass_blanks(pick);
        if (!is_at(pick, '}') && !pick_member(pick, places, &is_first))
            return false;
        pass_blanks(pick);
    } while (is_at(pick, ','));
    if (!is_at(pick, '}'))
        return false;
    pick->at++;
    copy(pick, "}", 1);
    return true;
}

struct json_t *record_pick(const char *text, size_t size, const struct json_t *places)
{
    char *picked = malloc(size + 1);
    struct pick pick = {text, text + size, picked};
    json_t *tree = NULL;
    if (picked) {
        pass_blanks(&pick);
        if (pick_object(&pick, places))
            tree = json_loadb(picked, (size_t)(pick.out - picked), 0, NULL);
    }
    free(picked);
    return tree;
}
