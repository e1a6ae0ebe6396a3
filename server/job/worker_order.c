/* worker_order.c - an order as arguments and back, from one table of its parts. */
#include "job/worker_order.h"

#include "base/digest.h"

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct part {
    const char *option;
    size_t offset;
    bool is_text;
} parts[] = {
#define TEXT(name, member)                                                                                   \
    {                                                                                                        \
        name, offsetof(struct worker_order, member), true                                                    \
    }
#define NUMBER(name, member)                                                                                 \
    {                                                                                                        \
        name, offsetof(struct worker_order, member), false                                                   \
    }
    TEXT("--subject-name", subject_name),
    TEXT("--subject-sha256", subject_sha256),
    TEXT("--reference-name", reference_name),
    TEXT("--reference-sha256", reference_sha256),
    TEXT("--kind", kind),
    TEXT("--units", units),
    TEXT("--tolerances", tolerances),
    TEXT("--certify", certify),
    NUMBER("--threads", threads),
    NUMBER("--address-space", address_space_bytes),
    NUMBER("--file-size", file_bytes),
    NUMBER("--cpu-seconds", cpu_seconds),
    NUMBER("--parent", parent),
    NUMBER("--pictures", pictures),
    NUMBER("--probe", probe),
};
enum { PART_COUNT = sizeof parts / sizeof parts[0] };
_Static_assert(2 + 2 * PART_COUNT <= WORKER_ARGUMENTS_MAX, "every part must fit");

static const char **text_of(struct worker_order *order, const struct part *part)
{
    return (const char **)(void *)((char *)order + part->offset);
}

static uint64_t *number_of(struct worker_order *order, const struct part *part)
{
    return (uint64_t *)(void *)((char *)order + part->offset);
}

void worker_order_write(const struct worker_order *order, const char *program,
                        struct worker_arguments *arguments)
{
    struct worker_order copy = *order;
    size_t count = 0;

    arguments->argv[count++] = (char *)(uintptr_t)program;
    arguments->argv[count++] = (char *)(uintptr_t) "work";
    for (size_t i = 0; i < PART_COUNT; i++) {
        const char *value = arguments->texts[i];
        if (parts[i].is_text)
            value = *text_of(&copy, &parts[i]);
        else
            snprintf(arguments->texts[i], sizeof arguments->texts[i], "%llu",
                     (unsigned long long)*number_of(&copy, &parts[i]));
        if (!value)
            continue;
        arguments->argv[count++] = (char *)(uintptr_t)parts[i].option;
        arguments->argv[count++] = (char *)(uintptr_t)value;
    }
    arguments->argv[count] = NULL;
}

static bool take_part(struct worker_order *order, const char *option, const char *value, struct error *err)
{
    for (size_t i = 0; i < PART_COUNT; i++) {
        if (strcmp(parts[i].option, option) != 0)
            continue;
        if (parts[i].is_text) {
            *text_of(order, &parts[i]) = value;
            return true;
        }
        size_t digits = strspn(value, "0123456789");
        if (digits == 0 || digits > 19 || value[digits] != '\0')
            return error_set(err, ERROR_USAGE, "%s must be a number", option);
        *number_of(order, &parts[i]) = strtoull(value, NULL, 10);
        return true;
    }
    return error_set(err, ERROR_USAGE, "there is no option %s", option);
}

static bool is_complete(const struct worker_order *order, struct error *err)
{
    if (!order->threads || !order->cpu_seconds || !order->file_bytes)
        return error_set(err, ERROR_USAGE, "work is started by fettle serve; use fettle measure by hand");
    if (order->probe)
        return true;
    if (!order->subject_name || !order->subject_sha256 || !digest_is_hex(order->subject_sha256)
        || !order->kind || !order->units || !order->reference_name != !order->reference_sha256
        || (order->reference_sha256 && !digest_is_hex(order->reference_sha256)))
        return error_set(err, ERROR_USAGE, "the order is incomplete");
    return true;
}

bool worker_order_read(int argc, char **argv, struct worker_order *order, struct error *err)
{
    memset(order, 0, sizeof *order);
    for (int i = 1; i < argc; i += 2) {
        if (i + 1 == argc)
            return error_set(err, ERROR_USAGE, "%s needs a value", argv[i]);
        if (!take_part(order, argv[i], argv[i + 1], err))
            return false;
    }
    return is_complete(order, err);
}
