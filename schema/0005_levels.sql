-- 0005_levels.sql - surfaces with a second, coarser level.
-- Applied once and in one transaction by server/store, which then sets user_version = 5.
-- A released migration is never edited: a change is the next number.

-- Those made before cannot be drawn any longer (server/picture/surface.h); they are made anew, with their
-- thumbnails, by the next job that measures the file.
DELETE FROM picture;
