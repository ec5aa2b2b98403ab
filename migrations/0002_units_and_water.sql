-- Customers, places, units; the water in them; programmes, products, kits; tests and doses.
-- customer_id stands on every row a customer may see, so that "their own and nothing else" is one equality.

CREATE TABLE customers (
    id uuid PRIMARY KEY,
    ref text CHECK (length(ref) BETWEEN 1 AND 40),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    phone text NOT NULL DEFAULT '' CHECK (length(phone) <= 40),
    email text NOT NULL DEFAULT '' CHECK (length(email) <= 200),
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 4000),
    made_at timestamptz NOT NULL,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000)
);
CREATE UNIQUE INDEX customers_ref ON customers (ref) WHERE ref IS NOT NULL;
-- Names and towns are ordered by code point (collation C), so that a prefix is a range whatever the database's own collation.
CREATE INDEX customers_name ON customers ((lower(name) COLLATE "C"), id);
CREATE INDEX customers_last_word ON customers ((lower(regexp_replace(name, '^.* ', '')) COLLATE "C"));
CREATE INDEX customers_phone ON customers (phone);

CREATE TABLE places (
    id uuid PRIMARY KEY,
    customer_id uuid NOT NULL REFERENCES customers,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    address text NOT NULL DEFAULT '' CHECK (length(address) <= 300),
    town text NOT NULL DEFAULT '' CHECK (length(town) <= 80),
    lat double precision CHECK (lat BETWEEN -90 AND 90),
    lon double precision CHECK (lon BETWEEN -180 AND 180),
    pin_origin text NOT NULL DEFAULT 'none' CHECK (pin_origin IN ('phone', 'office', 'address', 'none')),
    pin_accuracy_m integer CHECK (pin_accuracy_m BETWEEN 0 AND 100000),
    access_note text NOT NULL DEFAULT '' CHECK (length(access_note) <= 2000),
    hazards text NOT NULL DEFAULT '' CHECK (length(hazards) <= 2000),
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    CHECK ((lat IS NULL) = (lon IS NULL)),
    CHECK ((lat IS NULL) = (pin_origin = 'none'))
);
CREATE INDEX places_customer ON places (customer_id);
CREATE INDEX places_town ON places ((lower(town) COLLATE "C"));

CREATE TABLE unit_kinds (
    code text PRIMARY KEY CHECK (code ~ '^[a-z0-9-]{1,40}$'),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    jacket_ml bigint CHECK (jacket_ml BETWEEN 1000 AND 40000000),
    output_w integer CHECK (output_w BETWEEN 1000 AND 2000000),
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 400)
);

CREATE TABLE programmes (
    code text PRIMARY KEY CHECK (code ~ '^[a-z0-9-]{1,40}$'),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    basis text NOT NULL CHECK (length(basis) BETWEEN 1 AND 20),
    min_mg_l integer NOT NULL CHECK (min_mg_l BETWEEN 1 AND 100000),
    target_mg_l integer NOT NULL CHECK (target_mg_l BETWEEN 1 AND 100000),
    max_mg_l integer NOT NULL CHECK (max_mg_l BETWEEN 1 AND 100000),
    alarm_low_mg_l integer NOT NULL CHECK (alarm_low_mg_l BETWEEN 0 AND 100000),
    top_up_below_mg_l integer NOT NULL CHECK (top_up_below_mg_l BETWEEN 1 AND 100000),
    ph_min integer NOT NULL CHECK (ph_min BETWEEN 0 AND 1400),
    ph_max integer NOT NULL CHECK (ph_max BETWEEN 0 AND 1400),
    ph_min_aluminium integer NOT NULL CHECK (ph_min_aluminium BETWEEN 0 AND 1400),
    ph_max_aluminium integer NOT NULL CHECK (ph_max_aluminium BETWEEN 0 AND 1400),
    hardness_stop_mg_l integer CHECK (hardness_stop_mg_l BETWEEN 0 AND 10000),
    hardness_advise_mg_l integer CHECK (hardness_advise_mg_l BETWEEN 0 AND 10000),
    cl_so4_stop_mg_l integer CHECK (cl_so4_stop_mg_l BETWEEN 0 AND 100000),
    recheck_from_days integer NOT NULL CHECK (recheck_from_days BETWEEN 1 AND 365),
    recheck_to_days integer NOT NULL CHECK (recheck_to_days BETWEEN 1 AND 730),
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 1000),
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    CHECK (alarm_low_mg_l <= min_mg_l AND min_mg_l <= target_mg_l AND target_mg_l <= max_mg_l),
    CHECK (top_up_below_mg_l BETWEEN min_mg_l AND target_mg_l),
    CHECK (ph_min < ph_max AND ph_min_aluminium < ph_max_aluminium),
    CHECK (recheck_from_days <= recheck_to_days)
);
COMMENT ON COLUMN programmes.ph_min IS 'hundredths of a pH unit, at 25 C';

CREATE TABLE products (
    id uuid PRIMARY KEY,
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    programme_code text NOT NULL REFERENCES programmes,
    active_basis text NOT NULL CHECK (length(active_basis) BETWEEN 1 AND 20),
    active_ppm_mass integer NOT NULL CHECK (active_ppm_mass BETWEEN 1 AND 1000000),
    density_g_l integer NOT NULL CHECK (density_g_l BETWEEN 500 AND 3000),
    pack_ml bigint NOT NULL CHECK (pack_ml BETWEEN 1 AND 1000000),
    step_ml bigint NOT NULL CHECK (step_ml BETWEEN 1 AND 100000),
    hazards text NOT NULL DEFAULT '' CHECK (length(hazards) <= 2000),
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 1000),
    active boolean NOT NULL DEFAULT true,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000)
);
CREATE UNIQUE INDEX products_name ON products (lower(name));
CREATE INDEX products_programme ON products (programme_code) WHERE active;
COMMENT ON COLUMN products.active_ppm_mass IS 'parts per million by mass of the product that are the active, in active_basis';

