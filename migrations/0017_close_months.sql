-- Months that are closed, and tax returns that were filed: neither changes any more.

-- +goose Up

CREATE TABLE periods (
    shop_id    uuid        NOT NULL,
    period     text        NOT NULL CHECK (period ~ '^\d{4}-(0[1-9]|1[0-2])$'),
    close_time timestamptz NOT NULL,
    closed_by  text        NOT NULL,
    PRIMARY KEY (shop_id, period),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE periods IS 'Months that are closed; all before the last of them are closed too.';
CALL cullet_tenant_table('periods', 'SELECT, INSERT');
CALL cullet_append_only('periods');

-- No entry is dated in a closed month. Whoever posts holds the shop's lock shared, whoever closes holds
-- it alone: a posting that is under way is either in before the month is closed, or refused.
-- +goose StatementBegin
CREATE FUNCTION cullet_journal_period() RETURNS trigger
LANGUAGE plpgsql
AS $$
DECLARE
    late text;
BEGIN
    PERFORM pg_advisory_xact_lock_shared(hashtextextended('cullet.books.' || s.shop_id, 0))
    FROM (SELECT DISTINCT shop_id FROM inserted) s;
    SELECT to_char(i.entry_date, 'YYYY-MM') INTO late FROM inserted i
    WHERE EXISTS (SELECT FROM periods p WHERE p.shop_id = i.shop_id AND p.period >= to_char(i.entry_date, 'YYYY-MM'))
    LIMIT 1;
    IF late IS NOT NULL THEN
        RAISE EXCEPTION 'month % is closed', late
            USING ERRCODE = 'check_violation', CONSTRAINT = 'journal_period_closed', TABLE = 'journal_entries';
    END IF;
    RETURN NULL;
END
$$;
-- +goose StatementEnd
REVOKE EXECUTE ON FUNCTION cullet_journal_period() FROM PUBLIC;
CREATE TRIGGER period AFTER INSERT ON journal_entries REFERENCING NEW TABLE AS inserted
    FOR EACH STATEMENT EXECUTE FUNCTION cullet_journal_period();

CREATE TABLE tax_returns (
    shop_id       uuid        NOT NULL,
    return_id     uuid        NOT NULL,
    region        text        NOT NULL CHECK (region ~ '^[A-Z]{2}(-[A-Z0-9]{1,10})?$'),
    from_date     date        NOT NULL,
    to_date       date        NOT NULL,
    currency_code text        NOT NULL CHECK (currency_code ~ '^[A-Z]{3}$'),
    tax           bigint      NOT NULL CHECK (tax BETWEEN -100000000000000000 AND 100000000000000000),
    -- content is invoices.TaxReturn: every figure with the documents behind it, as it was filed.
    content       jsonb       NOT NULL CHECK (jsonb_typeof(content) = 'object'),
    file_time     timestamptz NOT NULL,
    filed_by      text        NOT NULL,
    PRIMARY KEY (shop_id, return_id),
    CONSTRAINT tax_returns_from UNIQUE (shop_id, region, from_date),
    CHECK (from_date <= to_date),
    FOREIGN KEY (shop_id) REFERENCES shops (shop_id)
);
COMMENT ON TABLE tax_returns IS 'Tax returns as they were filed; never edited.';
CALL cullet_tenant_table('tax_returns', 'SELECT, INSERT');
CALL cullet_append_only('tax_returns');
