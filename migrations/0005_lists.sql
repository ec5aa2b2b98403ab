-- Lists that were brought to the desk: checked, and perhaps kept. What they held lies in the other tables; a row here may go after a day.

CREATE TABLE brought_lists (
    id uuid PRIMARY KEY,
    staff_id uuid NOT NULL REFERENCES staff,
    kind text NOT NULL CHECK (kind IN ('customers', 'units', 'tests')),
    file_name text NOT NULL DEFAULT '' CHECK (length(file_name) <= 120),
    body bytea NOT NULL CHECK (length(body) BETWEEN 1 AND 5242880),
    matching jsonb NOT NULL,
    kept jsonb,
    made_at timestamptz NOT NULL
);
CREATE INDEX brought_lists_staff ON brought_lists (staff_id, made_at DESC);
CREATE INDEX brought_lists_made ON brought_lists (made_at);
COMMENT ON TABLE brought_lists IS 'the file between checking and keeping, so that the browser need not send it twice; swept after a day';
COMMENT ON COLUMN brought_lists.matching IS 'for each column of such a list, which column of the file serves as it';
COMMENT ON COLUMN brought_lists.kept IS 'what came in, once it was kept';
