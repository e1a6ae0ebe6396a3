/* format.c - telling files apart; see format.h for the order of the tests. */
#include "io/format.h"

#include "io/off.h"
#include "io/stl.h"
#include "io/text.h"

#include <string.h>
#include <strings.h>

/* Signatures from the formats' own specifications, as collected in the WHATWG MIME Sniffing standard and in
 * "List of file signatures" of Wikipedia (2026). bytes is the length, as some hold NUL. */
static const struct signature {
    const char *signature;
    size_t bytes;
    const char *format; /* for struct error, at most 11 characters */
    const char *what;
} signatures[] = {
    {"PK\x03\x04", 4, "zip", "a zip archive (such as 3MF)"},
    {"PK\x05\x06", 4, "zip", "an empty zip archive"},
    {"BZh", 3, "bzip2", "a bzip2-compressed file"},
    {"\xfd"
     "7zXZ\0",
     6, "xz", "an xz-compressed file"},
    {"7z\xbc\xaf\x27\x1c", 6, "7z", "a 7z archive"},
    {"\x04\x22\x4d\x18", 4, "lz4", "an lz4-compressed file"},
    {"LZIP", 4, "lzip", "an lzip-compressed file"},
    {"Rar!\x1a\x07", 6, "rar", "a rar archive"},
    {"\x1f\x9d", 2, "compress", "a file of the old compress program"},
    {"glTF", 4, "glb", "a GLB file"},
    {"\x89PNG\r\n\x1a\n", 8, "png", "a PNG image"},
    {"\xff\xd8\xff", 3, "jpeg", "a JPEG image"},
    {"GIF87a", 6, "gif", "a GIF image"},
    {"GIF89a", 6, "gif", "a GIF image"},
    {"II*\0", 4, "tiff", "a TIFF image"},
    {"MM\0*", 4, "tiff", "a TIFF image"},
    {"RIFF", 4, "riff", "a RIFF file (sound, film or WebP image)"},
    {"%PDF-", 5, "pdf", "a PDF document"},
    {"\x7f"
     "ELF",
     4, "elf", "a program (ELF)"},
    {"MZ\x90\0", 4, "exe", "a program (PE)"},
    {"SQLite format 3\0", 16, "sqlite", "an SQLite database"},
    {"\xff\xfe\0\0", 4, "text", "UTF-32 text"},
    {"\0\0\xfe\xff", 4, "text", "UTF-32 text"},
    {"\xff\xfe", 2, "text", "UTF-16 text"},
    {"\xfe\xff", 2, "text", "UTF-16 text"},
};

/* Mesh formats that are known by name but not read. */
static const char *const other_meshes[] = {"glb",  "gltf", "3mf",  "fbx",   "dae", "step", "stp",
                                           "iges", "igs",  "3ds",  "blend", "x3d", "wrl",  "vtk",
                                           "vtp",  "usd",  "usdz", "amf",   "ctm", "drc"};

