-- The dealer's own settings, staff, and who is signed in.
-- Every numeric CHECK has two bounds: a single one would let NaN or an absurd figure through.

CREATE EXTENSION IF NOT EXISTS btree_gist;

CREATE TABLE dealer (
    id smallint PRIMARY KEY DEFAULT 1 CHECK (id = 1),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    phone text NOT NULL DEFAULT '' CHECK (length(phone) <= 40),
    email text NOT NULL DEFAULT '' CHECK (length(email) <= 200),
    zone text NOT NULL DEFAULT 'America/New_York' CHECK (length(zone) BETWEEN 1 AND 60),
    units_first text NOT NULL DEFAULT 'us' CHECK (units_first IN ('us', 'metric')),
    invented boolean NOT NULL DEFAULT false,
    due_worked_out_on date,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000)
);

CREATE TABLE depots (
    id uuid PRIMARY KEY,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    lat double precision NOT NULL CHECK (lat BETWEEN -90 AND 90),
    lon double precision NOT NULL CHECK (lon BETWEEN -180 AND 180)
);

CREATE TABLE staff (
    id uuid PRIMARY KEY,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    sign_in text NOT NULL CHECK (sign_in = lower(sign_in) AND length(sign_in) BETWEEN 3 AND 120),
    role text NOT NULL CHECK (role IN ('owner', 'office', 'technician')),
    password_hash text NOT NULL CHECK (length(password_hash) BETWEEN 20 AND 400),
    active boolean NOT NULL DEFAULT true,
    made_at timestamptz NOT NULL,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000)
);
CREATE UNIQUE INDEX staff_sign_in ON staff (sign_in);

CREATE TABLE technicians (
    staff_id uuid PRIMARY KEY REFERENCES staff,
    depot_id uuid NOT NULL REFERENCES depots,
    skills text[] NOT NULL DEFAULT '{}' CHECK (cardinality(skills) <= 20),
    van_capacity_ml bigint NOT NULL DEFAULT 60000 CHECK (van_capacity_ml BETWEEN 0 AND 2000000),
    lunch_from integer NOT NULL DEFAULT 660 CHECK (lunch_from BETWEEN 0 AND 1439),
    lunch_to integer NOT NULL DEFAULT 810 CHECK (lunch_to BETWEEN 0 AND 1439),
    lunch_minutes integer NOT NULL DEFAULT 30 CHECK (lunch_minutes BETWEEN 0 AND 180),
    CHECK (lunch_from <= lunch_to)
);
COMMENT ON COLUMN technicians.lunch_from IS 'minutes after local midnight: lunch may start from here';

CREATE TABLE working_hours (
    staff_id uuid NOT NULL REFERENCES technicians,
    weekday smallint NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    starts integer NOT NULL CHECK (starts BETWEEN 0 AND 1439),
    ends integer NOT NULL CHECK (ends BETWEEN 1 AND 1440),
    PRIMARY KEY (staff_id, weekday),
    CHECK (starts < ends)
);
COMMENT ON COLUMN working_hours.weekday IS 'ISO: 1 is Monday';

CREATE TABLE days_off (
    staff_id uuid NOT NULL REFERENCES technicians,
    day date NOT NULL CHECK (day BETWEEN '2000-01-01' AND '2200-01-01'),
    why text NOT NULL DEFAULT '' CHECK (length(why) <= 200),
    PRIMARY KEY (staff_id, day)
);

CREATE TABLE phones (
    id uuid PRIMARY KEY,
    staff_id uuid NOT NULL REFERENCES staff,
    label text NOT NULL CHECK (length(label) BETWEEN 1 AND 80),
    made_at timestamptz NOT NULL,
    last_heard_at timestamptz,
    unsent integer NOT NULL DEFAULT 0 CHECK (unsent BETWEEN 0 AND 100000),
    revoked_at timestamptz
);
CREATE INDEX phones_staff ON phones (staff_id);

CREATE TABLE sessions (
    token_hash bytea PRIMARY KEY CHECK (length(token_hash) = 32),
    staff_id uuid NOT NULL REFERENCES staff,
    phone_id uuid REFERENCES phones,
    form_token text NOT NULL CHECK (length(form_token) BETWEEN 32 AND 64),
    made_at timestamptz NOT NULL,
    last_seen_at timestamptz NOT NULL,
    ends_at timestamptz NOT NULL
);
CREATE INDEX sessions_staff ON sessions (staff_id);
CREATE INDEX sessions_phone ON sessions (phone_id) WHERE phone_id IS NOT NULL;
CREATE INDEX sessions_ends ON sessions (ends_at);

CREATE TABLE sign_in_failures (
    key text NOT NULL CHECK (length(key) BETWEEN 1 AND 200),
    at timestamptz NOT NULL
);
CREATE INDEX sign_in_failures_key ON sign_in_failures (key, at DESC);
CREATE INDEX sign_in_failures_at ON sign_in_failures (at);
COMMENT ON TABLE sign_in_failures IS 'one row a failed sign-in, under the sign-in name and under the sender; throttling counts them';

CREATE TABLE setup_links (
    token_hash bytea PRIMARY KEY CHECK (length(token_hash) = 32),
    staff_id uuid REFERENCES staff,
    made_at timestamptz NOT NULL,
    ends_at timestamptz NOT NULL,
    used_at timestamptz
);
CREATE INDEX setup_links_staff ON setup_links (staff_id);
COMMENT ON COLUMN setup_links.staff_id IS 'NULL: the first owner of a new installation; else the invited person';
