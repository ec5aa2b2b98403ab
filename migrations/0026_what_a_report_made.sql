-- What a report made besides its test, dose and answers: a fill, a volume, a request that it settled. A correction replaces them too.

ALTER TABLE fills ADD report_id uuid, ADD version integer CHECK (version BETWEEN 1 AND 10000),
    ADD CHECK ((report_id IS NULL) = (version IS NULL));
CREATE INDEX fills_report ON fills (report_id) WHERE report_id IS NOT NULL;
ALTER TABLE water_volumes ADD report_id uuid, ADD version integer CHECK (version BETWEEN 1 AND 10000), ADD fill_id uuid REFERENCES fills,
    ADD superseded_at timestamptz, ADD CHECK ((report_id IS NULL) = (version IS NULL));
CREATE INDEX water_volumes_report ON water_volumes (report_id) WHERE report_id IS NOT NULL;
CREATE INDEX water_volumes_fill ON water_volumes (fill_id) WHERE fill_id IS NOT NULL;
COMMENT ON COLUMN water_volumes.fill_id IS 'the fill at which it was read: it goes with that';

-- What a report made was kept in the same moment as the report, what was read at a fill in the same moment as the fill.
UPDATE fills f SET report_id = r.report_id, version = r.version FROM visit_reports r
    WHERE r.unit_id = f.unit_id AND r.received_at = f.made_at AND r.visited_on = f.filled_on;
UPDATE water_volumes v SET report_id = f.report_id, version = f.version, fill_id = f.id FROM fills f
    WHERE f.unit_id = v.unit_id AND f.made_at = v.made_at AND f.filled_on = v.found_on AND v.note IN ('read at the fill', 'read at the first fill');
-- Of a report whose newest version is no first fill any more, they were left standing.
UPDATE fills f SET superseded_at = n.received_at FROM visit_reports n
    WHERE f.report_id = n.report_id AND f.superseded_at IS NULL
      AND NOT EXISTS (SELECT FROM visit_reports l WHERE l.report_id = n.report_id AND l.version > n.version)
      AND (n.outcome <> 'done' OR NOT EXISTS (SELECT FROM report_jobs j JOIN job_kinds k ON k.code = j.job_code
             WHERE j.report_id = n.report_id AND j.version = n.version AND k.cadence = 'once at fill'));
UPDATE fills f SET drained_on = (SELECT min(l.filled_on) FROM fills l WHERE l.unit_id = f.unit_id AND l.superseded_at IS NULL AND l.filled_on > f.filled_on)
    FROM fills o WHERE o.unit_id = f.unit_id AND o.report_id IS NOT NULL AND o.superseded_at IS NOT NULL AND f.superseded_at IS NULL AND f.drained_on = o.filled_on;
UPDATE water_volumes v SET superseded_at = f.superseded_at FROM fills f WHERE f.id = v.fill_id AND f.superseded_at IS NOT NULL;

ALTER TABLE requests ADD settled_by uuid;
CREATE INDEX requests_settled_by ON requests (settled_by) WHERE settled_by IS NOT NULL;
COMMENT ON COLUMN requests.settled_by IS 'the report, or the line of done_elsewhere, that met it';

-- The volume that counts: the newest, but no guess that a better figure has come in after.
CREATE FUNCTION volume_now(unit uuid) RETURNS SETOF water_volumes LANGUAGE sql STABLE AS $$
    SELECT v.* FROM water_volumes v
    WHERE v.unit_id = unit AND v.superseded_at IS NULL
      AND (v.method <> 'guess' OR NOT EXISTS (SELECT FROM water_volumes m
             WHERE m.unit_id = unit AND m.superseded_at IS NULL AND m.method <> 'guess' AND m.made_at > v.made_at))
    ORDER BY v.found_on DESC, v.made_at DESC LIMIT 1
$$;

-- A unit on another programme than before: what was read of another substance is no level of this one.
CREATE FUNCTION analyte_of(basis text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE
        WHEN basis IN ('NO2', 'NaNO2', 'N') THEN 'nitrite'
        WHEN basis IN ('Mo', 'MoO4', 'Na2MoO4', 'Na2MoO4.2H2O') THEN 'molybdate'
        WHEN basis IN ('SO3', 'Na2SO3') THEN 'sulfite'
        WHEN basis IN ('B', 'Na2B4O7.10H2O', 'Na2B4O7.5H2O') THEN 'borate'
        WHEN basis IN ('Cl', 'NaCl') THEN 'chloride'
        ELSE basis
    END
$$;
-- Grams of one formula unit for each atom of the substance (CIAAW atomic weights of 2021, as in the program).
CREATE FUNCTION mass_of(basis text) RETURNS numeric LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE basis
        WHEN 'NO2' THEN 46.005 WHEN 'NaNO2' THEN 68.99477 WHEN 'N' THEN 14.007
        WHEN 'Mo' THEN 95.95 WHEN 'MoO4' THEN 159.946 WHEN 'Na2MoO4' THEN 205.92554 WHEN 'Na2MoO4.2H2O' THEN 241.95554
        WHEN 'SO3' THEN 80.057 WHEN 'Na2SO3' THEN 126.03654
        WHEN 'B' THEN 10.81 WHEN 'Na2B4O7.10H2O' THEN 381.36254 / 4 WHEN 'Na2B4O7.5H2O' THEN 291.28754 / 4
        WHEN 'Cl' THEN 35.45 WHEN 'NaCl' THEN 58.43977
        ELSE 1
    END
$$;
-- A reading in mg/L of the basis that the unit's programme counts in: as it was kept, unless that was another one.
CREATE FUNCTION level_as(programme text, basis text, value_milli bigint, kept integer) RETURNS integer LANGUAGE sql STABLE AS $$
    -- By number: a name would be the programme's own column.
    SELECT CASE WHEN analyte_of($2) = analyte_of(p.basis) THEN CASE WHEN abs(c.mg_l - $4) <= 2 + $4 / 200.0 THEN $4 ELSE round(c.mg_l)::integer END END
    FROM programmes p CROSS JOIN LATERAL (SELECT $3 * mass_of(p.basis) / mass_of($2) / 1000 AS mg_l) c WHERE p.code = $1
$$;
CREATE FUNCTION read_for(programme text, basis text) RETURNS boolean LANGUAGE sql STABLE AS $$
    SELECT analyte_of(basis) = (SELECT analyte_of(p.basis) FROM programmes p WHERE p.code = programme)
$$;

-- A test of a list that was taken out can be brought in again.
DROP INDEX water_tests_list_row;
CREATE UNIQUE INDEX water_tests_list_row ON water_tests (list_row) WHERE list_row IS NOT NULL AND superseded_at IS NULL;
-- What is due is worked out anew at once, by the rules of this version.
UPDATE dealer SET due_worked_out_on = NULL;
