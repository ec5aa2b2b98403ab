-- The time that a customer was told, beside the time that stands. Said of a unit and a week, since planning again makes a draft's visits
-- anew, and a visit may lose its place.

CREATE TABLE week_told (
    monday date NOT NULL CHECK (extract(isodow FROM monday) = 1 AND monday BETWEEN '2000-01-01' AND '2200-01-01'),
    unit_id uuid NOT NULL REFERENCES units,
    day date NOT NULL,
    starts integer NOT NULL CHECK (starts BETWEEN 0 AND 1440),
    said_by uuid REFERENCES staff,
    said_at timestamptz NOT NULL,
    PRIMARY KEY (monday, unit_id),
    CHECK (day BETWEEN monday AND monday + 6)
);
COMMENT ON COLUMN week_told.starts IS 'minutes after midnight';
COMMENT ON COLUMN week_told.said_by IS 'none: the customer agreed on their own page, or was told before this was kept apart';
CREATE INDEX week_told_unit ON week_told (unit_id);
CREATE INDEX week_told_said_by ON week_told (said_by) WHERE said_by IS NOT NULL;

INSERT INTO week_told (monday, unit_id, day, starts, said_at)
SELECT DISTINCT ON (w.monday, v.unit_id) w.monday, v.unit_id, v.day, v.starts, w.made_at
FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
WHERE v.status = 'confirmed' AND v.day BETWEEN w.monday AND w.monday + 6 AND v.starts BETWEEN 0 AND 1440
ORDER BY w.monday, v.unit_id, v.day;
