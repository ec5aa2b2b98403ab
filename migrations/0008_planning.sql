-- What a week and a season are planned by, and the plan of a whole season.

ALTER TABLE technicians
    ADD most_minutes integer CHECK (most_minutes BETWEEN 60 AND 1440),
    ADD full_day_minutes integer CHECK (full_day_minutes BETWEEN 60 AND 1440);
COMMENT ON COLUMN technicians.most_minutes IS 'longest from driving off to being back; NULL: the working hours alone bound the day';
COMMENT ON COLUMN technicians.full_day_minutes IS 'work (driving and at the units) beyond this is overtime; NULL: none is counted';

-- What a van carries of one product, where that is less than the van holds in all.
CREATE TABLE van_loads (
    staff_id uuid NOT NULL REFERENCES technicians,
    product_id uuid NOT NULL REFERENCES products,
    ml bigint NOT NULL CHECK (ml BETWEEN 0 AND 2000000),
    PRIMARY KEY (staff_id, product_id)
);
CREATE INDEX van_loads_product ON van_loads (product_id);

CREATE TABLE planning_prices (
    id smallint PRIMARY KEY DEFAULT 1 CHECK (id = 1),
    overtime_percent integer NOT NULL DEFAULT 150 CHECK (overtime_percent BETWEEN 0 AND 1000),
    late_minutes_a_day integer NOT NULL DEFAULT 20 CHECK (late_minutes_a_day BETWEEN 0 AND 480),
    uneven_seconds integer NOT NULL DEFAULT 60 CHECK (uneven_seconds BETWEEN 0 AND 3600),
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 400),
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000)
);
COMMENT ON TABLE planning_prices IS 'what the planner weighs against driving, each in driving time';
COMMENT ON COLUMN planning_prices.overtime_percent IS 'driving that a minute of overtime is worth, in hundredths of a minute';
COMMENT ON COLUMN planning_prices.late_minutes_a_day IS 'driving that a day after the window is worth, minutes';
COMMENT ON COLUMN planning_prices.uneven_seconds IS 'driving that the first hour above a week''s even share is worth, seconds; two hours cost four times that';
INSERT INTO planning_prices (source) VALUES ('common practice, no source');

-- When somebody can be met at a place. None: at any working hour.
CREATE TABLE place_times (
    place_id uuid NOT NULL REFERENCES places,
    weekday smallint NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    from_minute integer NOT NULL CHECK (from_minute BETWEEN 0 AND 1439),
    to_minute integer NOT NULL CHECK (to_minute BETWEEN 1 AND 1440),
    PRIMARY KEY (place_id, weekday, from_minute),
    CHECK (from_minute < to_minute)
);
COMMENT ON COLUMN place_times.weekday IS 'ISO: 1 is Monday';
COMMENT ON COLUMN place_times.to_minute IS 'the last good start of work lies before this';

-- At most one row: the newest plan. It may be thrown away and made again at any time.
CREATE TABLE season_plans (
    id uuid PRIMARY KEY,
    monday date NOT NULL CHECK (extract(isodow FROM monday) = 1 AND monday BETWEEN '2000-01-01' AND '2200-01-01'),
    until_day date NOT NULL CHECK (until_day BETWEEN '2000-01-01' AND '2200-01-01'),
    made_at timestamptz NOT NULL,
    seed bigint NOT NULL,
    iterations bigint NOT NULL CHECK (iterations BETWEEN 0 AND 1000000000000),
    drive_source text NOT NULL CHECK (length(drive_source) BETWEEN 1 AND 120),
    CHECK (until_day >= monday)
);
CREATE TABLE season_weeks (
    plan_id uuid NOT NULL REFERENCES season_plans ON DELETE CASCADE,
    monday date NOT NULL,
    hours_s bigint NOT NULL CHECK (hours_s BETWEEN 0 AND 100000000),
    work_s bigint NOT NULL CHECK (work_s BETWEEN 0 AND 100000000),
    before_s bigint NOT NULL CHECK (before_s BETWEEN 0 AND 100000000),
    PRIMARY KEY (plan_id, monday)
);
COMMENT ON COLUMN season_weeks.work_s IS 'driving and at the units, as planned';
COMMENT ON COLUMN season_weeks.before_s IS 'the same as it fell before the weeks were made even';
CREATE TABLE season_visits (
    plan_id uuid NOT NULL REFERENCES season_plans ON DELETE CASCADE,
    unit_id uuid NOT NULL REFERENCES units,
    n smallint NOT NULL CHECK (n BETWEEN 1 AND 50),
    monday date,
    area text NOT NULL DEFAULT '' CHECK (length(area) <= 120),
    staff_id uuid REFERENCES technicians,
    day date,
    starts integer CHECK (starts BETWEEN 0 AND 2880),
    minutes integer NOT NULL CHECK (minutes BETWEEN 1 AND 1440),
    jobs text[] NOT NULL CHECK (cardinality(jobs) BETWEEN 1 AND 30),
    opens_on date NOT NULL,
    closes_on date NOT NULL,
    why text NOT NULL DEFAULT '' CHECK (length(why) <= 400),
    PRIMARY KEY (plan_id, unit_id, n),
    CHECK (num_nulls(monday, staff_id, day, starts) IN (0, 4))
);
CREATE INDEX season_visits_week ON season_visits (plan_id, monday, area, unit_id);
CREATE INDEX season_visits_unit ON season_visits (unit_id);
CREATE INDEX season_visits_staff ON season_visits (staff_id) WHERE staff_id IS NOT NULL;

ALTER TABLE visit_reports
    ADD arrived_at timestamptz,
    ADD kept_at timestamptz;
COMMENT ON COLUMN visit_reports.arrived_at IS 'when the technician said "I am here", by the phone';
COMMENT ON COLUMN visit_reports.kept_at IS 'when the sheet was kept, by the phone; made_at is when it was begun';

-- Drives as they were driven: from one place left to the next arrived at, by the technician's own phone.
CREATE TABLE recorded_drives (
    report_id uuid PRIMARY KEY,
    staff_id uuid NOT NULL REFERENCES staff,
    from_lat double precision NOT NULL CHECK (from_lat BETWEEN -90 AND 90),
    from_lon double precision NOT NULL CHECK (from_lon BETWEEN -180 AND 180),
    to_lat double precision NOT NULL CHECK (to_lat BETWEEN -90 AND 90),
    to_lon double precision NOT NULL CHECK (to_lon BETWEEN -180 AND 180),
    left_at timestamptz NOT NULL,
    seconds integer NOT NULL CHECK (seconds BETWEEN 30 AND 14400)
);
CREATE INDEX visit_reports_kept ON visit_reports (staff_id, kept_at DESC) WHERE version = 1 AND kept_at IS NOT NULL;
COMMENT ON COLUMN recorded_drives.report_id IS 'the report of the visit that was driven to';
CREATE INDEX recorded_drives_left ON recorded_drives (left_at DESC);
CREATE INDEX recorded_drives_staff ON recorded_drives (staff_id);
ALTER TABLE dealer
    ADD correct_drives boolean NOT NULL DEFAULT true,
    ADD drive_percent integer NOT NULL DEFAULT 100 CHECK (drive_percent BETWEEN 80 AND 160),
    ADD drives_recorded integer NOT NULL DEFAULT 0 CHECK (drives_recorded BETWEEN 0 AND 1000000);
COMMENT ON COLUMN dealer.drive_percent IS 'clock over reckoned drives, from recorded_drives; in use while correct_drives';
