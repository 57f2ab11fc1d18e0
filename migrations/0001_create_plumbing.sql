-- The plumbing that every room needs before it can keep anything: the tenant law as a procedure,
-- request ids, the work queue, events, number series and audit entries.
--
-- The law: a tenant table has shop_id uuid first in every key, row-level security enabled and
-- forced, composite foreign keys (shop_id, id), CHECKed states, and only the grants that the
-- runtime role needs. services/internal/pg/catalogue_test.go fails on a table that breaks it.
-- Roles are made with the cluster; pg.Migrate refuses to run without cullet_runtime.

-- +goose Up

GRANT USAGE ON SCHEMA public TO cullet_runtime;
GRANT SELECT ON goose_db_version TO cullet_runtime;
ALTER DEFAULT PRIVILEGES REVOKE EXECUTE ON FUNCTIONS FROM PUBLIC;

-- cullet_tenant_table puts a table under the tenant law. Grants is what the runtime role may do:
-- 'SELECT, INSERT, UPDATE (state), DELETE'. Call it right after CREATE TABLE.
-- +goose StatementBegin
CREATE PROCEDURE cullet_tenant_table(name regclass, grants text)
LANGUAGE plpgsql
SET search_path = public, pg_temp
AS $$
DECLARE
    mine CONSTANT text := $q$shop_id = NULLIF(current_setting('cullet.shop_id', true), '')::uuid$q$;
BEGIN
    IF NOT EXISTS (SELECT FROM pg_attribute
                   WHERE attrelid = name AND attname = 'shop_id' AND attnotnull
                     AND atttypid = 'uuid'::regtype AND NOT attisdropped) THEN
        RAISE EXCEPTION 'table % has no column "shop_id uuid NOT NULL"', name;
    END IF;
    IF grants ~* '\m(ALL|TRUNCATE|REFERENCES|TRIGGER)\M' THEN
        RAISE EXCEPTION 'the runtime role may not be granted "%" on %', grants, name;
    END IF;
    EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY', name);
    EXECUTE format('ALTER TABLE %s FORCE ROW LEVEL SECURITY', name);
    EXECUTE format('CREATE POLICY tenant ON %s USING (%s) WITH CHECK (%s)', name, mine, mine);
    EXECUTE format('REVOKE ALL ON %s FROM PUBLIC, cullet_runtime', name);
    EXECUTE format('GRANT %s ON %s TO cullet_runtime', grants, name);
END
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION cullet_refuse_change() RETURNS trigger
LANGUAGE plpgsql
AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: % is refused', TG_TABLE_NAME, TG_OP
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'append_only', TABLE = TG_TABLE_NAME;
END
$$;
-- +goose StatementEnd

