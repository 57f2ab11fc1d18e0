-- Deliveries are claimed by couriers from their own table, endpoint by endpoint, so that one that
-- hangs delays no other; secrets are rotated, events replayed, attempts listed by endpoint.

-- +goose Up

-- The migration sees the rows of all shops for as long as it takes.
ALTER TABLE endpoints NO FORCE ROW LEVEL SECURITY;
ALTER TABLE deliveries NO FORCE ROW LEVEL SECURITY;
ALTER TABLE attempts NO FORCE ROW LEVEL SECURITY;

ALTER TABLE endpoints
    -- hears_since keeps what happened before an endpoint was there, or was enabled again, from it.
    ADD COLUMN hears_since     timestamptz,
    ADD COLUMN version         integer NOT NULL DEFAULT 1 CHECK (version >= 1),
    ADD COLUMN previous_secret bytea,
    ADD COLUMN previous_until  timestamptz,
    ADD COLUMN disable_cause   text NOT NULL DEFAULT '' CHECK (disable_cause IN ('', 'GONE', 'FAILING', 'PERSON')),
    ADD COLUMN disable_time    timestamptz,
    ADD CONSTRAINT endpoints_previous CHECK ((previous_secret IS NULL) = (previous_until IS NULL));
UPDATE endpoints SET hears_since = create_time;
ALTER TABLE endpoints ALTER COLUMN hears_since SET NOT NULL;
UPDATE endpoints SET disable_cause = 'FAILING', disable_time = coalesce(failing_since, create_time) WHERE state = 'DISABLED';
ALTER TABLE endpoints
    ADD CONSTRAINT endpoints_disabled CHECK ((state = 'DISABLED') = (disable_cause <> '') AND (state = 'DISABLED') = (disable_time IS NOT NULL));
GRANT UPDATE (url, event_types, version, hears_since, previous_secret, previous_until, disable_cause, disable_time) ON endpoints TO cullet_runtime;

-- round_start is how many attempts there were when the present round of steps began: a replay begins
-- anew and keeps its history.
ALTER TABLE deliveries ADD COLUMN round_start integer NOT NULL DEFAULT 0 CHECK (round_start BETWEEN 0 AND attempt_count);
UPDATE deliveries SET last_error = 'It was given up.' WHERE state = 'DEAD' AND last_error = '';
ALTER TABLE deliveries ADD CONSTRAINT deliveries_dead_say_why CHECK (state <> 'DEAD' OR last_error <> '');
GRANT UPDATE (round_start) ON deliveries TO cullet_runtime;
DROP INDEX deliveries_pending;
CREATE INDEX deliveries_due ON deliveries (shop_id, endpoint_id, next_attempt_time, event_id) WHERE state = 'PENDING';
CREATE INDEX deliveries_dead ON deliveries (shop_id, endpoint_id, event_id) WHERE state = 'DEAD';
CREATE INDEX deliveries_of_endpoint ON deliveries (shop_id, endpoint_id, event_id);

ALTER TABLE attempts
    ADD COLUMN endpoint_id uuid,
    ADD COLUMN sentence    text NOT NULL DEFAULT '' CHECK (char_length(sentence) <= 1000);
ALTER TABLE attempts DISABLE TRIGGER append_only;
UPDATE attempts a SET endpoint_id = d.endpoint_id FROM deliveries d WHERE d.shop_id = a.shop_id AND d.delivery_id = a.delivery_id;
ALTER TABLE attempts ENABLE TRIGGER append_only;
ALTER TABLE attempts ALTER COLUMN endpoint_id SET NOT NULL;
CREATE INDEX attempts_of_endpoint ON attempts (shop_id, endpoint_id, attempt_time, delivery_id, attempt_number);

-- Replays ask for events by time. A tree would be paid for by every record; this is not.
CREATE INDEX events_time ON events USING brin (occurred_time);

CREATE TABLE webhook_shops (
    shop_id uuid NOT NULL PRIMARY KEY REFERENCES shops (shop_id)
);
COMMENT ON TABLE webhook_shops IS 'Shops that have endpoints, for couriers, which serve all of them; no personal data.';
REVOKE ALL ON webhook_shops FROM PUBLIC;
GRANT SELECT, INSERT ON webhook_shops TO cullet_runtime;
INSERT INTO webhook_shops SELECT DISTINCT shop_id FROM endpoints;

DELETE FROM work WHERE topic = 'event.deliver';

ALTER TABLE endpoints FORCE ROW LEVEL SECURITY;
ALTER TABLE deliveries FORCE ROW LEVEL SECURITY;
ALTER TABLE attempts FORCE ROW LEVEL SECURITY;
