-- What is measured on photos, a way to find those that look alike, and how much each shop keeps.

-- +goose Up

-- Two hashes of 64 bits that differ in at most 4 agree in at least one of 5 bands, so looking each
-- band up finds every like photo of a shop, however old, without reading the others.
ALTER TABLE photos
    ADD COLUMN sharpness     integer  CHECK (sharpness >= 0),
    ADD COLUMN brightness    smallint CHECK (brightness BETWEEN 0 AND 255),
    ADD COLUMN blown_percent smallint CHECK (blown_percent BETWEEN 0 AND 100),
    ADD CONSTRAINT photos_measured CHECK (num_nulls(sharpness, brightness, blown_percent) IN (0, 3)),
    ADD COLUMN is_counted    boolean NOT NULL DEFAULT true,
    ADD COLUMN band_1 smallint NOT NULL GENERATED ALWAYS AS (((likeness >> 0) & 8191)::smallint) STORED,
    ADD COLUMN band_2 smallint NOT NULL GENERATED ALWAYS AS (((likeness >> 13) & 8191)::smallint) STORED,
    ADD COLUMN band_3 smallint NOT NULL GENERATED ALWAYS AS (((likeness >> 26) & 8191)::smallint) STORED,
    ADD COLUMN band_4 smallint NOT NULL GENERATED ALWAYS AS (((likeness >> 39) & 8191)::smallint) STORED,
    ADD COLUMN band_5 smallint NOT NULL GENERATED ALWAYS AS (((likeness >> 52) & 4095)::smallint) STORED;
CREATE INDEX photos_band_1 ON photos (shop_id, band_1);
CREATE INDEX photos_band_2 ON photos (shop_id, band_2);
CREATE INDEX photos_band_3 ON photos (shop_id, band_3);
CREATE INDEX photos_band_4 ON photos (shop_id, band_4);
CREATE INDEX photos_band_5 ON photos (shop_id, band_5);

-- A photo that found no room is there until the sweep forgets it, and is not counted.
GRANT UPDATE (is_counted) ON photos TO cullet_runtime;
COMMENT ON COLUMN photos.is_counted IS 'Whether photo_usage has its bytes; false for one that found no room.';
CREATE TABLE photo_usage (
    shop_id    uuid   NOT NULL PRIMARY KEY,
    used_bytes bigint NOT NULL CHECK (used_bytes >= 0),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE photo_usage IS 'How many bytes of photos a shop has uploaded; made of them when a shop has no row yet.';
CALL cullet_tenant_table('photo_usage', 'SELECT, INSERT, UPDATE (used_bytes)');
