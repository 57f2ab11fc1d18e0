-- Endpoints of shop systems and what was delivered to them.

-- +goose Up

CREATE TABLE endpoints (
    shop_id       uuid        NOT NULL,
    endpoint_id   uuid        NOT NULL,
    url           text        NOT NULL CHECK (char_length(url) BETWEEN 8 AND 2000),
    event_types   text[]      NOT NULL DEFAULT '{}',
    state         text        NOT NULL CHECK (state IN ('ACTIVE', 'PAUSED', 'DISABLED')),
    reason        text        NOT NULL DEFAULT '' CHECK (char_length(reason) <= 500),
    sealed_secret bytea       NOT NULL,
    failing_since timestamptz,
    create_time   timestamptz NOT NULL,
    PRIMARY KEY (shop_id, endpoint_id),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
CALL cullet_tenant_table('endpoints', 'SELECT, INSERT, UPDATE (state, reason, sealed_secret, failing_since)');

CREATE TABLE deliveries (
    shop_id           uuid        NOT NULL,
    delivery_id       uuid        NOT NULL,
    event_id          uuid        NOT NULL,
    endpoint_id       uuid        NOT NULL,
    state             text        NOT NULL CHECK (state IN ('PENDING', 'DELIVERED', 'DEAD')),
    attempt_count     integer     NOT NULL DEFAULT 0 CHECK (attempt_count >= 0),
    last_status       integer     NOT NULL DEFAULT 0,
    last_error        text        NOT NULL DEFAULT '' CHECK (char_length(last_error) <= 4500),
    next_attempt_time timestamptz,
    PRIMARY KEY (shop_id, delivery_id),
    CONSTRAINT deliveries_once UNIQUE (shop_id, event_id, endpoint_id),
    CHECK ((state = 'PENDING') = (next_attempt_time IS NOT NULL)),
    FOREIGN KEY (shop_id, event_id) REFERENCES events (shop_id, event_id),
    FOREIGN KEY (shop_id, endpoint_id) REFERENCES endpoints (shop_id, endpoint_id)
);
COMMENT ON TABLE deliveries IS 'Events on their way to endpoints; every one ends delivered or dead with a reason.';
CALL cullet_tenant_table('deliveries', 'SELECT, INSERT, UPDATE (state, attempt_count, last_status, last_error, next_attempt_time)');
CREATE INDEX deliveries_pending ON deliveries (shop_id, next_attempt_time) WHERE state = 'PENDING';

CREATE TABLE attempts (
    shop_id        uuid        NOT NULL,
    delivery_id    uuid        NOT NULL,
    attempt_number integer     NOT NULL CHECK (attempt_number >= 1),
    attempt_time   timestamptz NOT NULL,
    status         integer     NOT NULL,
    latency_ms     integer     NOT NULL CHECK (latency_ms >= 0),
    answer         text        NOT NULL CHECK (char_length(answer) <= 4096),
    PRIMARY KEY (shop_id, delivery_id, attempt_number),
    FOREIGN KEY (shop_id, delivery_id) REFERENCES deliveries (shop_id, delivery_id)
);
COMMENT ON TABLE attempts IS 'Every attempt of every delivery, with the first of what was answered.';
CALL cullet_tenant_table('attempts', 'SELECT, INSERT');
CALL cullet_append_only('attempts');
