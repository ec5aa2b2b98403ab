-- What is due, who goes when, and what was found and done there.

CREATE TABLE seasons (
    name text PRIMARY KEY CHECK (name IN ('spring', 'fall')),
    opens_month smallint NOT NULL CHECK (opens_month BETWEEN 1 AND 12),
    opens_day smallint NOT NULL CHECK (opens_day BETWEEN 1 AND 31),
    closes_month smallint NOT NULL CHECK (closes_month BETWEEN 1 AND 12),
    closes_day smallint NOT NULL CHECK (closes_day BETWEEN 1 AND 31),
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 400),
    CHECK ((opens_month, opens_day) < (closes_month, closes_day))
);
CREATE TABLE season_overrides (
    name text NOT NULL REFERENCES seasons,
    year smallint NOT NULL CHECK (year BETWEEN 2000 AND 2200),
    opens_on date NOT NULL,
    closes_on date NOT NULL,
    PRIMARY KEY (name, year),
    CHECK (opens_on < closes_on AND closes_on - opens_on <= 300),
    CHECK (extract(year FROM opens_on) = year AND extract(year FROM closes_on) = year)
);

CREATE TABLE job_kinds (
    code text PRIMARY KEY CHECK (code ~ '^[a-z0-9-]{1,40}$'),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    minutes integer NOT NULL CHECK (minutes BETWEEN 1 AND 1440),
    set_up_minutes integer NOT NULL DEFAULT 10 CHECK (set_up_minutes BETWEEN 0 AND 240),
    cadence text NOT NULL CHECK (cadence IN ('once at fill', 'every fall', 'every spring', 'every season', 'after a dose', 'on request')),
    skill text NOT NULL DEFAULT '' CHECK (length(skill) <= 40),
    lead_days smallint NOT NULL DEFAULT 21 CHECK (lead_days BETWEEN 0 AND 120),
    done_by_test boolean NOT NULL DEFAULT false,
    while_idle boolean NOT NULL DEFAULT false,
    lapses boolean NOT NULL DEFAULT false,
    joins boolean NOT NULL DEFAULT true,
    tests_water boolean NOT NULL DEFAULT true,
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 400),
    position smallint NOT NULL CHECK (position BETWEEN 0 AND 1000),
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    CHECK (set_up_minutes <= minutes)
);

CREATE TABLE checklist_items (
    code text PRIMARY KEY CHECK (code ~ '^[a-z0-9-]{1,60}$'),
    job_code text NOT NULL REFERENCES job_kinds,
    position smallint NOT NULL CHECK (position BETWEEN 0 AND 1000),
    says text NOT NULL CHECK (length(says) BETWEEN 1 AND 400),
    expect text NOT NULL DEFAULT '' CHECK (length(expect) <= 400),
    caution text NOT NULL DEFAULT '' CHECK (length(caution) <= 600),
    answer text NOT NULL DEFAULT 'done' CHECK (answer IN ('done', 'figure')),
    asked_unit text NOT NULL DEFAULT '' CHECK (length(asked_unit) <= 20),
    only_fuel_moisture boolean NOT NULL DEFAULT false,
    basis text NOT NULL CHECK (length(basis) BETWEEN 1 AND 400)
);
CREATE INDEX checklist_items_job ON checklist_items (job_code, position);

CREATE TABLE requests (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    job_code text NOT NULL REFERENCES job_kinds,
    asked_on date NOT NULL,
    by_day date NOT NULL,
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 1000),
    made_by uuid REFERENCES staff,
    settled_on date,
    CHECK (by_day >= asked_on AND by_day - asked_on <= 400)
);
CREATE INDEX requests_open ON requests (unit_id) WHERE settled_on IS NULL;
CREATE INDEX requests_unit ON requests (unit_id, asked_on DESC);

