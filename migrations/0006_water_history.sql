-- What the water's history says: more figures of a test, make-up meters and drains, runs of use, losses, forecasts;
-- limits for source water as data; where the heating season comes from.

ALTER TABLE readings DROP CONSTRAINT readings_what_check;
ALTER TABLE readings ADD CONSTRAINT readings_what_check CHECK (what IN ('inhibitor', 'ph', 'hardness', 'conductivity', 'temperature', 'chloride',
    'sulfate', 'alkalinity', 'iron', 'glycol', 'manganese', 'ammonium', 'nitrate', 'molybdenum', 'boron'));
ALTER TABLE readings ADD COLUMN reagent_expired boolean NOT NULL DEFAULT false;
COMMENT ON COLUMN readings.reagent_expired IS 'the reagent was past its day when the test was made';

ALTER TABLE programmes ADD COLUMN dose_ph_min integer CHECK (dose_ph_min BETWEEN 0 AND 1400);
ALTER TABLE programmes ADD COLUMN dose_ph_max integer CHECK (dose_ph_max BETWEEN 0 AND 1400);
ALTER TABLE programmes ADD CHECK ((dose_ph_min IS NULL) = (dose_ph_max IS NULL) AND dose_ph_min < dose_ph_max);
COMMENT ON COLUMN programmes.dose_ph_min IS 'nothing is put in while the pH lies outside dose_ph_min to dose_ph_max; hundredths; NULL: the programme does not ask';
UPDATE programmes SET dose_ph_min = 700, dose_ph_max = 1100, source = source || ' No dose below pH 7.0: a UK water-treatment note on nitrite; above 11.0: common practice, no source.'
 WHERE code IN ('nitrite-borate', 'nitrite-molybdate') AND length(source) < 850;

ALTER TABLE test_kits ADD COLUMN sample_ul integer CHECK (sample_ul BETWEEN 1 AND 10000000);
COMMENT ON COLUMN test_kits.sample_ul IS 'the sample that the kit takes, in microlitres; the figure a drop stands for belongs to it';
UPDATE test_kits SET sample_ul = 5000 WHERE code IN ('nitrite-drops-5', 'nitrite-drops-salt');
UPDATE test_kits SET sample_ul = 2300 WHERE code = 'nitrite-drops-2';
ALTER TABLE test_kits ADD COLUMN relative_sd_pm smallint CHECK (relative_sd_pm BETWEEN 1 AND 1000);
ALTER TABLE test_kits ADD COLUMN steps integer[] NOT NULL DEFAULT '{}' CHECK (cardinality(steps) <= 30);
COMMENT ON COLUMN test_kits.relative_sd_pm IS 'of a figure that is read off: its standard deviation in thousandths; NULL as for a comparator';
COMMENT ON COLUMN test_kits.steps IS 'the fields of a colour comparator, mg/L in the kit''s basis; empty when any figure can be read';
UPDATE test_kits SET steps = '{0,50,100,150,200,300,400}' WHERE code = 'molybdate-comparator';

ALTER TABLE job_kinds ADD COLUMN begins text NOT NULL DEFAULT '' CHECK (begins IN ('', 'heating', 'resting'));
COMMENT ON COLUMN job_kinds.begins IS 'the use of the unit that begins when this job is done';
UPDATE job_kinds SET begins = 'heating' WHERE code = 'fall-start-up';
UPDATE job_kinds SET begins = 'resting' WHERE code = 'spring-shut-down';

ALTER TABLE fills ADD COLUMN fill_device text NOT NULL DEFAULT 'not_known'
    CHECK (fill_device IN ('air_gap', 'reduced_pressure', 'intermediate_vent', 'dual_check', 'hose_vacuum_breaker', 'nothing', 'not_known'));
ALTER TABLE fills ADD COLUMN answer text NOT NULL DEFAULT '' CHECK (length(answer) <= 600);
COMMENT ON COLUMN fills.answer IS 'what was said of the source water on the day, with the profile it was held against';

CREATE TABLE water_events (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    happened_on date NOT NULL CHECK (happened_on BETWEEN '1970-01-01' AND '2200-01-01'),
    what text NOT NULL CHECK (what IN ('meter', 'drained')),
    amount_ml bigint NOT NULL CHECK (amount_ml BETWEEN 0 AND 4000000000),
    where_to text NOT NULL DEFAULT '' CHECK (length(where_to) <= 200),
    staff_id uuid REFERENCES staff,
    report_id uuid,
    version integer,
    made_at timestamptz NOT NULL,
    superseded_at timestamptz,
    FOREIGN KEY (report_id, version) REFERENCES visit_reports,
    CHECK ((report_id IS NULL) = (version IS NULL))
);
CREATE INDEX water_events_unit ON water_events (unit_id, happened_on DESC, made_at DESC) WHERE superseded_at IS NULL;
CREATE INDEX water_events_customer ON water_events (customer_id);
CREATE INDEX water_events_report ON water_events (report_id) WHERE report_id IS NOT NULL;
COMMENT ON COLUMN water_events.amount_ml IS 'meter: what the make-up meter shows; drained: how much was let out';
CREATE TRIGGER append_only BEFORE DELETE OR TRUNCATE ON water_events FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER only_superseded BEFORE UPDATE ON water_events FOR EACH ROW EXECUTE FUNCTION only_superseded();

