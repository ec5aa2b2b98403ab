-- Visits that must be made in a week whatever they cost. Said of a unit and a week, since planning again makes a draft's visits anew.

CREATE TABLE week_musts (
    monday date NOT NULL CHECK (extract(isodow FROM monday) = 1 AND monday BETWEEN '2000-01-01' AND '2200-01-01'),
    unit_id uuid NOT NULL REFERENCES units,
    said_by uuid NOT NULL REFERENCES staff,
    said_at timestamptz NOT NULL,
    PRIMARY KEY (monday, unit_id)
);
CREATE INDEX week_musts_unit ON week_musts (unit_id);
CREATE INDEX week_musts_said_by ON week_musts (said_by);
