-- Claims. What changes often is narrow and stands in claims; what is long and changes seldom
-- (coverage, findings, lines, the frozen payload) stands beside it, so that a night of 100,000
-- claims rewrites little.

-- +goose Up

CREATE TABLE claims (
    shop_id              uuid        NOT NULL,
    claim_id             uuid        NOT NULL,
    sequence             bigint      NOT NULL CHECK (sequence >= 1),
    job_id               uuid        NOT NULL,
    job_version          integer     NOT NULL,
    payer_id             uuid        NOT NULL,
    profile_version      integer     NOT NULL,
    state                text        NOT NULL CHECK (state IN ('DRAFT', 'READY', 'RELEASED', 'SUBMITTED',
        'ACKNOWLEDGED', 'ACCEPTED', 'REJECTED', 'INFORMATION_REQUESTED', 'DENIED', 'WITHDRAWN')),
    version              integer     NOT NULL CHECK (version >= 1),
    stop_count           smallint    NOT NULL CHECK (stop_count >= 0),
    currency_code        text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    net                  bigint      NOT NULL CHECK (net BETWEEN -100000000000000000 AND 100000000000000000),
    tax                  bigint      NOT NULL CHECK (tax BETWEEN -100000000000000000 AND 100000000000000000),
    total                bigint      NOT NULL CHECK (total BETWEEN -100000000000000000 AND 100000000000000000),
    payer_share          bigint      NOT NULL CHECK (payer_share BETWEEN 0 AND 100000000000000000),
    motorist_share       bigint      NOT NULL CHECK (motorist_share BETWEEN 0 AND 100000000000000000),
    filing_deadline      date,
    hold_reason          text        NOT NULL DEFAULT '' CHECK (char_length(hold_reason) <= 500),
    hold_until           date,
    held_by              text        NOT NULL DEFAULT '',
    invoice_id           uuid,
    -- batch_id has no foreign key: it is set by the statement that inserts the batch, for up to a
    -- thousand claims at once, and the check by row would cost more than the night's work.
    batch_id             uuid,
    create_time          timestamptz NOT NULL,
    update_time          timestamptz NOT NULL,
    submit_time          timestamptz,
    answer_due           timestamptz,
    answer_time          timestamptz,
    payer_reference      text        NOT NULL DEFAULT '' CHECK (char_length(payer_reference) <= 200),
    payer_reason         text        NOT NULL DEFAULT '' CHECK (char_length(payer_reason) <= 4000),
    vin                  text        NOT NULL,
    repair_date          date        NOT NULL,
    motorist_name        text        NOT NULL,
    policy_number        text        NOT NULL,
    authorization_number text        NOT NULL,
    supplement_of        uuid,
    PRIMARY KEY (shop_id, claim_id),
    CONSTRAINT claims_sequence UNIQUE (shop_id, sequence),
    CHECK (net + tax = total),
    CHECK (payer_share + motorist_share = total),
    CHECK ((state = 'DRAFT') OR (stop_count = 0) OR state = 'WITHDRAWN'),
    CHECK (state NOT IN ('RELEASED', 'SUBMITTED', 'ACKNOWLEDGED', 'ACCEPTED') OR invoice_id IS NOT NULL),
    FOREIGN KEY (shop_id, job_id, job_version) REFERENCES jobs (shop_id, job_id, version),
    FOREIGN KEY (shop_id, payer_id, profile_version) REFERENCES payer_profiles (shop_id, payer_id, version),
    FOREIGN KEY (shop_id, supplement_of) REFERENCES claims (shop_id, claim_id)
);
COMMENT ON TABLE claims IS 'Claims: what changes often.';
CALL cullet_tenant_table('claims', 'SELECT, INSERT, UPDATE');
ALTER TABLE claims SET (fillfactor = 80);
CREATE UNIQUE INDEX claims_live ON claims (shop_id, job_id, payer_id)
    WHERE state <> 'WITHDRAWN' AND supplement_of IS NULL;
CREATE INDEX claims_released ON claims (shop_id, payer_id, claim_id) WHERE state = 'RELEASED' AND batch_id IS NULL;
CREATE INDEX claims_ready ON claims (shop_id, payer_id, claim_id) WHERE state = 'READY';
CREATE INDEX claims_to_do ON claims (shop_id, state, claim_id)
    WHERE state IN ('DRAFT', 'READY', 'REJECTED', 'INFORMATION_REQUESTED', 'DENIED');
CREATE INDEX claims_answer_due ON claims (shop_id, answer_due) WHERE state IN ('SUBMITTED', 'ACKNOWLEDGED');
CREATE INDEX claims_batch ON claims (shop_id, batch_id) WHERE batch_id IS NOT NULL;
CREATE INDEX claims_vin ON claims (shop_id, vin);
CREATE INDEX claims_authorization ON claims (shop_id, payer_id, authorization_number) WHERE authorization_number <> '';
CREATE INDEX claims_vin_tail ON claims (shop_id, right(vin, 6));
CREATE INDEX claims_invoice ON claims (shop_id, invoice_id) WHERE invoice_id IS NOT NULL;

CREATE TABLE claim_contents (
    shop_id      uuid  NOT NULL,
    claim_id     uuid  NOT NULL,
    coverage     jsonb NOT NULL CHECK (jsonb_typeof(coverage) = 'object'),
    findings     jsonb NOT NULL CHECK (jsonb_typeof(findings) = 'array'),
    lines        jsonb NOT NULL CHECK (jsonb_typeof(lines) = 'array'),
    -- payload is the generic claim payload as it was frozen at release, byte for byte.
    payload      bytea,
    payload_hash bytea CHECK (octet_length(payload_hash) = 32),
    PRIMARY KEY (shop_id, claim_id),
    CHECK ((payload IS NULL) = (payload_hash IS NULL)),
    FOREIGN KEY (shop_id, claim_id) REFERENCES claims (shop_id, claim_id)
);
COMMENT ON TABLE claim_contents IS 'Claims: what is long and changes seldom.';
CALL cullet_tenant_table('claim_contents', 'SELECT, INSERT, UPDATE');
