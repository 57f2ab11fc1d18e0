-- Files of shop systems, how their columns are read, and what became of every record in them.

-- +goose Up

CREATE TABLE column_mappings (
    shop_id     uuid        NOT NULL,
    mapping_id  uuid        NOT NULL,
    name        text        NOT NULL CHECK (name ~ '^[a-z0-9]+(-[a-z0-9]+)*$' AND char_length(name) <= 60),
    version     integer     NOT NULL CHECK (version >= 1),
    content     jsonb       NOT NULL CHECK (jsonb_typeof(content) = 'object'),
    update_time timestamptz NOT NULL,
    updated_by  text        NOT NULL,
    PRIMARY KEY (shop_id, mapping_id),
    CONSTRAINT column_mappings_name UNIQUE (shop_id, name),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE column_mappings IS 'How the files of a shop system are read; overwritten, each change audited.';
CALL cullet_tenant_table('column_mappings', 'SELECT, INSERT, UPDATE (version, content, update_time, updated_by)');

CREATE TABLE imports (
    shop_id         uuid        NOT NULL,
    import_id       uuid        NOT NULL,
    state           text        NOT NULL CHECK (state IN ('RECEIVED', 'RUNNING', 'DONE', 'FAILED')),
    is_preview      boolean     NOT NULL,
    file_name       text        NOT NULL CHECK (char_length(file_name) <= 200),
    file_hash       bytea       NOT NULL CHECK (octet_length(file_hash) = 32),
    -- content is kept as it came: reading it again is how an import goes on after a crash.
    content         bytea       NOT NULL CHECK (octet_length(content) BETWEEN 1 AND 4194304),
    -- mapping is a copy: a mapping that is changed meanwhile does not change the import.
    mapping         jsonb       NOT NULL CHECK (jsonb_typeof(mapping) = 'object'),
    unused_columns  text[]      NOT NULL,
    record_count    integer     NOT NULL CHECK (record_count >= 1),
    done_count      integer     NOT NULL DEFAULT 0,
    recorded_count  integer     NOT NULL DEFAULT 0,
    known_count     integer     NOT NULL DEFAULT 0,
    conflict_count  integer     NOT NULL DEFAULT 0,
    refused_count   integer     NOT NULL DEFAULT 0,
    create_time     timestamptz NOT NULL,
    created_by      text        NOT NULL,
    finish_time     timestamptz,
    failure         text        NOT NULL DEFAULT '' CHECK (char_length(failure) <= 1000),
    PRIMARY KEY (shop_id, import_id),
    CHECK (done_count BETWEEN 0 AND record_count),
    CHECK (recorded_count + known_count + conflict_count + refused_count = done_count),
    CHECK ((state = 'DONE') = (done_count = record_count)),
    CHECK ((state IN ('DONE', 'FAILED')) = (finish_time IS NOT NULL)),
    CHECK ((state = 'FAILED') = (failure <> '')),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE imports IS 'Files of shop systems and how far each is.';
CALL cullet_tenant_table('imports', 'SELECT, INSERT, UPDATE (state, done_count, recorded_count, known_count, conflict_count, refused_count, finish_time, failure)');

CREATE TABLE import_rows (
    shop_id            uuid    NOT NULL,
    import_id          uuid    NOT NULL,
    record_number      integer NOT NULL CHECK (record_number >= 1),
    line_number        integer NOT NULL CHECK (line_number >= 1),
    row_numbers        jsonb   NOT NULL CHECK (jsonb_typeof(row_numbers) = 'array'),
    external_reference text    NOT NULL CHECK (char_length(external_reference) <= 100),
    outcome            text    NOT NULL CHECK (outcome IN ('RECORDED', 'KNOWN', 'CONFLICT', 'REFUSED', 'ACCEPTABLE')),
    job_id             uuid,
    faults             jsonb   NOT NULL CHECK (jsonb_typeof(faults) = 'array'),
    PRIMARY KEY (shop_id, import_id, record_number),
    CHECK (outcome <> 'RECORDED' OR job_id IS NOT NULL),
    FOREIGN KEY (shop_id, import_id) REFERENCES imports (shop_id, import_id)
);
COMMENT ON TABLE import_rows IS 'What became of each record of a file.';
CALL cullet_tenant_table('import_rows', 'SELECT, INSERT');
CALL cullet_append_only('import_rows');
CREATE INDEX import_rows_reference ON import_rows (shop_id, import_id, external_reference);
