-- Why no dose can be worked out for a unit, and whether its last test asks for one.

ALTER TABLE foreseen
    ADD COLUMN held text NOT NULL DEFAULT '' CHECK (length(held) <= 600),
    ADD COLUMN low boolean NOT NULL DEFAULT false;
CREATE INDEX foreseen_held ON foreseen (low DESC, unit_id) WHERE held <> '';
COMMENT ON COLUMN foreseen.held IS 'what has to be seen to before any dose; empty where one may be put in, or where none is wanted of a glycol mix';
COMMENT ON COLUMN foreseen.low IS 'the last test is at the minimum of its programme or below';
-- What is due is worked out anew at once, by the rules of this version.
UPDATE dealer SET due_worked_out_on = NULL;
