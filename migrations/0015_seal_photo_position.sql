-- Where a photo was taken is sealed: it may tell where somebody lives, and only a distance is made of it.

-- +goose Up

-- Only expands: rows of before keep their position in the clear and are read as they are.
ALTER TABLE photos
    ADD COLUMN sealed_position bytea CHECK (octet_length(sealed_position) BETWEEN 1 AND 200),
    ADD CONSTRAINT photos_position_once CHECK (num_nonnulls(sealed_position, latitude_microdegrees) <= 1);
COMMENT ON COLUMN photos.sealed_position IS 'Latitude and longitude in millionths of a degree, sealed for the photo; null where it does not know.';
COMMENT ON COLUMN photos.latitude_microdegrees IS 'Of photos from before sealed_position, which alone is written now.';
