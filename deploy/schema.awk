# schema.awk - writes the C table of migrations that server/store/migrate.h declares.
# Use: awk -f schema.awk schema/0001_a.sql schema/0002_b.sql ...
BEGIN {
    print "/* Made from the files of schema/ by deploy/schema.awk. */"
    print "#include \"store/migrate.h\"\n"
    print "const struct store_migration store_migrations[] = {"
}
FNR == 1 {
    if (NR > 1) print "    },"
    count++
    file = FILENAME
    sub(/.*\//, "", file)
    if (substr(file, 1, 4) + 0 != count) { print "migration " file " is not number " count > "/dev/stderr"; exit 1 }
    print "    {\"" file "\","
}
{
    gsub(/\\/, "\\\\")
    gsub(/"/, "\\\"")
    print "     \"" $0 "\\n\""
}
END {
    print "    },\n};"
    print "const size_t store_migration_count = sizeof store_migrations / sizeof store_migrations[0];"
}
