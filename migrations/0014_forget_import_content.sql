-- The file of an import that has ended is dropped after a while; its hash, its mapping and its report stay.

-- +goose Up

-- Only expands: a program of before reads the content of imports that go on, and those keep it.
ALTER TABLE imports
    ALTER COLUMN content DROP NOT NULL,
    ADD CONSTRAINT imports_content_needed CHECK (content IS NOT NULL OR finish_time IS NOT NULL);
GRANT UPDATE (content) ON imports TO cullet_runtime;
COMMENT ON COLUMN imports.content IS 'The file as it came; null once it was forgotten, 30 days after the import ended.';
