-- What was kept of a unit's water and was not so: the fact stays with its mark, and who took it out says why.

ALTER TABLE fills ADD superseded_at timestamptz;

CREATE TABLE taken_out (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    fact text NOT NULL CHECK (fact IN ('test', 'dose', 'fill', 'event')),
    fact_id uuid NOT NULL,
    day date NOT NULL,
    says text NOT NULL CHECK (length(says) BETWEEN 1 AND 400),
    why text NOT NULL CHECK (length(why) BETWEEN 1 AND 400),
    by_staff uuid REFERENCES staff,
    at timestamptz NOT NULL
);
COMMENT ON COLUMN taken_out.says IS 'the fact in words, as it was shown when it was taken out';
COMMENT ON TABLE taken_out IS 'facts of a unit''s water that were a slip; reports are corrected by a new version instead';
CREATE UNIQUE INDEX taken_out_fact ON taken_out (fact_id, fact);
CREATE INDEX taken_out_unit ON taken_out (unit_id, at DESC);
CREATE INDEX taken_out_by ON taken_out (by_staff) WHERE by_staff IS NOT NULL;
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON taken_out FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