size_t format_mark_bytes(const char *begin, size_t bytes)
{
    return bytes >= 3 && memcmp(begin, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
}

enum format format_compression(const char *begin, size_t bytes)
{
    if (bytes >= 3 && memcmp(begin, "\x1f\x8b\x08", 3) == 0)
        return FORMAT_GZIP;
    if (bytes >= 4 && memcmp(begin, "\x28\xb5\x2f\xfd", 4) == 0)
        return FORMAT_ZSTD;
    /* a skippable frame may come first: RFC 8878, section 3.1.2 */
    if (bytes >= 4 && ((unsigned char)begin[0] & 0xf0) == 0x50 && memcmp(begin + 1, "\x2a\x4d\x18", 3) == 0)
        return FORMAT_ZSTD;
    return FORMAT_NONE;
}

/* Where the extension begins (behind its dot) within name..end; end when there is none. */
static const char *extension(const char *name, const char *end)
{
    for (const char *p = end; p > name && p[-1] != '/'; p--)
        if (p[-1] == '.')
            return p;
    return end;
}

enum format format_compression_of_name(const char *name)
{
    const char *end = name ? name + strlen(name) : NULL;
    if (!name)
        return FORMAT_NONE;
    const char *ext = extension(name, end);
    if (text_is_word(ext, end, "gz"))
        return FORMAT_GZIP;
    return text_is_word(ext, end, "zst") ? FORMAT_ZSTD : FORMAT_NONE;
}

const char *format_of_name(const char *name)
{
    static const char *const ours[] = {"obj", "stl", "ply", "off"};
    if (!name)
        return NULL;
    const char *end = name + strlen(name), *ext = extension(name, end);
    if (format_compression_of_name(name) != FORMAT_NONE) {
        end = ext - 1;
        ext = extension(name, end);
    }
    for (size_t i = 0; i < sizeof ours / sizeof ours[0]; i++)
        if (text_is_word(ext, end, ours[i]))
            return ours[i];
    if (text_is_word(ext, end, "coff") || text_is_word(ext, end, "noff"))
        return "off";
    for (size_t i = 0; i < sizeof other_meshes / sizeof other_meshes[0]; i++)
        if (text_is_word(ext, end, other_meshes[i]))
            return other_meshes[i];
    return NULL;
}

static bool is_text(const char *begin, size_t bytes)
{
    size_t looked_at = bytes < 4096 ? bytes : 4096;
    for (size_t i = 0; i < looked_at; i++)
        if ((unsigned char)begin[i] < 0x20 && !(begin[i] && strchr("\t\n\v\f\r\x1b", begin[i])))
            return false;
    return true;
}

/* The first word that is not in a comment line ('#'); end when there is none. */
static const char *first_word(const char *at, const char *end)
{
    while ((at = text_skip_space(at, end)) < end && *at == '#')
        at = text_eol(at, end);
    return at;
}

static bool is_ply(const char *at, const char *end)
{
    return end - at >= 4 && memcmp(at, "ply", 3) == 0 && text_is_separator(at[3]);
}

/* "solid", and not the padded header of a binary file that lost its end: those have NUL before any facet. */
static bool is_ascii_stl(const char *at, const char *end)
{
    const char *word_end = text_word_end(at, end);
    if (!text_is_word(at, word_end, "solid"))
        return false;
    const char *nul = memchr(word_end, '\0', (size_t)(end - word_end));
    const char *stop = nul ? nul : end;
    if (!nul)
        return true;
    for (const char *word = text_skip_space(word_end, stop); word < stop;
         word = text_skip_space(word_end, stop)) {
        word_end = text_word_end(word, stop);
        if (text_is_word(word, word_end, "facet") || text_is_word(word, word_end, "endsolid"))
            return true;
    }
    return false;
}

/* True for the keywords of OBJ that may stand in any number before the geometry. */
static bool is_obj_name_statement(const char *at, const char *end)
{
    static const char *const words[] = {"g", "o", "s", "usemtl", "mtllib"};
    const char *word_end = text_word_end(at, end);
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (text_is_word(at, word_end, words[i]))
            return true;
    return false;
}

static bool is_obj_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\v' || c == '\f';
}

/* True when at..eol is a statement of OBJ geometry: v, vt, vn, vp or f and something that begins a number. */
static bool is_obj_geometry(const char *at, const char *eol)
{
    const char *next = at + 1;
    if (*at != 'v' && *at != 'f')
        return false;
    if (*at == 'v' && next < eol && (*next == 't' || *next == 'n' || *next == 'p'))
        next++;
    if (next == eol || !is_obj_blank(*next))
        return false;
    while (next < eol && is_obj_blank(*next))
        next++;
    return next < eol && *next && strchr("+-.0123456789ni\\", *next);
}

