-- 0004_surfaces.sql - surfaces that tell edges at vertices, aspect ratios and shells.
-- Applied once and in one transaction by server/store, which then sets user_version = 4.
-- A released migration is never edited: a change is the next number.

-- Those made before cannot be drawn any longer (server/picture/surface.h); they are made anew, with their
-- thumbnails, by the next job that measures the file.
DELETE FROM picture;
