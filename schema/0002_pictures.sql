-- 0002_pictures.sql - what the page draws of a file: its surface, and a small picture.
-- Applied once and in one transaction by server/store, which then sets user_version = 2.
-- A released migration is never edited: a change is the next number.

-- Made by the first job that measures the file; the same bytes give the same two, whatever version has them.
CREATE TABLE picture (
    blob      INTEGER PRIMARY KEY REFERENCES blob (id),  -- the file
    surface   INTEGER NOT NULL REFERENCES blob (id),     -- server/picture/surface.h
    thumbnail INTEGER NOT NULL REFERENCES blob (id)      -- PNG
) STRICT;