/* True when geometry of OBJ comes before some number of unknown statements and before any control byte. */
static bool has_obj_statement(const char *at, const char *end)
{
    enum { UNKNOWN_MAX = 4096 };
    int unknown = 0;
    while (unknown < UNKNOWN_MAX && (at = first_word(at, end)) < end) {
        const char *eol = text_eol(at, end);
        if (is_obj_geometry(at, eol))
            return true;
        if (!is_text(at, (size_t)(eol - at)))
            return false;
        unknown += !is_obj_name_statement(at, eol);
        at = eol;
    }
    return false;
}

static bool refuse(struct error *err, const char *format, const char *what)
{
    return error_set_byte(
        err, ERROR_TYPE, format, 0,
        "the content is %s; send OBJ, STL, PLY or OFF, plain or compressed with gzip or zstd", what);
}

/* Text that begins like a document of another kind. */
static bool refuse_markup(const char *at, const char *end, struct error *err)
{
    size_t left = (size_t)(end - at);
    if ((left >= 5 && strncasecmp(at, "<html", 5) == 0) || (left >= 9 && strncasecmp(at, "<!doctype", 9) == 0)
        || (left >= 7 && strncasecmp(at, "<script", 7) == 0))
        return refuse(err, "html", "an HTML page");
    if (*at == '<')
        return refuse(err, "xml", "XML");
    return refuse(err, "json", "JSON (such as glTF)");
}

/* The content left it open. */
static bool detect_by_name(const char *begin, size_t bytes, const char *name, bool has_words,
                           enum format *format, struct error *err)
{
    const char *said = format_of_name(name);
    bool text = is_text(begin, bytes);
    const char *end = begin + bytes, *word = first_word(begin + format_mark_bytes(begin, bytes), end);

    if (said && strcmp(said, "stl") == 0 && !text) {
        *format = FORMAT_STL_BINARY;
        return true;
    }
    if (said && strcmp(said, "off") == 0 && text && word < end && *word >= '0' && *word <= '9') {
        *format = FORMAT_OFF; /* the magic is optional in some descriptions of the format */
        return true;
    }
    if (!has_words)
        return error_set_line(err, ERROR_EMPTY, said ? said : "mesh", 1,
                              "the file holds nothing but blanks and comments; there is nothing to measure");
    if (said && strcmp(said, "obj") != 0 && strcmp(said, "stl") != 0 && strcmp(said, "ply") != 0
        && strcmp(said, "off") != 0)
        return error_set_byte(err, ERROR_TYPE, said, 0,
                              "files of the kind '%s' are not read; send OBJ, STL, PLY or OFF", said);
    if (!text)
        return refuse(err, said ? said : "binary", "binary data of an unknown kind");
    return refuse(err, said ? said : "text", "text without any statement of a mesh format");
}

bool format_detect(const char *begin, size_t bytes, const char *name, enum format *format, struct error *err)
{
    const char *end = begin + bytes, *at = begin + format_mark_bytes(begin, bytes), *word;
    enum format compression = format_compression(begin, bytes);

    *format = FORMAT_NONE;
    if (stl_binary_fits(begin, bytes)) {
        *format = FORMAT_STL_BINARY;
        return true;
    }
    if (compression != FORMAT_NONE) {
        *format = compression;
        return true;
    }
    for (size_t i = 0; i < sizeof signatures / sizeof signatures[0]; i++)
        if (bytes >= signatures[i].bytes && memcmp(begin, signatures[i].signature, signatures[i].bytes) == 0)
            return refuse(err, signatures[i].format, signatures[i].what);
    word = first_word(at, end);
    if (is_ply(at, end))
        *format = FORMAT_PLY;
    else if (off_is_magic(word, text_word_end(word, end)))
        *format = FORMAT_OFF;
    else if (is_ascii_stl(word, end))
        *format = FORMAT_STL_ASCII;
    else if (word < end && (*word == '<' || *word == '{'))
        return refuse_markup(word, end, err);
    else if (has_obj_statement(at, end))
        *format = FORMAT_OBJ;
    else
        return detect_by_name(begin, bytes, name, word < end, format, err);
    return true;
}
