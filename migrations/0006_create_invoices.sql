-- The money: documents with numbers without gaps, who owes what, the journal, what was paid.

-- +goose Up

CREATE TABLE invoices (
    shop_id            uuid        NOT NULL,
    invoice_id         uuid        NOT NULL,
    kind               text        NOT NULL CHECK (kind IN ('INVOICE', 'CREDIT_NOTE')),
    series             text        NOT NULL CHECK (char_length(series) BETWEEN 1 AND 40),
    sequence           bigint      NOT NULL CHECK (sequence >= 1),
    number             text        NOT NULL CHECK (char_length(number) BETWEEN 1 AND 40),
    credits_invoice_id uuid,
    issue_date         date        NOT NULL,
    due_date           date        NOT NULL,
    issue_time         timestamptz NOT NULL,
    payer_id           uuid,
    bill_to_name       text        NOT NULL,
    purchase_order     text        NOT NULL DEFAULT '',
    currency_code      text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    net                bigint      NOT NULL CHECK (net BETWEEN 0 AND 100000000000000000),
    tax                bigint      NOT NULL CHECK (tax BETWEEN 0 AND 100000000000000000),
    total              bigint      NOT NULL CHECK (total BETWEEN 0 AND 100000000000000000),
    -- parties holds seller, remit-to and bill-to as they were on the day of issue.
    parties            jsonb       NOT NULL CHECK (jsonb_typeof(parties) = 'object'),
    PRIMARY KEY (shop_id, invoice_id),
    CONSTRAINT invoices_sequence UNIQUE (shop_id, series, sequence),
    CONSTRAINT invoices_number UNIQUE (shop_id, number),
    CHECK (net + tax = total),
    CHECK ((kind = 'CREDIT_NOTE') = (credits_invoice_id IS NOT NULL)),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id),
    FOREIGN KEY (shop_id, credits_invoice_id) REFERENCES invoices (shop_id, invoice_id)
);
COMMENT ON TABLE invoices IS 'Invoices and credit notes; never edited.';
CALL cullet_tenant_table('invoices', 'SELECT, INSERT');
CALL cullet_append_only('invoices');
CREATE INDEX invoices_credits ON invoices (shop_id, credits_invoice_id) WHERE credits_invoice_id IS NOT NULL;

-- A number needs the one before it, issued on the same day or earlier: no gap, dates monotone.
-- +goose StatementBegin
CREATE FUNCTION cullet_invoices_follow() RETURNS trigger
LANGUAGE plpgsql
AS $$
DECLARE
    lonely text;
BEGIN
    SELECT n.number INTO lonely FROM inserted n
    WHERE n.sequence > 1 AND NOT EXISTS (
        SELECT FROM invoices p
        WHERE p.shop_id = n.shop_id AND p.series = n.series AND p.sequence = n.sequence - 1
          AND p.issue_date <= n.issue_date)
    LIMIT 1;
    IF lonely IS NOT NULL THEN
        RAISE EXCEPTION 'document % does not follow the one before it in number and date', lonely
            USING ERRCODE = 'check_violation', CONSTRAINT = 'invoices_follow', TABLE = 'invoices';
    END IF;
    RETURN NULL;
END
$$;
-- +goose StatementEnd
REVOKE EXECUTE ON FUNCTION cullet_invoices_follow() FROM PUBLIC;
CREATE TRIGGER follow AFTER INSERT ON invoices REFERENCING NEW TABLE AS inserted
    FOR EACH STATEMENT EXECUTE FUNCTION cullet_invoices_follow();

