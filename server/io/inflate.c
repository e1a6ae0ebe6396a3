/* inflate.c - the two decompressors behind one loop over pieces of input. */
#include "io/inflate.h"

#include <zlib.h>
#include <zstd.h>

/* Input goes in pieces, so that a listener is told and zlib's 32-bit counts hold. */
enum { PIECE = 1 << 20 };

struct inflater {
    const char *format;
    const char *begin, *at, *end; /* input */
    char *out, *out_at, *out_end;
    bool memory_bound; /* out_end is where the arena ends, not where the ratio does */
    const struct progress *progress;
};

static bool refuse_full(const struct inflater *inflater, struct error *err)
{
    if (inflater->memory_bound)
        return arena_error(err);
    return error_set_byte(
        err, ERROR_LIMIT, inflater->format, (size_t)(inflater->at - inflater->begin),
        "the file inflates to more than %zu times its size or %zu MiB; send it uncompressed", INFLATE_RATIO,
        INFLATE_MAX >> 20);
}

static bool refuse_damaged(const struct inflater *inflater, struct error *err)
{
    return error_set_byte(err, ERROR_SYNTAX, inflater->format, (size_t)(inflater->at - inflater->begin),
                          "the compressed data are damaged here; compress the file again");
}

static bool refuse_short(const struct inflater *inflater, struct error *err)
{
    return error_set_byte(err, ERROR_SYNTAX, inflater->format, (size_t)(inflater->end - inflater->begin),
                          "the compressed data end too early; send the whole file");
}

static bool tell(const struct inflater *inflater, struct error *err)
{
    double share = (double)(inflater->at - inflater->begin) / (double)(inflater->end - inflater->begin);
    return progress_tell(inflater->progress, "read", 0.2 + 0.2 * share)
           || error_set(err, ERROR_CANCELLED, "cancelled while inflating the file");
}

static size_t at_most(size_t have, size_t most)
{
    return have < most ? have : most;
}

/* One gzip member. */
static bool inflate_member(struct inflater *inflater, z_stream *stream, struct error *err)
{
    for (;;) {
        size_t in = at_most((size_t)(inflater->end - inflater->at), PIECE);
        size_t out = at_most((size_t)(inflater->out_end - inflater->out_at), (size_t)1 << 30);
        stream->next_in =
            (Bytef *)(uintptr_t)inflater->at; /* zlib's type lacks const; it does not write there */
        stream->avail_in = (uInt)in;
        stream->next_out = (Bytef *)inflater->out_at;
        stream->avail_out = (uInt)out;
        int status = inflate(stream, Z_NO_FLUSH);
        inflater->at += in - stream->avail_in;
        inflater->out_at += out - stream->avail_out;
        if (status == Z_STREAM_END)
            return true;
        if (status == Z_MEM_ERROR)
            return error_set(err, ERROR_MACHINE, "out of memory while inflating");
        if (status != Z_OK && status != Z_BUF_ERROR)
            return refuse_damaged(inflater, err);
        if (inflater->out_at == inflater->out_end)
            return refuse_full(inflater, err);
        if (inflater->at == inflater->end)
            return refuse_short(inflater, err);
        if (!tell(inflater, err))
            return false;
    }
}

static bool inflate_gzip(struct inflater *inflater, struct error *err)
{
    z_stream stream = {.zalloc = NULL};
    bool ok = true;

    if (inflateInit2(&stream, 15 + 16) != Z_OK) /* the widest window, gzip framing */
        return error_set(err, ERROR_MACHINE, "out of memory while inflating");
    do {
        ok = inflate_member(inflater, &stream, err) && inflateReset(&stream) == Z_OK;
    } while (ok && format_compression(inflater->at, (size_t)(inflater->end - inflater->at)) == FORMAT_GZIP);
    inflateEnd(&stream);
    return ok;
}

static bool inflate_zstd(struct inflater *inflater, struct error *err)
{
    ZSTD_DStream *stream = ZSTD_createDStream(); /* refuses windows above 128 MiB by itself */
    size_t wanted = 0;
    bool ok = false;

    if (!stream)
        return error_set(err, ERROR_MACHINE, "out of memory while inflating");
    do {
        ZSTD_inBuffer in = {inflater->at, at_most((size_t)(inflater->end - inflater->at), PIECE), 0};
        ZSTD_outBuffer out = {inflater->out_at, (size_t)(inflater->out_end - inflater->out_at), 0};
        wanted = ZSTD_decompressStream(stream, &out, &in);
        if (ZSTD_isError(wanted)) {
            refuse_damaged(inflater, err);
            goto out;
        }
        inflater->at += in.pos;
        inflater->out_at += out.pos;
        if (inflater->out_at == inflater->out_end && wanted != 0) {
            refuse_full(inflater, err);
            goto out;
        }
        if (!tell(inflater, err))
            goto out;
    } while (inflater->at < inflater->end
             && (wanted != 0
                 || format_compression(inflater->at, (size_t)(inflater->end - inflater->at)) == FORMAT_ZSTD));
    ok = wanted == 0 || refuse_short(inflater, err);
out:
    ZSTD_freeDStream(stream);
    return ok;
}

bool inflate_bytes(const char *begin, size_t bytes, enum format compression, const struct progress *progress,
                   struct inflated *inflated, struct arena *arena, struct error *err)
{
    size_t limit = bytes > INFLATE_MAX / INFLATE_RATIO ? INFLATE_MAX : bytes * INFLATE_RATIO;
    limit = limit < INFLATE_FLOOR ? INFLATE_FLOOR : limit;
    size_t room = at_most(limit, arena_left(arena) / 2); /* the other half is for parsing it */
    char *out = ARENA_NEW(arena, char, room);
    if (!out)
        return arena_error(err);

    struct inflater inflater = {.format = compression == FORMAT_GZIP ? "gzip" : "zstd",
                                .begin = begin,
                                .at = begin,
                                .end = begin + bytes,
                                .out = out,
                                .out_at = out,
                                .out_end = out + room,
                                .memory_bound = room < limit,
                                .progress = progress};
    if (!(compression == FORMAT_GZIP ? inflate_gzip(&inflater, err) : inflate_zstd(&inflater, err)))
        return false;
    inflated->begin = out;
    inflated->bytes = (size_t)(inflater.out_at - out);
    inflated->trailing_bytes = (size_t)(inflater.end - inflater.at);
    arena_trim(arena, out, inflated->bytes, 1);
    return true;
}
