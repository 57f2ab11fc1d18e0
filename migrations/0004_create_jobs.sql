-- Repair records and their photos. A record is one row, so that intake is one statement.

-- +goose Up

CREATE TABLE jobs (
    shop_id            uuid        NOT NULL,
    job_id             uuid        NOT NULL,
    version            integer     NOT NULL CHECK (version >= 1),
    is_current         boolean     NOT NULL,
    external_reference text        NOT NULL CHECK (char_length(external_reference) BETWEEN 1 AND 100),
    vin                text        NOT NULL,
    plate              text        NOT NULL,
    repair_date        date        NOT NULL,
    payer_code         text        NOT NULL,
    record             jsonb       NOT NULL CHECK (jsonb_typeof(record) = 'object'),
    fingerprint        bytea       NOT NULL CHECK (octet_length(fingerprint) = 32),
    assessments        jsonb       NOT NULL,
    findings           jsonb       NOT NULL,
    record_time        timestamptz NOT NULL,
    recorded_by        text        NOT NULL,
    amend_reason       text        NOT NULL DEFAULT '',
    PRIMARY KEY (shop_id, job_id, version),
    CHECK ((version = 1) = (amend_reason = '')),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE jobs IS 'Repair records, a row per version; only is_current ever changes.';
CALL cullet_tenant_table('jobs', 'SELECT, INSERT, UPDATE (is_current)');
CREATE UNIQUE INDEX jobs_external_reference ON jobs (shop_id, external_reference) WHERE version = 1;
CREATE UNIQUE INDEX jobs_current ON jobs (shop_id, job_id) WHERE is_current;
CREATE INDEX jobs_vin ON jobs (shop_id, vin) WHERE is_current;
CREATE INDEX jobs_vin_tail ON jobs (shop_id, right(vin, 6)) WHERE is_current;

CREATE TABLE photos (
    shop_id                uuid        NOT NULL,
    photo_hash             bytea       NOT NULL CHECK (octet_length(photo_hash) = 32),
    media_type             text        NOT NULL CHECK (media_type IN ('image/jpeg', 'image/png', 'image/webp')),
    size_bytes             bigint      NOT NULL CHECK (size_bytes > 0),
    width_pixels           integer     NOT NULL CHECK (width_pixels > 0),
    height_pixels          integer     NOT NULL CHECK (height_pixels > 0),
    take_time              timestamptz,
    latitude_microdegrees  integer,
    longitude_microdegrees integer,
    likeness               bigint      NOT NULL,
    stage_time             timestamptz NOT NULL,
    PRIMARY KEY (shop_id, photo_hash),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE photos IS 'Uploaded photos; one that no job names for 24 hours is forgotten.';
CALL cullet_tenant_table('photos', 'SELECT, INSERT, UPDATE (stage_time), DELETE');
CREATE INDEX photos_staged ON photos (shop_id, stage_time);

CREATE TABLE job_photos (
    shop_id       uuid     NOT NULL,
    job_id        uuid     NOT NULL,
    version       integer  NOT NULL,
    photo_number  smallint NOT NULL CHECK (photo_number >= 1),
    photo_hash    bytea    NOT NULL,
    kind          text     NOT NULL CHECK (kind IN ('BEFORE', 'AFTER', 'VIN_PLATE', 'WHOLE_GLASS')),
    damage_number smallint NOT NULL CHECK (damage_number >= 0),
    PRIMARY KEY (shop_id, job_id, version, photo_number),
    FOREIGN KEY (shop_id, job_id, version) REFERENCES jobs (shop_id, job_id, version),
    CONSTRAINT job_photos_uploaded FOREIGN KEY (shop_id, photo_hash) REFERENCES photos (shop_id, photo_hash)
);
COMMENT ON TABLE job_photos IS 'Which photos a record names.';
CALL cullet_tenant_table('job_photos', 'SELECT, INSERT');
CALL cullet_append_only('job_photos');
CREATE INDEX job_photos_photo ON job_photos (shop_id, photo_hash);
