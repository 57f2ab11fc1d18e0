-- A block of law may be overruled by whoever has that right; the reason is kept for ever.

-- +goose Up

CREATE TABLE overrulings (
    shop_id       uuid        NOT NULL,
    claim_id      uuid        NOT NULL,
    code          text        NOT NULL CHECK (char_length(code) BETWEEN 1 AND 60),
    path          text        NOT NULL CHECK (char_length(path) BETWEEN 1 AND 200),
    reason        text        NOT NULL CHECK (char_length(reason) BETWEEN 3 AND 2000),
    overruled_by  text        NOT NULL CHECK (char_length(overruled_by) BETWEEN 1 AND 200),
    overrule_time timestamptz NOT NULL,
    PRIMARY KEY (shop_id, claim_id, code, path),
    FOREIGN KEY (shop_id, claim_id) REFERENCES claims (shop_id, claim_id)
);
COMMENT ON TABLE overrulings IS 'Findings that a person took the responsibility for, with the reason.';
CALL cullet_tenant_table('overrulings', 'SELECT, INSERT');
CALL cullet_append_only('overrulings');