CREATE TABLE invoice_lines (
    shop_id     uuid    NOT NULL,
    invoice_id  uuid    NOT NULL,
    line_number integer NOT NULL CHECK (line_number >= 1),
    claim_id    uuid,
    job_id      uuid    NOT NULL,
    kind        text    NOT NULL,
    net         bigint  NOT NULL CHECK (net BETWEEN -100000000000000000 AND 100000000000000000),
    tax         bigint  NOT NULL CHECK (tax BETWEEN -100000000000000000 AND 100000000000000000),
    -- content is invoices.Line: description, price, every tax explained.
    content     jsonb   NOT NULL CHECK (jsonb_typeof(content) = 'object'),
    PRIMARY KEY (shop_id, invoice_id, line_number),
    FOREIGN KEY (shop_id, invoice_id) REFERENCES invoices (shop_id, invoice_id),
    FOREIGN KEY (shop_id, claim_id) REFERENCES claims (shop_id, claim_id)
);
COMMENT ON TABLE invoice_lines IS 'Lines of documents; each knows its claim and its job.';
CALL cullet_tenant_table('invoice_lines', 'SELECT, INSERT');
CALL cullet_append_only('invoice_lines');
CREATE INDEX invoice_lines_claim ON invoice_lines (shop_id, claim_id) WHERE claim_id IS NOT NULL;
CREATE INDEX invoice_lines_job ON invoice_lines (shop_id, job_id);

CREATE TABLE receivables (
    shop_id       uuid   NOT NULL,
    receivable_id uuid   NOT NULL,
    invoice_id    uuid   NOT NULL,
    debtor_kind   text   NOT NULL CHECK (debtor_kind IN ('PAYER', 'MOTORIST')),
    debtor_name   text   NOT NULL,
    payer_id      uuid,
    currency_code text   NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    amount        bigint NOT NULL CHECK (amount BETWEEN 0 AND 100000000000000000),
    open_amount   bigint NOT NULL CHECK (open_amount >= 0),
    issue_date    date   NOT NULL,
    due_date      date   NOT NULL,
    PRIMARY KEY (shop_id, receivable_id),
    CONSTRAINT receivables_debtor UNIQUE (shop_id, invoice_id, debtor_kind),
    CHECK (open_amount <= amount),
    CHECK ((debtor_kind = 'PAYER') = (payer_id IS NOT NULL)),
    FOREIGN KEY (shop_id, invoice_id) REFERENCES invoices (shop_id, invoice_id),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id)
);
COMMENT ON TABLE receivables IS 'What each debtor owes of an invoice; only open_amount ever changes.';
CALL cullet_tenant_table('receivables', 'SELECT, INSERT, UPDATE (open_amount)');
CREATE INDEX receivables_open ON receivables (shop_id, payer_id, due_date)
    INCLUDE (debtor_kind, debtor_name, open_amount, currency_code, invoice_id) WHERE open_amount > 0;

CREATE TABLE journal_entries (
    shop_id           uuid        NOT NULL,
    entry_id          uuid        NOT NULL,
    entry_date        date        NOT NULL,
    document_kind     text        NOT NULL CHECK (document_kind IN
        ('invoice', 'credit_note', 'remittance', 'allocation', 'payment', 'write_off', 'reversal')),
    document_id       uuid        NOT NULL,
    memo              text        NOT NULL CHECK (char_length(memo) <= 500),
    reverses_entry_id uuid,
    post_time         timestamptz NOT NULL,
    PRIMARY KEY (shop_id, entry_id),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id),
    FOREIGN KEY (shop_id, reverses_entry_id) REFERENCES journal_entries (shop_id, entry_id)
);
COMMENT ON TABLE journal_entries IS 'The journal; never edited, turned back by another entry.';
CALL cullet_tenant_table('journal_entries', 'SELECT, INSERT');
CALL cullet_append_only('journal_entries');
CREATE INDEX journal_entries_document ON journal_entries (shop_id, document_id);

