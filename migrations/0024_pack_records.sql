-- Records are packed with lz4 where PostgreSQL was built with it: packing them with the default was
-- about a sixth of what PostgreSQL spent on storing one.

-- +goose Up
-- +goose StatementBegin
DO $$
BEGIN
    ALTER TABLE jobs
        ALTER COLUMN record SET COMPRESSION lz4,
        ALTER COLUMN assessments SET COMPRESSION lz4,
        ALTER COLUMN findings SET COMPRESSION lz4;
EXCEPTION WHEN feature_not_supported THEN
    RAISE NOTICE 'this PostgreSQL was built without lz4: records are packed with its default';
END $$;
-- +goose StatementEnd