CREATE TABLE lots (
    id uuid PRIMARY KEY,
    product_id uuid NOT NULL REFERENCES products,
    lot text NOT NULL CHECK (length(lot) BETWEEN 1 AND 40),
    received_on date NOT NULL CHECK (received_on BETWEEN '2000-01-01' AND '2200-01-01'),
    expires_on date CHECK (expires_on BETWEEN '2000-01-01' AND '2200-01-01'),
    UNIQUE (product_id, lot)
);

CREATE TABLE test_kits (
    code text PRIMARY KEY CHECK (code ~ '^[a-z0-9-]{1,40}$'),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    basis text NOT NULL CHECK (length(basis) BETWEEN 1 AND 20),
    per_drop_centi integer CHECK (per_drop_centi BETWEEN 1 AND 10000000),
    max_drops integer CHECK (max_drops BETWEEN 1 AND 200),
    dilution integer NOT NULL DEFAULT 1 CHECK (dilution BETWEEN 1 AND 10000),
    reagent_lot text NOT NULL DEFAULT '' CHECK (length(reagent_lot) <= 40),
    reagent_expires_on date CHECK (reagent_expires_on BETWEEN '2000-01-01' AND '2200-01-01'),
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 1000),
    active boolean NOT NULL DEFAULT true,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    CHECK ((per_drop_centi IS NULL) = (max_drops IS NULL))
);
COMMENT ON COLUMN test_kits.per_drop_centi IS 'hundredths of mg/L a drop in the kit''s basis; NULL: the figure is read directly';

CREATE TABLE units (
    id uuid PRIMARY KEY,
    place_id uuid NOT NULL REFERENCES places,
    customer_id uuid NOT NULL REFERENCES customers,
    ref text CHECK (length(ref) BETWEEN 1 AND 40),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    kind_code text NOT NULL REFERENCES unit_kinds,
    serial text NOT NULL DEFAULT '' CHECK (length(serial) <= 60),
    installed_on date CHECK (installed_on BETWEEN '1970-01-01' AND '2200-01-01'),
    jacket_ml bigint CHECK (jacket_ml BETWEEN 1000 AND 40000000),
    status text NOT NULL DEFAULT 'in service' CHECK (status IN ('in service', 'idle', 'retired')),
    aluminium boolean NOT NULL DEFAULT false,
    stainless boolean NOT NULL DEFAULT false,
    copper boolean NOT NULL DEFAULT true,
    programme_code text NOT NULL REFERENCES programmes,
    product_id uuid REFERENCES products,
    kit_code text REFERENCES test_kits,
    ask_fuel_moisture boolean NOT NULL DEFAULT false,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000)
);
CREATE UNIQUE INDEX units_ref ON units (ref) WHERE ref IS NOT NULL;
CREATE INDEX units_place ON units (place_id);
CREATE INDEX units_customer ON units (customer_id);
CREATE INDEX units_status ON units (status, id);

CREATE TABLE loop_parts (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    kind text NOT NULL CHECK (kind IN ('pipe', 'exchanger', 'buffer tank', 'emitters', 'other')),
    label text NOT NULL CHECK (length(label) BETWEEN 1 AND 120),
    length_mm integer CHECK (length_mm BETWEEN 1 AND 10000000),
    both_ways boolean NOT NULL DEFAULT false,
    volume_ml bigint NOT NULL CHECK (volume_ml BETWEEN 0 AND 40000000)
);
CREATE INDEX loop_parts_unit ON loop_parts (unit_id);

CREATE TABLE water_volumes (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    volume_ml bigint NOT NULL CHECK (volume_ml BETWEEN 1000 AND 40000000),
    plus_minus_ml bigint NOT NULL CHECK (plus_minus_ml BETWEEN 0 AND 40000000),
    method text NOT NULL CHECK (method IN ('label', 'piping', 'water_meter', 'tracer', 'guess')),
    found_on date NOT NULL CHECK (found_on BETWEEN '1970-01-01' AND '2200-01-01'),
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 1000),
    made_at timestamptz NOT NULL
);
CREATE INDEX water_volumes_unit ON water_volumes (unit_id, found_on DESC, made_at DESC);

CREATE TABLE fills (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    filled_on date NOT NULL CHECK (filled_on BETWEEN '1970-01-01' AND '2200-01-01'),
    drained_on date CHECK (drained_on BETWEEN '1970-01-01' AND '2200-01-01'),
    source_water text NOT NULL DEFAULT 'unknown' CHECK (source_water IN ('well', 'town supply', 'hauled', 'rain', 'unknown')),
    softened boolean,
    fluid text NOT NULL DEFAULT 'water' CHECK (fluid IN ('water', 'propylene glycol', 'ethylene glycol')),
    glycol_percent smallint NOT NULL DEFAULT 0 CHECK (glycol_percent BETWEEN 0 AND 70),
    amount_ml bigint CHECK (amount_ml BETWEEN 1000 AND 40000000),
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 1000),
    made_at timestamptz NOT NULL,
    CHECK (drained_on IS NULL OR drained_on >= filled_on),
    CHECK ((fluid = 'water') = (glycol_percent = 0))
);
CREATE INDEX fills_unit ON fills (unit_id, filled_on DESC, made_at DESC);
CREATE INDEX fills_customer ON fills (customer_id);