CREATE TABLE journal_lines (
    shop_id           uuid     NOT NULL,
    entry_id          uuid     NOT NULL,
    line_number       smallint NOT NULL CHECK (line_number >= 1),
    account           text     NOT NULL CHECK (account ~ '^[a-z][a-z_]*(\.[a-z][a-z_]*)?$'),
    jurisdiction_code text     NOT NULL DEFAULT '',
    payer_id          uuid,
    currency_code     text     NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    -- amount is positive for a debit, negative for a credit.
    amount            bigint   NOT NULL CHECK (amount <> 0 AND amount BETWEEN -100000000000000000 AND 100000000000000000),
    PRIMARY KEY (shop_id, entry_id, line_number),
    FOREIGN KEY (shop_id, entry_id) REFERENCES journal_entries (shop_id, entry_id)
);
COMMENT ON TABLE journal_lines IS 'Postings; those of an entry sum to zero in each currency.';
CALL cullet_tenant_table('journal_lines', 'SELECT, INSERT');
CALL cullet_append_only('journal_lines');
CREATE INDEX journal_lines_account ON journal_lines (shop_id, account) INCLUDE (amount, currency_code, entry_id);

-- All postings of an entry come in one statement and balance; a later one is refused.
-- +goose StatementBegin
CREATE FUNCTION cullet_journal_balances() RETURNS trigger
LANGUAGE plpgsql
AS $$
DECLARE
    bad uuid;
BEGIN
    SELECT i.entry_id INTO bad FROM inserted i
    GROUP BY i.shop_id, i.entry_id, i.currency_code HAVING sum(i.amount) <> 0 LIMIT 1;
    IF bad IS NOT NULL THEN
        RAISE EXCEPTION 'journal entry % does not balance', bad
            USING ERRCODE = 'check_violation', CONSTRAINT = 'journal_balances', TABLE = 'journal_lines';
    END IF;
    SELECT i.entry_id INTO bad FROM (SELECT shop_id, entry_id, count(*) AS added FROM inserted GROUP BY 1, 2) i
    WHERE i.added <> (SELECT count(*) FROM journal_lines l WHERE l.shop_id = i.shop_id AND l.entry_id = i.entry_id)
    LIMIT 1;
    IF bad IS NOT NULL THEN
        RAISE EXCEPTION 'journal entry % was posted before', bad
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'journal_closed_entry', TABLE = 'journal_lines';
    END IF;
    RETURN NULL;
END
$$;
-- +goose StatementEnd
REVOKE EXECUTE ON FUNCTION cullet_journal_balances() FROM PUBLIC;
CREATE TRIGGER balances AFTER INSERT ON journal_lines REFERENCING NEW TABLE AS inserted
    FOR EACH STATEMENT EXECUTE FUNCTION cullet_journal_balances();

CREATE TABLE payments (
    shop_id       uuid        NOT NULL,
    payment_id    uuid        NOT NULL,
    invoice_id    uuid        NOT NULL,
    method        text        NOT NULL CHECK (method IN ('CASH', 'CARD', 'CHECK', 'TRANSFER')),
    currency_code text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    amount        bigint      NOT NULL CHECK (amount BETWEEN 1 AND 100000000000000000),
    reference     text        NOT NULL DEFAULT '' CHECK (char_length(reference) <= 100),
    receive_date  date        NOT NULL,
    record_time   timestamptz NOT NULL,
    recorded_by   text        NOT NULL,
    PRIMARY KEY (shop_id, payment_id),
    FOREIGN KEY (shop_id, invoice_id) REFERENCES invoices (shop_id, invoice_id)
);
CALL cullet_tenant_table('payments', 'SELECT, INSERT');
CALL cullet_append_only('payments');

CREATE TABLE remittances (
    shop_id       uuid        NOT NULL,
    remittance_id uuid        NOT NULL,
    payer_id      uuid        NOT NULL,
    reference     text        NOT NULL CHECK (char_length(reference) BETWEEN 1 AND 100),
    paid_date     date        NOT NULL,
    currency_code text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    amount        bigint      NOT NULL CHECK (amount BETWEEN 0 AND 100000000000000000),
    format        text        NOT NULL,
    content       bytea       NOT NULL,
    content_hash  bytea       NOT NULL CHECK (octet_length(content_hash) = 32),
    post_time     timestamptz NOT NULL,
    posted_by     text        NOT NULL,
    PRIMARY KEY (shop_id, remittance_id),
    CONSTRAINT remittances_reference UNIQUE (shop_id, payer_id, reference),
    FOREIGN KEY (shop_id, payer_id) REFERENCES payers (shop_id, payer_id)
);
COMMENT ON TABLE remittances IS 'Deposits as payers wrote them, with the very file.';
CALL cullet_tenant_table('remittances', 'SELECT, INSERT');
CALL cullet_append_only('remittances');

