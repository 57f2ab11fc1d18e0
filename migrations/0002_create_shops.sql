-- Shops and keys: everything else belongs to a shop, and whoever calls shows a key.

-- +goose Up

CREATE TABLE shops (
    shop_id     uuid        NOT NULL,
    settings    jsonb       NOT NULL CHECK (jsonb_typeof(settings) = 'object'),
    version     integer     NOT NULL DEFAULT 1 CHECK (version >= 1),
    create_time timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (shop_id)
);
COMMENT ON TABLE shops IS 'The repair businesses; settings is access.Shop.';
CALL cullet_tenant_table('shops', 'SELECT, INSERT, UPDATE (settings, version)');

CREATE TABLE keys (
    shop_id     uuid        NOT NULL,
    key_id      uuid        NOT NULL,
    name        text        NOT NULL CHECK (char_length(name) BETWEEN 1 AND 200),
    role        text        NOT NULL CHECK (role IN ('OWNER', 'CLERK', 'SYSTEM', 'READER')),
    prefix      text        NOT NULL CHECK (char_length(prefix) BETWEEN 4 AND 20),
    create_time timestamptz NOT NULL,
    expire_time timestamptz,
    revoke_time timestamptz,
    PRIMARY KEY (shop_id, key_id),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE keys IS 'Keys without their secrets.';
CALL cullet_tenant_table('keys', 'SELECT, INSERT, UPDATE (revoke_time)');

-- Without row-level security: a call shows a secret before anybody knows whose it is. No personal
-- data, and the secret is only here as a hash of 256 random bits.
CREATE TABLE key_hashes (
    key_hash bytea NOT NULL CHECK (octet_length(key_hash) = 32),
    shop_id  uuid  NOT NULL,
    key_id   uuid  NOT NULL,
    PRIMARY KEY (key_hash),
    FOREIGN KEY (shop_id, key_id) REFERENCES keys (shop_id, key_id)
);
COMMENT ON TABLE key_hashes IS 'Which key a secret is, by SHA-256; no personal data.';
REVOKE ALL ON key_hashes FROM PUBLIC;
GRANT SELECT, INSERT ON key_hashes TO cullet_runtime;