CREATE TABLE due_items (
    unit_id uuid NOT NULL REFERENCES units,
    job_code text NOT NULL REFERENCES job_kinds,
    opens_on date NOT NULL CHECK (opens_on BETWEEN '1970-01-01' AND '2200-01-01'),
    closes_on date NOT NULL CHECK (closes_on BETWEEN '1970-01-01' AND '2200-01-01'),
    cause text NOT NULL CHECK (length(cause) BETWEEN 1 AND 40),
    reason text NOT NULL CHECK (length(reason) BETWEEN 1 AND 400),
    priority smallint NOT NULL CHECK (priority BETWEEN 1 AND 4),
    worked_out_on date NOT NULL,
    PRIMARY KEY (unit_id, job_code),
    CHECK (opens_on <= closes_on)
);
CREATE INDEX due_items_order ON due_items (priority, closes_on, unit_id);
CREATE INDEX due_items_opens ON due_items (opens_on);
COMMENT ON TABLE due_items IS 'worked out from facts alone; may be thrown away and worked out again at any time';

CREATE TABLE week_plans (
    id uuid PRIMARY KEY,
    monday date NOT NULL UNIQUE CHECK (extract(isodow FROM monday) = 1 AND monday BETWEEN '2000-01-01' AND '2200-01-01'),
    status text NOT NULL DEFAULT 'draft' CHECK (status IN ('draft', 'issued')),
    seed bigint NOT NULL,
    iterations bigint NOT NULL CHECK (iterations BETWEEN 0 AND 1000000000000),
    drive_source text NOT NULL CHECK (length(drive_source) BETWEEN 1 AND 120),
    made_at timestamptz NOT NULL,
    issued_at timestamptz,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    CHECK ((status = 'issued') = (issued_at IS NOT NULL))
);

CREATE TABLE routes (
    id uuid PRIMARY KEY,
    week_plan_id uuid NOT NULL REFERENCES week_plans,
    staff_id uuid NOT NULL REFERENCES technicians,
    day date NOT NULL CHECK (day BETWEEN '2000-01-01' AND '2200-01-01'),
    leaves integer NOT NULL CHECK (leaves BETWEEN 0 AND 2880),
    lunch_at integer CHECK (lunch_at BETWEEN 0 AND 2880),
    returns integer NOT NULL CHECK (returns BETWEEN 0 AND 2880),
    drive_s integer NOT NULL CHECK (drive_s BETWEEN 0 AND 1000000),
    drive_m integer NOT NULL CHECK (drive_m BETWEEN 0 AND 10000000),
    trouble text NOT NULL DEFAULT '' CHECK (length(trouble) <= 1000),
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    UNIQUE (staff_id, day)
);
CREATE INDEX routes_plan ON routes (week_plan_id, day);
COMMENT ON COLUMN routes.trouble IS 'what the checker says against a route that was changed by hand; empty when all is well';

CREATE TABLE visits (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    place_id uuid NOT NULL REFERENCES places,
    week_plan_id uuid REFERENCES week_plans,
    staff_id uuid REFERENCES technicians,
    day date CHECK (day BETWEEN '2000-01-01' AND '2200-01-01'),
    position smallint CHECK (position BETWEEN 1 AND 500),
    starts integer CHECK (starts BETWEEN 0 AND 2880),
    ends integer CHECK (ends BETWEEN 0 AND 2880),
    drive_s integer NOT NULL DEFAULT 0 CHECK (drive_s BETWEEN 0 AND 1000000),
    drive_m integer NOT NULL DEFAULT 0 CHECK (drive_m BETWEEN 0 AND 10000000),
    opens_on date NOT NULL,
    closes_on date NOT NULL,
    minutes integer NOT NULL CHECK (minutes BETWEEN 1 AND 1440),
    status text NOT NULL DEFAULT 'planned' CHECK (status IN ('unplaced', 'planned', 'confirmed', 'done', 'not done', 'cancelled')),
    why text NOT NULL DEFAULT '' CHECK (length(why) <= 400),
    reason text NOT NULL DEFAULT '' CHECK (length(reason) <= 1000),
    expected_dose_ml bigint CHECK (expected_dose_ml BETWEEN 0 AND 1000000),
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    during int8range GENERATED ALWAYS AS (
        CASE WHEN day IS NULL OR starts IS NULL OR ends IS NULL THEN NULL
             ELSE int8range((day - date '2000-01-01')::bigint * 1440 + starts, (day - date '2000-01-01')::bigint * 1440 + ends, '[)') END) STORED,
    CHECK (starts IS NULL OR (starts < ends AND ends - starts <= 720)),
    CHECK (num_nulls(staff_id, day, position, starts, ends) IN (0, 5)),
    CHECK (status NOT IN ('planned', 'confirmed') OR day IS NOT NULL),
    -- Checked at the end of the transaction, so that a whole day may be re-timed at once.
    CONSTRAINT visits_no_overlap EXCLUDE USING gist (staff_id WITH =, during WITH &&)
        WHERE (status IN ('planned', 'confirmed')) DEFERRABLE INITIALLY DEFERRED
);
CREATE INDEX visits_unit ON visits (unit_id, day DESC);
CREATE INDEX visits_customer ON visits (customer_id);
CREATE INDEX visits_place ON visits (place_id);
CREATE INDEX visits_plan ON visits (week_plan_id, day, staff_id, position);
CREATE INDEX visits_day ON visits (staff_id, day, position);
CREATE UNIQUE INDEX visits_one_open ON visits (unit_id, week_plan_id) WHERE status IN ('unplaced', 'planned', 'confirmed');