CREATE TABLE usual_losses (
    kind_code text NOT NULL REFERENCES unit_kinds,
    programme_code text NOT NULL REFERENCES programmes,
    used text NOT NULL CHECK (used IN ('heating', 'resting')),
    per_day double precision NOT NULL CHECK (per_day BETWEEN -1 AND 1),
    sd double precision NOT NULL CHECK (sd BETWEEN 0 AND 1),
    units integer NOT NULL CHECK (units BETWEEN 1 AND 1000000),
    worked_out_on date NOT NULL,
    PRIMARY KEY (kind_code, programme_code, used)
);
CREATE INDEX usual_losses_programme ON usual_losses (programme_code);
COMMENT ON TABLE usual_losses IS 'share of the inhibitor that units of a kind lose in a day; worked out from facts alone, may be thrown away';

CREATE TABLE foreseen (
    unit_id uuid PRIMARY KEY REFERENCES units,
    says text NOT NULL CHECK (length(says) BETWEEN 1 AND 400),
    expected_on date CHECK (expected_on BETWEEN '1970-01-01' AND '2200-01-01'),
    test_by date CHECK (test_by BETWEEN '1970-01-01' AND '2200-01-01'),
    loss_ml_a_day bigint CHECK (loss_ml_a_day BETWEEN 0 AND 40000000),
    loss_plus_minus_ml bigint CHECK (loss_plus_minus_ml BETWEEN 0 AND 40000000),
    loss_share_pm integer CHECK (loss_share_pm BETWEEN 0 AND 1000000),
    worked_out_on date NOT NULL,
    CHECK ((loss_ml_a_day IS NULL) = (loss_plus_minus_ml IS NULL)),
    CHECK ((loss_ml_a_day IS NULL) = (loss_share_pm IS NULL))
);
CREATE INDEX foreseen_loss ON foreseen (loss_share_pm DESC, unit_id) WHERE loss_share_pm IS NOT NULL;
COMMENT ON TABLE foreseen IS 'worked out from facts alone; may be thrown away and worked out again at any time';
COMMENT ON COLUMN foreseen.loss_share_pm IS 'liquid lost in a year at this rate, in thousandths of the water volume; NULL where the loss is not to be told from the error of the tests';

CREATE TABLE fill_profiles (
    code text PRIMARY KEY CHECK (code ~ '^[a-z0-9-]{1,40}$'),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    decides boolean NOT NULL,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000)
);
COMMENT ON COLUMN fill_profiles.decides IS 'whether passing one of its limits decides the answer, or is only shown for comparison';
CREATE TABLE fill_limits (
    profile_code text NOT NULL REFERENCES fill_profiles ON DELETE CASCADE,
    parameter text NOT NULL CHECK (parameter IN ('ph', 'hardness', 'alkalinity', 'conductivity', 'dissolved_solids', 'chloride', 'sulfate',
        'chloride_and_sulfate', 'iron', 'manganese', 'copper', 'larson_ratio')),
    ok_from double precision CHECK (ok_from BETWEEN 0 AND 200000),
    ok_to double precision CHECK (ok_to BETWEEN 0 AND 200000),
    caution_from double precision CHECK (caution_from BETWEEN 0 AND 200000),
    caution_to double precision CHECK (caution_to BETWEEN 0 AND 200000),
    remedy text NOT NULL CHECK (remedy IN ('soften', 'filter', 'other_source')),
    why text NOT NULL CHECK (length(why) BETWEEN 1 AND 300),
    source text NOT NULL CHECK (length(source) BETWEEN 1 AND 400),
    position smallint NOT NULL CHECK (position BETWEEN 0 AND 1000),
    PRIMARY KEY (profile_code, parameter)
);

INSERT INTO fill_profiles (code, name, decides) VALUES
 ('steel-vented', 'Steel, vented, inhibited (our default, first edition)', true),
 ('us-drinking-water', 'US drinking water, secondary levels (40 CFR 143.3)', false),
 ('oenorm-2006-chloride', 'OENORM H 5195-1, 2006 edition (chloride)', false);
