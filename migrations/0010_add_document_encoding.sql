-- Documents of batches are kept compressed: the claims of one payer are much alike, so they shrink to
-- a tenth and less, and a night writes that much less to disk.

-- +goose Up

ALTER TABLE batch_documents ADD COLUMN encoding text NOT NULL DEFAULT 'identity'
    CHECK (encoding IN ('identity', 'zstd'));