CREATE TABLE visit_jobs (
    visit_id uuid NOT NULL REFERENCES visits ON DELETE CASCADE,
    job_code text NOT NULL REFERENCES job_kinds,
    PRIMARY KEY (visit_id, job_code)
);

CREATE TABLE visit_reports (
    report_id uuid NOT NULL,
    version integer NOT NULL CHECK (version BETWEEN 1 AND 1000),
    supersedes integer GENERATED ALWAYS AS (nullif(version - 1, 0)) STORED,
    visit_id uuid REFERENCES visits,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    staff_id uuid REFERENCES staff,
    visited_on date NOT NULL CHECK (visited_on BETWEEN '1970-01-01' AND '2200-01-01'),
    outcome text NOT NULL CHECK (outcome IN ('done', 'not done')),
    why_not text NOT NULL DEFAULT '' CHECK (length(why_not) <= 200),
    who_was_there text NOT NULL DEFAULT '' CHECK (length(who_was_there) <= 120),
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 4000),
    dose_shown_ml bigint CHECK (dose_shown_ml BETWEEN 0 AND 1000000),
    dose_worked_ml bigint CHECK (dose_worked_ml BETWEEN 0 AND 1000000),
    flag text NOT NULL DEFAULT '' CHECK (length(flag) <= 400),
    reason text NOT NULL DEFAULT '' CHECK (length(reason) <= 400),
    made_at timestamptz,
    received_at timestamptz NOT NULL,
    PRIMARY KEY (report_id, version),
    FOREIGN KEY (report_id, supersedes) REFERENCES visit_reports (report_id, version),
    CHECK (version = 1 OR length(reason) > 0),
    CHECK ((outcome = 'not done') = (length(why_not) > 0))
);
CREATE INDEX visit_reports_unit ON visit_reports (unit_id, visited_on DESC, report_id);
CREATE INDEX visit_reports_visit ON visit_reports (visit_id) WHERE visit_id IS NOT NULL;
CREATE INDEX visit_reports_customer ON visit_reports (customer_id);
CREATE INDEX visit_reports_received ON visit_reports (received_at DESC);

CREATE TABLE report_jobs (
    report_id uuid NOT NULL,
    version integer NOT NULL,
    job_code text NOT NULL REFERENCES job_kinds,
    PRIMARY KEY (report_id, version, job_code),
    FOREIGN KEY (report_id, version) REFERENCES visit_reports
);
COMMENT ON TABLE report_jobs IS 'the jobs that this version of the report says were done';

CREATE TABLE checklist_answers (
    report_id uuid NOT NULL,
    version integer NOT NULL,
    item_code text NOT NULL REFERENCES checklist_items,
    done boolean NOT NULL,
    figure numeric(10, 2) CHECK (figure BETWEEN -1000 AND 100000),
    PRIMARY KEY (report_id, version, item_code),
    FOREIGN KEY (report_id, version) REFERENCES visit_reports
);

CREATE TABLE photos (
    id uuid PRIMARY KEY,
    report_id uuid NOT NULL,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    sha256 bytea NOT NULL CHECK (length(sha256) = 32),
    bytes integer NOT NULL CHECK (bytes BETWEEN 1 AND 8388608),
    taken_at timestamptz,
    received_at timestamptz NOT NULL
);
CREATE INDEX photos_report ON photos (report_id);
CREATE INDEX photos_unit ON photos (unit_id, received_at DESC);
CREATE INDEX photos_sha256 ON photos (sha256);
COMMENT ON TABLE photos IS 'the row only; the picture is a file named by its SHA-256, written and synced before this row';

