-- A run is given to one runner by the work queue and kept from others by its fence; a lease of its own
-- let the run of a killed server stand still for minutes.

-- +goose Up

ALTER TABLE runs DROP COLUMN lease_until;
COMMENT ON TABLE runs IS 'Nightly runs; the fence grows with each runner that takes one over.';
