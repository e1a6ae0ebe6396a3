# rooms.awk - fails on any #include "room/..." that tests/rooms.txt does not allow, and on a fenced library's
# header outside its room. Use: awk -f rooms.awk rooms.txt server/*/*.[ch]
BEGIN {
    fence["sqlite3.h"] = "store"
    fence["jansson.h"] = "json"
    fence["microhttpd.h"] = "http"
    fence["zlib.h"] = "io bag"
    fence["nettle"] = "base seal"
    fence["zstd.h"] = "io store"
    fence["seccomp.h"] = "job"
    fence["meshoptimizer.h"] = "picture"
    fence["cairo/"] = "picture report"
    fence["pango/"] = "report"
    fence["fontconfig/"] = "report"
    fence["curl/"] = "notify"
}
FILENAME == ARGV[1] {
    if ($1 != "" && $1 !~ /^#/) {
        known[$1] = 1
        for (i = 1; i <= NF; i++)
            allowed[$1, $i] = 1
    }
    next
}
FNR == 1 { split(FILENAME, part, "/"); room = part[length(part) - 1]; if (!(room in known)) fail("no such room in rooms.txt: " room) }
/^[ \t]*#[ \t]*include[ \t]*"/ {
    split($0, quoted, "\"")
    if (quoted[2] !~ /\//) fail("an include names its room: \"" quoted[2] "\"")
    else { split(quoted[2], path, "/"); if (!((room, path[1]) in allowed)) fail(room " may not include " path[1]) }
}
/^[ \t]*#[ \t]*include[ \t]*</ {
    for (library in fence)
        if (index($0, "<" library) == 0) continue
        else if ((" " fence[library] " ") !~ (" " room " ")) fail("<" library "> belongs to " fence[library])
}
function fail(text) { print FILENAME ":" FNR ": " text; bad = 1 }
END { if (!bad) print "rooms: every include stays in its direction"; exit bad }
