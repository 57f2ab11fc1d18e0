-- What a payer says with an answer is kept with the answer, so that a claim ends with the words of the
-- answer that decides, in whatever order answers came.

-- +goose Up

ALTER TABLE answers NO FORCE ROW LEVEL SECURITY;
ALTER TABLE claims NO FORCE ROW LEVEL SECURITY;
ALTER TABLE answers
    ADD COLUMN payer_reference text NOT NULL DEFAULT '' CHECK (char_length(payer_reference) <= 200),
    ADD COLUMN reason          text NOT NULL DEFAULT '' CHECK (char_length(reason) <= 4000);
ALTER TABLE answers DISABLE TRIGGER append_only;
UPDATE answers a SET payer_reference = left(c.payer_reference, 200), reason = left(c.payer_reason, 4000)
FROM claims c WHERE c.shop_id = a.shop_id AND c.claim_id = a.claim_id AND c.batch_id = a.batch_id AND c.state = a.state;
ALTER TABLE answers ENABLE TRIGGER append_only;
ALTER TABLE answers FORCE ROW LEVEL SECURITY;
ALTER TABLE claims FORCE ROW LEVEL SECURITY;
