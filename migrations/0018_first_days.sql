-- Kinds of unit and depots can be changed, and left out from now on. The rows stay: units and technicians name them.

ALTER TABLE unit_kinds ADD row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000);
ALTER TABLE unit_kinds ADD retired boolean NOT NULL DEFAULT false;

ALTER TABLE depots ADD row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000);
ALTER TABLE depots ADD retired boolean NOT NULL DEFAULT false;

-- When the owner said that products, kits and programmes were compared with the labels.
ALTER TABLE dealer ADD treatment_compared_on date CHECK (treatment_compared_on BETWEEN '2000-01-01' AND '2200-01-01');
UPDATE dealer SET treatment_compared_on = current_date WHERE invented;

CREATE INDEX units_kind ON units (kind_code);

-- From which day on records are kept here: what a job's record does not hold of the time before says nothing. Of an installation that
-- exists, the day on which its first owner came.
ALTER TABLE dealer ADD records_since date CHECK (records_since BETWEEN '2000-01-01' AND '2200-01-01');
UPDATE dealer SET records_since = (SELECT min(made_at)::date FROM staff WHERE role = 'owner'), due_worked_out_on = NULL WHERE NOT invented;

-- Jobs that were done by somebody else, or before records were kept here.
CREATE TABLE done_elsewhere (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    job_code text NOT NULL REFERENCES job_kinds,
    done_on date NOT NULL CHECK (done_on BETWEEN '1950-01-01' AND '2200-01-01'),
    by_whom text NOT NULL DEFAULT '' CHECK (length(by_whom) <= 200),
    kept_by uuid REFERENCES staff,
    made_at timestamptz NOT NULL,
    taken_back_at timestamptz
);
CREATE INDEX done_elsewhere_unit ON done_elsewhere (unit_id, job_code, done_on DESC) WHERE taken_back_at IS NULL;
CREATE INDEX done_elsewhere_done ON done_elsewhere (done_on) WHERE taken_back_at IS NULL;
CREATE INDEX done_elsewhere_job ON done_elsewhere (job_code);
CREATE INDEX done_elsewhere_kept_by ON done_elsewhere (kept_by) WHERE kept_by IS NOT NULL;

-- What a programme's units are dosed with and tested by, unless a unit says otherwise: before, the first by name.
ALTER TABLE programmes ADD usual_product_id uuid REFERENCES products;
ALTER TABLE programmes ADD usual_kit_code text REFERENCES test_kits;
CREATE INDEX programmes_usual_product ON programmes (usual_product_id) WHERE usual_product_id IS NOT NULL;
CREATE INDEX programmes_usual_kit ON programmes (usual_kit_code) WHERE usual_kit_code IS NOT NULL;
CREATE INDEX units_programme ON units (programme_code);