INSERT INTO fill_limits (profile_code, parameter, ok_from, ok_to, caution_from, caution_to, remedy, why, source, position) VALUES
 ('steel-vented', 'ph', 6.5, 8.5, 6.0, 9.5, 'other_source', 'outside of it the water is unusual: ask why', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 1),
 ('steel-vented', 'hardness', NULL, 100, NULL, 250, 'soften', 'lime settles on the hot wall of the firebox', 'OENORM H 5195-1 newer edition (100 at 20 to 50 L/kW, 50 to 200 kW); UFC 3-240-13FN (2005) pp. 148-150: soften above 250', 2),
 ('steel-vented', 'alkalinity', 30, 250, NULL, 400, 'other_source', 'below it the pH has no hold; above it the pH climbs as carbon dioxide leaves a vented jacket', 'common practice, no source', 3),
 ('steel-vented', 'conductivity', NULL, 750, NULL, 1500, 'other_source', 'salt carries corrosion; a limit for raw fill only, treated water lies far above', '750 from 500 mg/L dissolved solids (40 CFR 143.3); 1,500 from VDI 2035, quoted in trade pages', 4),
 ('steel-vented', 'chloride', NULL, 50, NULL, 250, 'other_source', 'chloride pits steel through the inhibitor; lower still with a stainless exchanger', '50 from limits for engine jackets with nitrite and borate, quoted in trade pages; 250 from 40 CFR 143.3', 5),
 ('steel-vented', 'sulfate', NULL, 100, NULL, 250, 'other_source', 'sulfate works against nitrite', '250 from 40 CFR 143.3; 100 common practice', 6),
 ('steel-vented', 'chloride_and_sulfate', NULL, 300, NULL, 800, 'other_source', 'above 800 no nitrite programme may be used', 'UFC 3-240-13FN (2005) pp. 148-150 (800); 300 common practice', 7),
 ('steel-vented', 'iron', NULL, 0.3, NULL, 1.0, 'filter', 'iron settles as sludge and fouls a softener', '0.3 from 40 CFR 143.3; 1.0 common practice', 8),
 ('steel-vented', 'manganese', NULL, 0.05, NULL, 0.3, 'filter', 'manganese settles and fouls a softener', '0.05 from 40 CFR 143.3; 0.3 common practice', 9),
 ('steel-vented', 'larson_ratio', NULL, 0.5, NULL, 1.0, 'other_source', 'much chloride and sulfate for little alkalinity', 'a European corrosion text (0.5 and 1.0); published bands disagree', 10),
 ('us-drinking-water', 'ph', 6.5, 8.5, 6.5, 8.5, 'other_source', 'ordinary drinking water lies within it', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 1),
 ('us-drinking-water', 'chloride', NULL, 250, NULL, 250, 'other_source', 'ordinary drinking water lies below it', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 2),
 ('us-drinking-water', 'sulfate', NULL, 250, NULL, 250, 'other_source', 'ordinary drinking water lies below it', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 3),
 ('us-drinking-water', 'iron', NULL, 0.3, NULL, 0.3, 'filter', 'ordinary drinking water lies below it', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 4),
 ('us-drinking-water', 'manganese', NULL, 0.05, NULL, 0.05, 'filter', 'ordinary drinking water lies below it', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 5),
 ('us-drinking-water', 'copper', NULL, 1.0, NULL, 1.0, 'other_source', 'ordinary drinking water lies below it', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 6),
 ('us-drinking-water', 'dissolved_solids', NULL, 500, NULL, 500, 'other_source', 'ordinary drinking water lies below it', '40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)', 7),
 ('oenorm-2006-chloride', 'chloride', NULL, 30, NULL, 30, 'other_source', 'for closed systems without inhibitor', 'OENORM H 5195-1, 2006 edition, read in trade pages', 1);

CREATE TABLE climate (
    id smallint PRIMARY KEY DEFAULT 1 CHECK (id = 1),
    normals_c double precision[] NOT NULL CHECK (cardinality(normals_c) IN (0, 12)),
    threshold_c double precision NOT NULL CHECK (threshold_c BETWEEN -20 AND 30),
    fall_opens_before smallint NOT NULL CHECK (fall_opens_before BETWEEN 1 AND 180),
    fall_closes_before smallint NOT NULL CHECK (fall_closes_before BETWEEN 0 AND 179),
    spring_days smallint NOT NULL CHECK (spring_days BETWEEN 1 AND 180),
    source text NOT NULL DEFAULT '' CHECK (length(source) <= 300),
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    CHECK (fall_closes_before < fall_opens_before)
);
COMMENT ON COLUMN climate.normals_c IS 'mean temperature of each month, January first; empty until somebody enters them';
INSERT INTO climate (normals_c, threshold_c, fall_opens_before, fall_closes_before, spring_days) VALUES ('{}', 15, 42, 14, 42);
