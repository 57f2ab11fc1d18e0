-- A courier's lease has a column of its own: no index holds it, so a claim touches none, and
-- next_attempt_time stays the time at which a delivery is due.

-- +goose Up

ALTER TABLE deliveries ADD COLUMN leased_until timestamptz;
ALTER TABLE deliveries SET (fillfactor = 70);
GRANT UPDATE (leased_until) ON deliveries TO cullet_runtime;
