-- Payers and customers: who is billed, what they demand, and for whom the shop works.

-- +goose Up

CREATE TABLE payers (
    shop_id         uuid        NOT NULL,
    payer_id        uuid        NOT NULL,
    code            text        NOT NULL CHECK (code ~ '^[a-z0-9][a-z0-9-]{0,59}$'),
    name            text        NOT NULL CHECK (char_length(name) BETWEEN 1 AND 200),
    kind            text        NOT NULL CHECK (kind IN ('INSURER', 'FLEET', 'GOVERNMENT', 'MOTORIST')),
    profile_version integer     NOT NULL CHECK (profile_version >= 1),
    version         integer     NOT NULL DEFAULT 1 CHECK (version >= 1),
    inbound_route   text        NOT NULL CHECK (inbound_route ~ '^[A-Za-z0-9_-]{16,64}$'),
    create_time     timestamptz NOT NULL,
    PRIMARY KEY (shop_id, payer_id),
    CONSTRAINT payers_code UNIQUE (shop_id, code),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
-- One row holds the list prices of whoever pays himself.
CREATE UNIQUE INDEX payers_motorist ON payers (shop_id) WHERE kind = 'MOTORIST';
CALL cullet_tenant_table('payers', 'SELECT, INSERT, UPDATE (name, profile_version, version)');

CREATE TABLE payer_profiles (
    shop_id     uuid        NOT NULL,
    payer_id    uuid        NOT NULL,
    version     integer     NOT NULL CHECK (version >= 1),
    profile     jsonb       NOT NULL CHECK (jsonb_typeof(profile) = 'object'),
    create_time timestamptz NOT NULL,
    created_by  text        NOT NULL,
    PRIMARY KEY (shop_id, payer_id, version),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id)
);
COMMENT ON TABLE payer_profiles IS 'Every version of every profile; a claim remembers which one checked it.';
CALL cullet_tenant_table('payer_profiles', 'SELECT, INSERT');
CALL cullet_append_only('payer_profiles');

CREATE TABLE payer_credentials (
    shop_id    uuid        NOT NULL,
    payer_id   uuid        NOT NULL,
    sealed     bytea       NOT NULL,
    store_time timestamptz NOT NULL,
    PRIMARY KEY (shop_id, payer_id),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id)
);
COMMENT ON TABLE payer_credentials IS 'Credentials, sealed with a key that is not in the database.';
CALL cullet_tenant_table('payer_credentials', 'SELECT, INSERT, UPDATE (sealed, store_time)');

-- Without row-level security: a payer's webhook names a route before anybody knows whose it is.
CREATE TABLE inbound_routes (
    route    text NOT NULL CHECK (route ~ '^[A-Za-z0-9_-]{16,64}$'),
    shop_id  uuid NOT NULL,
    payer_id uuid NOT NULL,
    PRIMARY KEY (route),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id)
);
COMMENT ON TABLE inbound_routes IS 'Which payer a webhook path belongs to; no personal data.';
REVOKE ALL ON inbound_routes FROM PUBLIC;
GRANT SELECT, INSERT ON inbound_routes TO cullet_runtime;

CREATE TABLE customers (
    shop_id     uuid        NOT NULL,
    customer_id uuid        NOT NULL,
    name        text        NOT NULL CHECK (char_length(name) BETWEEN 1 AND 200),
    detail      jsonb       NOT NULL CHECK (jsonb_typeof(detail) = 'object'),
    create_time timestamptz NOT NULL,
    PRIMARY KEY (shop_id, customer_id),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
CALL cullet_tenant_table('customers', 'SELECT, INSERT');
