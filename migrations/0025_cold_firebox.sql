-- Work that can be done with a cold firebox only waits while the heater burns: from its start-up, or the fall window's end, until the
-- spring window opens.

ALTER TABLE job_kinds ADD COLUMN cold boolean NOT NULL DEFAULT false;
COMMENT ON COLUMN job_kinds.cold IS 'only with a cold firebox';
-- common practice, no source
UPDATE job_kinds SET cold = true WHERE code = 'yearly-clean';
ALTER TABLE due_items ADD COLUMN waits boolean NOT NULL DEFAULT false;
COMMENT ON COLUMN due_items.waits IS 'for a cold firebox: shown apart, in no week';
CREATE INDEX due_items_waits ON due_items (unit_id) WHERE waits;
-- What is due is worked out anew at once, by the rules of this version.
UPDATE dealer SET due_worked_out_on = NULL;
