-- Money that moves again: taken back by its payer, undone, refunded, returned, moved to the other
-- debtor, disputed. Nothing is edited: a receivable is opened again by an allocation below zero.

-- +goose Up

ALTER TABLE receivables
    ADD COLUMN transferred_amount bigint NOT NULL DEFAULT 0,
    DROP CONSTRAINT receivables_check,
    ADD CONSTRAINT receivables_open CHECK (open_amount <= amount + transferred_amount);
COMMENT ON TABLE receivables IS 'What each debtor owes of an invoice; only open_amount and transferred_amount ever change.';
GRANT UPDATE (transferred_amount) ON receivables TO cullet_runtime;

ALTER TABLE allocations
    ADD COLUMN reverses_allocation_id uuid,
    DROP CONSTRAINT allocations_amount_check,
    ADD CONSTRAINT allocations_amount_check CHECK (amount <> 0 AND amount BETWEEN -100000000000000000 AND 100000000000000000),
    DROP CONSTRAINT allocations_source_check,
    ADD CONSTRAINT allocations_source_check CHECK (source IN ('REMITTANCE', 'PAYMENT', 'WRITE_OFF', 'CREDIT_NOTE', 'TRANSFER')),
    ADD CONSTRAINT allocations_below_zero CHECK (amount > 0 OR source IN ('REMITTANCE', 'TRANSFER') OR reverses_allocation_id IS NOT NULL),
    ADD FOREIGN KEY (shop_id, reverses_allocation_id) REFERENCES allocations (shop_id, allocation_id);
-- A payment may be refunded in parts; all else is undone once and wholly.
CREATE UNIQUE INDEX allocations_undone_once ON allocations (shop_id, reverses_allocation_id)
    WHERE reverses_allocation_id IS NOT NULL AND source <> 'PAYMENT';

ALTER TABLE remittance_lines
    DROP CONSTRAINT remittance_lines_paid_check,
    ADD CONSTRAINT remittance_lines_paid_check CHECK (paid BETWEEN -100000000000000000 AND 100000000000000000),
    DROP CONSTRAINT remittance_lines_allocated_check,
    DROP CONSTRAINT remittance_lines_allocated,
    ADD CONSTRAINT remittance_lines_allocated CHECK (allocated BETWEEN least(paid, 0) AND greatest(paid, 0));
COMMENT ON COLUMN remittance_lines.allocated IS 'What of paid has a place: on receivables, or paid back.';
DROP INDEX remittance_lines_unmatched;
CREATE INDEX remittance_lines_unmatched ON remittance_lines (shop_id, remittance_id) WHERE allocated <> paid;

ALTER TABLE payments
    ADD COLUMN fee bigint NOT NULL DEFAULT 0 CHECK (fee BETWEEN 0 AND amount);
CREATE INDEX payments_invoice ON payments (shop_id, invoice_id);

ALTER TABLE journal_entries
    DROP CONSTRAINT journal_entries_document_kind_check,
    ADD CONSTRAINT journal_entries_document_kind_check CHECK (document_kind IN
        ('invoice', 'credit_note', 'remittance', 'allocation', 'payment', 'write_off', 'reversal', 'transfer', 'refund', 'return'));

CREATE TABLE refunds (
    shop_id       uuid        NOT NULL,
    refund_id     uuid        NOT NULL,
    payment_id    uuid,
    remittance_id uuid,
    line_number   integer,
    is_returned   boolean     NOT NULL,
    currency_code text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    amount        bigint      NOT NULL CHECK (amount BETWEEN 1 AND 100000000000000000),
    reference     text        NOT NULL DEFAULT '' CHECK (char_length(reference) <= 100),
    reason        text        NOT NULL CHECK (char_length(reason) BETWEEN 1 AND 500),
    entry_id      uuid        NOT NULL,
    refund_date   date        NOT NULL,
    create_time   timestamptz NOT NULL,
    created_by    text        NOT NULL,
    PRIMARY KEY (shop_id, refund_id),
    CHECK ((payment_id IS NULL) = (remittance_id IS NOT NULL AND line_number IS NOT NULL)),
    FOREIGN KEY (shop_id, payment_id) REFERENCES payments (shop_id, payment_id),
    FOREIGN KEY (shop_id, remittance_id, line_number) REFERENCES remittance_lines (shop_id, remittance_id, line_number),
    FOREIGN KEY (shop_id, entry_id) REFERENCES journal_entries (shop_id, entry_id)
);
COMMENT ON TABLE refunds IS 'Money that went back; never edited.';
CALL cullet_tenant_table('refunds', 'SELECT, INSERT');
CALL cullet_append_only('refunds');
CREATE INDEX refunds_payment ON refunds (shop_id, payment_id) WHERE payment_id IS NOT NULL;
CREATE INDEX refunds_remittance ON refunds (shop_id, remittance_id, line_number) WHERE remittance_id IS NOT NULL;

CREATE TABLE disputes (
    shop_id       uuid        NOT NULL,
    dispute_id    uuid        NOT NULL,
    receivable_id uuid        NOT NULL,
    amount        bigint      NOT NULL CHECK (amount BETWEEN 1 AND 100000000000000000),
    reason        text        NOT NULL CHECK (char_length(reason) BETWEEN 1 AND 500),
    open_time     timestamptz NOT NULL,
    opened_by     text        NOT NULL,
    close_time    timestamptz,
    closed_by     text        NOT NULL DEFAULT '',
    outcome       text        NOT NULL DEFAULT '' CHECK (char_length(outcome) <= 500),
    PRIMARY KEY (shop_id, dispute_id),
    CHECK ((close_time IS NULL) = (outcome = '')),
    FOREIGN KEY (shop_id, receivable_id) REFERENCES receivables (shop_id, receivable_id)
);
COMMENT ON TABLE disputes IS 'What a debtor contests, and what came of it.';
CALL cullet_tenant_table('disputes', 'SELECT, INSERT, UPDATE (close_time, closed_by, outcome)');
CREATE UNIQUE INDEX disputes_open ON disputes (shop_id, receivable_id) WHERE close_time IS NULL;