CREATE TABLE water_tests (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    taken_on date NOT NULL CHECK (taken_on BETWEEN '1970-01-01' AND '2200-01-01'),
    of_water text NOT NULL DEFAULT 'unit' CHECK (of_water IN ('unit', 'fill')),
    made_by text NOT NULL CHECK (made_by IN ('technician', 'customer', 'laboratory', 'office')),
    staff_id uuid REFERENCES staff,
    report_id uuid,
    version integer,
    fill_id uuid REFERENCES fills,
    list_row text CHECK (length(list_row) = 64),
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 1000),
    made_at timestamptz NOT NULL,
    superseded_at timestamptz,
    FOREIGN KEY (report_id, version) REFERENCES visit_reports,
    CHECK ((report_id IS NULL) = (version IS NULL))
);
CREATE INDEX water_tests_unit ON water_tests (unit_id, taken_on DESC, made_at DESC) WHERE superseded_at IS NULL;
CREATE INDEX water_tests_customer ON water_tests (customer_id);
CREATE INDEX water_tests_report ON water_tests (report_id) WHERE report_id IS NOT NULL;
CREATE INDEX water_tests_fill ON water_tests (fill_id) WHERE fill_id IS NOT NULL;
CREATE UNIQUE INDEX water_tests_list_row ON water_tests (list_row) WHERE list_row IS NOT NULL;
COMMENT ON COLUMN water_tests.list_row IS 'SHA-256 of what identifies a row of a brought-in list, so that the same list twice changes nothing';

CREATE TABLE readings (
    test_id uuid NOT NULL REFERENCES water_tests,
    what text NOT NULL CHECK (what IN ('inhibitor', 'ph', 'hardness', 'conductivity', 'temperature', 'chloride', 'sulfate', 'alkalinity', 'iron', 'glycol')),
    kit_code text REFERENCES test_kits,
    drops smallint CHECK (drops BETWEEN 0 AND 200),
    value_milli bigint NOT NULL CHECK (value_milli BETWEEN -100000 AND 1000000000),
    basis text NOT NULL CHECK (length(basis) BETWEEN 1 AND 20),
    programme_mg_l integer CHECK (programme_mg_l BETWEEN 0 AND 1000000),
    PRIMARY KEY (test_id, what),
    CHECK (what <> 'ph' OR value_milli BETWEEN 0 AND 14000),
    CHECK (what = 'temperature' OR value_milli >= 0)
);
COMMENT ON COLUMN readings.value_milli IS 'thousandths of the figure as it was read, in basis: mg/L as NO2, pH, uS/cm, C';
COMMENT ON COLUMN readings.programme_mg_l IS 'inhibitor only: the same reading in the basis of the unit''s programme on that day';

CREATE TABLE doses (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    given_on date NOT NULL CHECK (given_on BETWEEN '1970-01-01' AND '2200-01-01'),
    product_id uuid NOT NULL REFERENCES products,
    lot_id uuid REFERENCES lots,
    amount_ml bigint NOT NULL CHECK (amount_ml BETWEEN 1 AND 1000000),
    drained_ml bigint NOT NULL DEFAULT 0 CHECK (drained_ml BETWEEN 0 AND 40000000),
    staff_id uuid REFERENCES staff,
    report_id uuid,
    version integer,
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 1000),
    made_at timestamptz NOT NULL,
    superseded_at timestamptz,
    FOREIGN KEY (report_id, version) REFERENCES visit_reports,
    CHECK ((report_id IS NULL) = (version IS NULL))
);
CREATE INDEX doses_unit ON doses (unit_id, given_on DESC, made_at DESC) WHERE superseded_at IS NULL;
CREATE INDEX doses_customer ON doses (customer_id);
CREATE INDEX doses_report ON doses (report_id) WHERE report_id IS NOT NULL;
CREATE INDEX doses_lot ON doses (lot_id) WHERE lot_id IS NOT NULL;
CREATE INDEX doses_product ON doses (product_id, given_on DESC);