-- cullet_append_only makes a table refuse UPDATE, DELETE and TRUNCATE, whoever asks.
-- +goose StatementBegin
CREATE PROCEDURE cullet_append_only(name regclass)
LANGUAGE plpgsql
SET search_path = public, pg_temp
AS $$
BEGIN
    EXECUTE format('CREATE TRIGGER append_only BEFORE UPDATE OR DELETE ON %s
                    FOR EACH ROW EXECUTE FUNCTION cullet_refuse_change()', name);
    EXECUTE format('CREATE TRIGGER append_only_whole BEFORE TRUNCATE ON %s
                    FOR EACH STATEMENT EXECUTE FUNCTION cullet_refuse_change()', name);
    EXECUTE format('REVOKE UPDATE, DELETE, TRUNCATE ON %s FROM PUBLIC, cullet_runtime', name);
END
$$;
-- +goose StatementEnd

REVOKE EXECUTE ON PROCEDURE cullet_tenant_table(regclass, text) FROM PUBLIC;
REVOKE EXECUTE ON PROCEDURE cullet_append_only(regclass) FROM PUBLIC;
REVOKE EXECUTE ON FUNCTION cullet_refuse_change() FROM PUBLIC;

-- Request ids: the answer of every mutating call, stored with its effect.
CREATE TABLE requests (
    shop_id      uuid        NOT NULL,
    caller       text        NOT NULL CHECK (char_length(caller) BETWEEN 1 AND 200),
    method       text        NOT NULL CHECK (char_length(method) BETWEEN 1 AND 200),
    request_id   text        NOT NULL CHECK (char_length(request_id) BETWEEN 1 AND 128),
    fingerprint  bytea       NOT NULL CHECK (octet_length(fingerprint) BETWEEN 1 AND 64),
    answer       bytea,
    created_time timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (shop_id, caller, method, request_id)
);
COMMENT ON TABLE requests IS 'Answers by request id, kept at least 90 days.';
CALL cullet_tenant_table('requests', 'SELECT, INSERT, UPDATE (answer), DELETE');
CREATE INDEX requests_created ON requests (shop_id, created_time);
CREATE POLICY kept_90_days ON requests AS RESTRICTIVE FOR DELETE
    USING (created_time < now() - interval '90 days');

-- The queue: one row is one thing to be done; done is deleted. Without row-level security,
-- because workers serve all shops: so no personal data here, the key is an id.
CREATE TABLE work (
    work_id        bigint      GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    shop_id        uuid        NOT NULL,
    topic          text        NOT NULL CHECK (topic ~ '^[a-z][a-z_]*\.[a-z][a-z_]*$'),
    key            text        NOT NULL CHECK (char_length(key) BETWEEN 1 AND 200),
    available_time timestamptz NOT NULL DEFAULT now(),
    attempts       integer     NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    -- lease_number fences: it rises with every claim, and only its holder may finish the row.
    lease_number   bigint      NOT NULL DEFAULT 0 CHECK (lease_number >= 0),
    -- generation counts how often the same thing was asked for while it waited or ran.
    generation     integer     NOT NULL DEFAULT 1 CHECK (generation >= 1),
    lease_until    timestamptz,
    last_error     text        CHECK (char_length(last_error) <= 200),
    created_time   timestamptz NOT NULL DEFAULT now(),
    CONSTRAINT work_once UNIQUE (shop_id, topic, key)
);
COMMENT ON TABLE work IS
    'Things to be done, claimed with FOR UPDATE SKIP LOCKED; no personal data.';
-- A claim moves available_time to the end of its lease, so one index finds both what is due and
-- what a dead worker left.
CREATE INDEX work_due ON work (topic, available_time, work_id);
CREATE INDEX work_failing ON work (topic, attempts) WHERE last_error IS NOT NULL;
REVOKE ALL ON work FROM PUBLIC;
GRANT SELECT, INSERT, UPDATE, DELETE ON work TO cullet_runtime;

-- +goose StatementBegin
CREATE FUNCTION cullet_wake_workers() RETURNS trigger
LANGUAGE plpgsql
AS $$
BEGIN
    PERFORM pg_notify('cullet_work', '');
    RETURN NULL;
END
$$;
-- +goose StatementEnd
REVOKE EXECUTE ON FUNCTION cullet_wake_workers() FROM PUBLIC;
CREATE TRIGGER wake_workers AFTER INSERT ON work
    FOR EACH STATEMENT EXECUTE FUNCTION cullet_wake_workers();

-- Events: the timeline of every subject and the source of webhooks, written in the transaction
-- of the change that they tell.
CREATE TABLE events (
    shop_id         uuid        NOT NULL,
    event_id        uuid        NOT NULL,
    type            text        NOT NULL CHECK (type ~ '^[a-z][a-z_]*(\.[a-z][a-z_]*)+$'),
    subject_kind    text        NOT NULL CHECK (subject_kind ~ '^[a-z][a-z_]*$'),
    subject_id      uuid        NOT NULL,
    subject_version integer     NOT NULL CHECK (subject_version >= 1),
    occurred_time   timestamptz NOT NULL,
    actor           text        NOT NULL CHECK (char_length(actor) BETWEEN 1 AND 200),
    data            jsonb       NOT NULL CHECK (jsonb_typeof(data) = 'object'),
    PRIMARY KEY (shop_id, event_id),
    CONSTRAINT events_subject_version UNIQUE (shop_id, subject_kind, subject_id, subject_version)
);
COMMENT ON TABLE events IS 'What happened to a subject, in the order of its versions; append-only.';
CALL cullet_tenant_table('events', 'SELECT, INSERT');
CALL cullet_append_only('events');

-- Number series: counter rows, taken in the issuing transaction, so numbers have no gaps.
CREATE TABLE number_series (
    shop_id     uuid   NOT NULL,
    series      text   NOT NULL CHECK (char_length(series) BETWEEN 1 AND 100),
    next_number bigint NOT NULL CHECK (next_number BETWEEN 1 AND 999999999999),
    PRIMARY KEY (shop_id, series)
);
COMMENT ON TABLE number_series IS 'The next number of each series; only ever rises.';
CALL cullet_tenant_table('number_series', 'SELECT, INSERT, UPDATE (next_number)');
-- +goose StatementBegin
CREATE FUNCTION cullet_series_rises() RETURNS trigger
LANGUAGE plpgsql
AS $$
BEGIN
    RAISE EXCEPTION 'series % may not go back from % to %', OLD.series, OLD.next_number, NEW.next_number
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'number_series_rises', TABLE = 'number_series';
END
$$;
-- +goose StatementEnd
REVOKE EXECUTE ON FUNCTION cullet_series_rises() FROM PUBLIC;
CREATE TRIGGER rises BEFORE UPDATE ON number_series
    FOR EACH ROW WHEN (NEW.next_number <= OLD.next_number) EXECUTE FUNCTION cullet_series_rises();

-- Audit entries: who did what, written in the transaction of the change.
CREATE TABLE audit_entries (
    shop_id       uuid        NOT NULL,
    audit_id      uuid        NOT NULL,
    occurred_time timestamptz NOT NULL,
    actor         text        NOT NULL CHECK (char_length(actor) BETWEEN 1 AND 200),
    action        text        NOT NULL CHECK (action ~ '^[a-z][a-z_]*(\.[a-z][a-z_]*)+$'),
    subject_kind  text        NOT NULL CHECK (subject_kind ~ '^[a-z][a-z_]*$'),
    subject_id    uuid        NOT NULL,
    detail        jsonb       NOT NULL CHECK (jsonb_typeof(detail) = 'object'),
    PRIMARY KEY (shop_id, audit_id)
);
COMMENT ON TABLE audit_entries IS 'Who did what; append-only.';
CALL cullet_tenant_table('audit_entries', 'SELECT, INSERT');
CALL cullet_append_only('audit_entries');
CREATE INDEX audit_entries_subject ON audit_entries (shop_id, subject_kind, subject_id, occurred_time);
