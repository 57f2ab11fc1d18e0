-- What leaves the house and what comes back: stored before it is sent, stored before it is read.

-- +goose Up

CREATE TABLE runs (
    shop_id        uuid        NOT NULL,
    run_id         uuid        NOT NULL,
    business_date  date        NOT NULL,
    state          text        NOT NULL CHECK (state IN ('RUNNING', 'FINISHED', 'INCOMPLETE')),
    start_time     timestamptz NOT NULL,
    finish_time    timestamptz,
    fence          bigint      NOT NULL CHECK (fence >= 1),
    lease_until    timestamptz NOT NULL,
    released_count integer     NOT NULL DEFAULT 0,
    sent_count     integer     NOT NULL DEFAULT 0,
    sent_total     bigint      NOT NULL DEFAULT 0,
    currency_code  text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    held_reasons   jsonb       NOT NULL DEFAULT '[]' CHECK (jsonb_typeof(held_reasons) = 'array'),
    PRIMARY KEY (shop_id, run_id),
    CHECK ((state = 'RUNNING') = (finish_time IS NULL)),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE runs IS 'Nightly runs; a runner holds a lease and a fence that grows when another takes over.';
CALL cullet_tenant_table('runs', 'SELECT, INSERT, UPDATE');
CREATE UNIQUE INDEX runs_one_running ON runs (shop_id) WHERE state = 'RUNNING';

CREATE TABLE batches (
    shop_id           uuid        NOT NULL,
    batch_id          uuid        NOT NULL,
    run_id            uuid        NOT NULL,
    payer_id          uuid        NOT NULL,
    control_number    bigint      NOT NULL CHECK (control_number >= 1),
    state             text        NOT NULL CHECK (state IN ('BUILT', 'SENT', 'FAILED')),
    claim_ids         uuid[]      NOT NULL CHECK (cardinality(claim_ids) >= 1),
    claim_count       integer     NOT NULL CHECK (claim_count >= 1),
    currency_code     text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    total             bigint      NOT NULL,
    format            text        NOT NULL,
    channel           text        NOT NULL,
    file_name         text        NOT NULL,
    media_type        text        NOT NULL,
    document_hash     bytea       NOT NULL CHECK (octet_length(document_hash) = 32),
    size_bytes        bigint      NOT NULL CHECK (size_bytes > 0),
    build_time        timestamptz NOT NULL,
    attempt_count     integer     NOT NULL DEFAULT 0,
    next_attempt_time timestamptz,
    last_answer       text        NOT NULL DEFAULT '' CHECK (char_length(last_answer) <= 2000),
    receipt_reference text        NOT NULL DEFAULT '' CHECK (char_length(receipt_reference) <= 200),
    send_time         timestamptz,
    PRIMARY KEY (shop_id, batch_id),
    CONSTRAINT batches_control_number UNIQUE (shop_id, payer_id, control_number),
    CHECK ((state = 'SENT') = (send_time IS NOT NULL)),
    CHECK (claim_count = cardinality(claim_ids)),
    FOREIGN KEY (shop_id, run_id) REFERENCES runs (shop_id, run_id),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id)
);
COMMENT ON TABLE batches IS 'One document for one payer under one control number.';
CALL cullet_tenant_table('batches', 'SELECT, INSERT, UPDATE (state, attempt_count, next_attempt_time, last_answer, receipt_reference, send_time)');
CREATE INDEX batches_open ON batches (shop_id, payer_id, batch_id) WHERE state = 'BUILT';
CREATE INDEX batches_run ON batches (shop_id, run_id);

CREATE TABLE batch_documents (
    shop_id  uuid  NOT NULL,
    batch_id uuid  NOT NULL,
    content  bytea NOT NULL,
    PRIMARY KEY (shop_id, batch_id),
    FOREIGN KEY (shop_id, batch_id) REFERENCES batches (shop_id, batch_id)
);
COMMENT ON TABLE batch_documents IS 'The very bytes that are sent, and sent again.';
CALL cullet_tenant_table('batch_documents', 'SELECT, INSERT');
CALL cullet_append_only('batch_documents');
ALTER TABLE batch_documents ALTER COLUMN content SET STORAGE EXTERNAL;

CREATE TABLE messages (
    shop_id      uuid        NOT NULL,
    message_id   uuid        NOT NULL,
    payer_id     uuid        NOT NULL,
    external_id  text        NOT NULL CHECK (char_length(external_id) BETWEEN 1 AND 200),
    via          text        NOT NULL CHECK (char_length(via) BETWEEN 1 AND 40),
    state        text        NOT NULL CHECK (state IN ('RECEIVED', 'POSTED', 'UNKNOWN_CLAIM', 'REFUSED')),
    headers      jsonb       NOT NULL DEFAULT '{}',
    body         bytea       NOT NULL,
    receive_time timestamptz NOT NULL,
    sentence     text        NOT NULL DEFAULT '' CHECK (char_length(sentence) <= 2000),
    PRIMARY KEY (shop_id, message_id),
    CONSTRAINT messages_external_id UNIQUE (shop_id, payer_id, via, external_id),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id)
);
COMMENT ON TABLE messages IS 'The inbox: what payers sent, raw, kept at least 90 days.';
CALL cullet_tenant_table('messages', 'SELECT, INSERT, UPDATE (state, sentence)');
CREATE INDEX messages_to_do ON messages (shop_id, message_id) WHERE state IN ('RECEIVED', 'UNKNOWN_CLAIM');

-- One answer of a payer has one effect, under whatever message it comes.
CREATE TABLE answers (
    shop_id     uuid        NOT NULL,
    payer_id    uuid        NOT NULL,
    external_id text        NOT NULL CHECK (char_length(external_id) BETWEEN 1 AND 200),
    message_id  uuid        NOT NULL,
    claim_id    uuid        NOT NULL,
    -- batch_id is the submission that is answered; answers to an earlier one settle nothing.
    batch_id    uuid        NOT NULL,
    state       text        NOT NULL CHECK (state IN ('ACKNOWLEDGED', 'ACCEPTED', 'REJECTED', 'INFORMATION_REQUESTED', 'DENIED')),
    occur_time  timestamptz NOT NULL,
    apply_time  timestamptz NOT NULL,
    PRIMARY KEY (shop_id, payer_id, external_id, claim_id),
    FOREIGN KEY (shop_id, message_id) REFERENCES messages (shop_id, message_id),
    FOREIGN KEY (shop_id, claim_id) REFERENCES claims (shop_id, claim_id),
    FOREIGN KEY (shop_id, batch_id) REFERENCES batches (shop_id, batch_id)
);
COMMENT ON TABLE answers IS 'Answers that had their effect.';
CALL cullet_tenant_table('answers', 'SELECT, INSERT');
CALL cullet_append_only('answers');
CREATE INDEX answers_claim ON answers (shop_id, claim_id, batch_id);
