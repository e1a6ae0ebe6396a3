/* handoff_table.c - one line a check, below it what is wrong, then what measuring again told. */
#include "cli/handoff_table.h"

static void print_head(const struct handoff_result *result, FILE *out)
{
    if (result->name[0])
        fprintf(out, "%s: %s\n%s, by %s (as stated) at %s\n", result->catalogue_number, result->title,
                result->name, result->by, result->time);
    fprintf(out, "%zu files, %llu bytes\n", result->file_count, (unsigned long long)result->bytes);
    for (size_t i = 0; i < result->signer_count; i++)
        fprintf(out, "signed off by %s (as stated)\n", result->signers[i]);
    if (result->seal[0])
        fprintf(out, "sealed with the key %s%s\n", result->seal,
                result->key_given ? ""
                                  : "\n  compare this fingerprint with one that you have from elsewhere");
    fputc('\n', out);
}

static void print_check(const struct handoff_result *result, enum bag_aspect aspect, FILE *out)
{
    const struct bag_problems *problems = &result->problems;
    size_t count = problems->by_aspect[aspect], told = 0;
    fprintf(out, "%-14s %s\n",
            count                     ? "DOES NOT HOLD"
            : result->skipped[aspect] ? "not made"
                                      : "holds",
            handoff_aspect_claim(aspect));
    if (result->skipped[aspect])
        fprintf(out, "    %s\n", result->skipped[aspect]);
    for (size_t i = 0; i < problems->count; i++)
        if (problems->items[i].aspect == aspect) {
            fprintf(out, "    %s%s%s\n", problems->items[i].path, problems->items[i].path[0] ? ": " : "",
                    problems->items[i].text);
            told++;
        }
    if (count > told)
        fprintf(out, "    and %zu more\n", count - told);
}

static const char *word(enum handoff_change change)
{
    return change == CHANGE_NONE ? "same" : change == CHANGE_THERE ? "CHANGED" : "not known";
}

static void print_measured(const struct handoff_result *result, FILE *out)
{
    if (result->file == CHANGE_UNKNOWN)
        return;
    fprintf(out, "\nmeasured again: files %s, definitions %s, engine %s", word(result->file),
            word(result->definition), word(result->engine));
    if (result->engine == CHANGE_THERE)
        fprintf(out, " (then %s, now %s)", result->engine_then, result->engine_now);
    fprintf(out, "; %zu values differ\n", result->differences.total);
    for (size_t i = 0; i < result->differences.count; i++)
        fprintf(out, "    %s: then %s, now %s\n", result->differences.items[i].path,
                result->differences.items[i].then, result->differences.items[i].now);
    if (result->differences.total > result->differences.count)
        fprintf(out, "    and %zu more\n", result->differences.total - result->differences.count);
}

void handoff_table_print(const struct handoff_result *result, FILE *out)
{
    print_head(result, out);
    for (enum bag_aspect aspect = 0; aspect < BAG_ASPECT_COUNT; aspect++)
        print_check(result, aspect, out);
    print_measured(result, out);
    fprintf(out, "\n%s\n", handoff_holds(result) ? "The handoff holds." : "The handoff does NOT hold.");
}
