-- Workers are woken after the commit: a NOTIFY inside makes the commits of all callers wait for each
-- other.

-- +goose Up

DROP TRIGGER wake_workers ON work;
DROP FUNCTION cullet_wake_workers();
