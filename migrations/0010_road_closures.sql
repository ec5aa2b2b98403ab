-- Roads that are closed for a while. Routes, driving times and drawings of a week go round those that are closed on any of its days.

CREATE TABLE road_closures (
    id uuid PRIMARY KEY,
    lat double precision NOT NULL CHECK (lat BETWEEN -90 AND 90),
    lon double precision NOT NULL CHECK (lon BETWEEN -180 AND 180),
    reach_m integer NOT NULL DEFAULT 0 CHECK (reach_m BETWEEN 0 AND 5000),
    road text NOT NULL DEFAULT '' CHECK (length(road) <= 120),
    from_day date NOT NULL CHECK (from_day BETWEEN '2000-01-01' AND '2200-01-01'),
    to_day date CHECK (to_day BETWEEN '2000-01-01' AND '2200-01-01'),
    note text NOT NULL DEFAULT '' CHECK (length(note) <= 400),
    made_by uuid NOT NULL REFERENCES staff,
    made_at timestamptz NOT NULL,
    lifted_by uuid REFERENCES staff,
    lifted_at timestamptz,
    row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000),
    CONSTRAINT road_closures_days CHECK (to_day >= from_day),
    CHECK (num_nulls(lifted_by, lifted_at) IN (0, 2))
);
COMMENT ON COLUMN road_closures.reach_m IS '0: the road nearest to the pin, at the pin; else every road within so many metres of it';
COMMENT ON COLUMN road_closures.road IS 'its name by the road file when it was closed; empty: it has none there';
COMMENT ON COLUMN road_closures.from_day IS 'first day that it is closed';
COMMENT ON COLUMN road_closures.to_day IS 'last day that it is closed; NULL: nobody knows yet';
COMMENT ON COLUMN road_closures.lifted_at IS 'since then it counts as open, whatever its days say';
CREATE INDEX road_closures_standing ON road_closures (to_day, from_day) WHERE lifted_at IS NULL;
CREATE INDEX road_closures_from ON road_closures (from_day, to_day);
CREATE INDEX road_closures_made_by ON road_closures (made_by);
CREATE INDEX road_closures_lifted_by ON road_closures (lifted_by) WHERE lifted_by IS NOT NULL;

ALTER TABLE week_plans
    ADD closed_roads uuid[] NOT NULL DEFAULT '{}' CHECK (cardinality(closed_roads) BETWEEN 0 AND 200);
COMMENT ON COLUMN week_plans.closed_roads IS 'the closures that its routes go round';