CREATE TABLE shelf_moves (
    id uuid PRIMARY KEY,
    lot_id uuid NOT NULL REFERENCES lots,
    moved_on date NOT NULL,
    amount_ml bigint NOT NULL CHECK (amount_ml BETWEEN -100000000 AND 100000000),
    why text NOT NULL CHECK (why IN ('received', 'used', 'taken back', 'counted', 'spilled')),
    dose_id uuid REFERENCES doses,
    staff_id uuid REFERENCES staff,
    made_at timestamptz NOT NULL
);
CREATE INDEX shelf_moves_lot ON shelf_moves (lot_id, moved_on DESC);
CREATE INDEX shelf_moves_dose ON shelf_moves (dose_id) WHERE dose_id IS NOT NULL;

CREATE TABLE record_links (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    token_hash bytea NOT NULL CHECK (length(token_hash) = 32),
    label text NOT NULL CHECK (length(label) BETWEEN 1 AND 80),
    ends_with text NOT NULL CHECK (length(ends_with) = 2),
    made_by uuid REFERENCES staff,
    made_at timestamptz NOT NULL,
    ends_at timestamptz NOT NULL,
    revoked_at timestamptz
);
CREATE UNIQUE INDEX record_links_hash ON record_links (token_hash);
CREATE INDEX record_links_unit ON record_links (unit_id, made_at DESC);
CREATE INDEX record_links_customer ON record_links (customer_id);

CREATE TABLE submissions (
    id uuid PRIMARY KEY,
    kind text NOT NULL CHECK (length(kind) BETWEEN 1 AND 40),
    staff_id uuid REFERENCES staff,
    phone_id uuid REFERENCES phones,
    body_sha256 bytea NOT NULL CHECK (length(body_sha256) = 32),
    body bytea NOT NULL CHECK (length(body) <= 2097152),
    answer jsonb NOT NULL,
    received_at timestamptz NOT NULL
);
CREATE INDEX submissions_staff ON submissions (staff_id, received_at DESC);
COMMENT ON TABLE submissions IS 'every write that carries a client-made id, stored once in the transaction of its effect; kept for ever';

CREATE TABLE events (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    at timestamptz NOT NULL,
    actor uuid,
    actor_words text NOT NULL CHECK (length(actor_words) BETWEEN 1 AND 120),
    what text NOT NULL CHECK (length(what) BETWEEN 1 AND 80),
    subject text NOT NULL DEFAULT '' CHECK (length(subject) <= 120),
    detail jsonb NOT NULL DEFAULT '{}'
);
CREATE INDEX events_at ON events (at DESC);
CREATE INDEX events_subject ON events (subject, at DESC);

CREATE TABLE jobs (
    id uuid PRIMARY KEY,
    kind text NOT NULL CHECK (length(kind) BETWEEN 1 AND 40),
    payload jsonb NOT NULL DEFAULT '{}',
    run_at timestamptz NOT NULL,
    attempts smallint NOT NULL DEFAULT 0 CHECK (attempts BETWEEN 0 AND 1000),
    done_at timestamptz,
    failed text NOT NULL DEFAULT '' CHECK (length(failed) <= 2000),
    asked_by uuid REFERENCES staff
);
CREATE INDEX jobs_waiting ON jobs (run_at) WHERE done_at IS NULL;
CREATE INDEX jobs_kind ON jobs (kind, run_at DESC);

-- Facts are appended, never rewritten: the only change allowed to a test or a dose is to mark it as superseded, once.
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END $$;
CREATE FUNCTION only_superseded() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.superseded_at IS NOT NULL OR to_jsonb(OLD) - 'superseded_at' <> to_jsonb(NEW) - 'superseded_at' THEN
        RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON visit_reports FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON report_jobs FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON checklist_answers FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON readings FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON events FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON submissions FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER append_only BEFORE DELETE OR TRUNCATE ON water_tests FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER append_only BEFORE DELETE OR TRUNCATE ON doses FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER only_superseded BEFORE UPDATE ON water_tests FOR EACH ROW EXECUTE FUNCTION only_superseded();
CREATE TRIGGER only_superseded BEFORE UPDATE ON doses FOR EACH ROW EXECUTE FUNCTION only_superseded();
