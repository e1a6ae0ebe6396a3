/* reason.c - the table of reasons and their advice. */
#include "job/reason.h"

#include <string.h>

static const struct {
    const char *code, *advice;
    bool is_final; /* the same bytes cannot do better */
} reasons[] = {
    {"machine", "Retry; if it happens again, tell the keeper of the machine: disk or memory may be short.",
     false},
    {"reject-syntax", "Export the file again, or mend the place named; then upload it as a new version.",
     true},
    {"reject-data", "Mend the place named, or export the file again; then upload it as a new version.", true},
    {"reject-limit", "Upload a smaller file, or ask the keeper of the machine to raise the limit.", true},
    {"reject-type", "Upload the mesh as OBJ, STL, PLY or OFF, plain or compressed by gzip or zstd.", true},
    {"reject-empty", "Check the export: the file has no faces to measure.", true},
    {"crashed",
     "This is a fault of fettle, not yours. Keep the file and report it; other files are not affected.",
     false},
    {"out-of-memory", "Retry when less is running, or ask the keeper of the machine for more memory.", false},
    {"out-of-time",
     "Retry when less is running, upload a coarser mesh, or ask the keeper to allow more time.", false},
    {"sandbox", "Measuring tried something it must never do, so it was stopped. Keep the file and report it.",
     false},
    {"blob-corrupt",
     "The stored file is damaged on the disk. Tell the keeper to run fettle verify and restore a backup.",
     true},
    {"cancelled", "Retry when you want it measured after all.", true},
};
enum { REASON_COUNT = sizeof reasons / sizeof reasons[0] };

/* 0, "machine", for an unknown code. */
static size_t find(const char *code)
{
    for (size_t i = 0; i < REASON_COUNT; i++)
        if (strcmp(reasons[i].code, code) == 0)
            return i;
    return 0;
}

const char *reason_advice(const char *code)
{
    return reasons[find(code)].advice;
}

bool reason_is_final(const char *code)
{
    return reasons[find(code)].is_final;
}

bool reason_is_known(const char *code)
{
    return strcmp(reasons[find(code)].code, code) == 0;
}