CREATE TABLE remittance_lines (
    shop_id        uuid    NOT NULL,
    remittance_id  uuid    NOT NULL,
    line_number    integer NOT NULL CHECK (line_number >= 1),
    invoice_number text    NOT NULL,
    claim_number   text    NOT NULL,
    paid           bigint  NOT NULL CHECK (paid BETWEEN 0 AND 100000000000000000),
    allocated      bigint  NOT NULL CHECK (allocated >= 0),
    reason_code    text    NOT NULL,
    reason_text    text    NOT NULL,
    sentence       text    NOT NULL,
    PRIMARY KEY (shop_id, remittance_id, line_number),
    CONSTRAINT remittance_lines_allocated CHECK (allocated <= paid),
    FOREIGN KEY (shop_id, remittance_id) REFERENCES remittances (shop_id, remittance_id)
);
COMMENT ON TABLE remittance_lines IS 'Lines of deposits; what is not allocated is unmatched money.';
CALL cullet_tenant_table('remittance_lines', 'SELECT, INSERT, UPDATE (allocated, sentence)');
CREATE INDEX remittance_lines_unmatched ON remittance_lines (shop_id, remittance_id) WHERE allocated < paid;

CREATE TABLE allocations (
    shop_id           uuid        NOT NULL,
    allocation_id     uuid        NOT NULL,
    receivable_id     uuid        NOT NULL,
    source            text        NOT NULL CHECK (source IN ('REMITTANCE', 'PAYMENT', 'WRITE_OFF', 'CREDIT_NOTE')),
    remittance_id     uuid,
    line_number       integer,
    payment_id        uuid,
    credit_invoice_id uuid,
    entry_id          uuid        NOT NULL,
    entry_date        date        NOT NULL,
    currency_code     text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    amount            bigint      NOT NULL CHECK (amount BETWEEN 1 AND 100000000000000000),
    reason            text        NOT NULL CHECK (char_length(reason) <= 500),
    create_time       timestamptz NOT NULL,
    created_by        text        NOT NULL,
    PRIMARY KEY (shop_id, allocation_id),
    CHECK ((source = 'REMITTANCE') = (remittance_id IS NOT NULL AND line_number IS NOT NULL)),
    CHECK ((source = 'PAYMENT') = (payment_id IS NOT NULL)),
    CHECK ((source = 'CREDIT_NOTE') = (credit_invoice_id IS NOT NULL)),
    FOREIGN KEY (shop_id, receivable_id) REFERENCES receivables (shop_id, receivable_id),
    FOREIGN KEY (shop_id, remittance_id, line_number) REFERENCES remittance_lines (shop_id, remittance_id, line_number),
    FOREIGN KEY (shop_id, payment_id) REFERENCES payments (shop_id, payment_id),
    FOREIGN KEY (shop_id, credit_invoice_id) REFERENCES invoices (shop_id, invoice_id),
    FOREIGN KEY (shop_id, entry_id) REFERENCES journal_entries (shop_id, entry_id)
);
COMMENT ON TABLE allocations IS 'Where every cent went; never edited.';
CALL cullet_tenant_table('allocations', 'SELECT, INSERT');
CALL cullet_append_only('allocations');
CREATE INDEX allocations_receivable ON allocations (shop_id, receivable_id) INCLUDE (amount, entry_date);
CREATE INDEX allocations_remittance ON allocations (shop_id, remittance_id, line_number) WHERE remittance_id IS NOT NULL;
