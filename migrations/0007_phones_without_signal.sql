-- The yard without a signal: what lies on which phone, bodies that came under a used id, and what the office has to settle.

CREATE TABLE epoch (
    id smallint PRIMARY KEY DEFAULT 1 CHECK (id = 1),
    mark uuid NOT NULL
);
COMMENT ON TABLE epoch IS 'changed by hand when records were put back inside the same database; a restore into another database shows by itself';
INSERT INTO epoch (mark) VALUES (gen_random_uuid());

CREATE TABLE packed_stops (
    phone_id uuid NOT NULL REFERENCES phones,
    visit_id uuid NOT NULL,
    unit_id uuid NOT NULL REFERENCES units,
    staff_id uuid NOT NULL REFERENCES staff,
    packed_at timestamptz NOT NULL,
    PRIMARY KEY (phone_id, visit_id)
);
CREATE INDEX packed_stops_staff ON packed_stops (staff_id, visit_id);
CREATE INDEX packed_stops_unit ON packed_stops (unit_id);
COMMENT ON COLUMN packed_stops.visit_id IS 'no reference: planning anew may remove a visit that a technician already has on the phone, and does';

CREATE TABLE other_bodies (
    submission_id uuid NOT NULL REFERENCES submissions,
    body_sha256 bytea NOT NULL CHECK (length(body_sha256) = 32),
    body bytea NOT NULL CHECK (length(body) <= 2097152),
    staff_id uuid REFERENCES staff,
    phone_id uuid REFERENCES phones,
    received_at timestamptz NOT NULL,
    PRIMARY KEY (submission_id, body_sha256)
);
CREATE INDEX other_bodies_staff ON other_bodies (staff_id);
CREATE INDEX other_bodies_phone ON other_bodies (phone_id);
CREATE INDEX submissions_phone ON submissions (phone_id) WHERE phone_id IS NOT NULL;
CREATE TRIGGER append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON other_bodies FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

CREATE TABLE to_settle (
    submission_id uuid NOT NULL REFERENCES submissions,
    body_sha256 bytea NOT NULL CHECK (length(body_sha256) = 32),
    why text NOT NULL CHECK (length(why) BETWEEN 1 AND 2000),
    made_at timestamptz NOT NULL,
    settled_at timestamptz,
    settled_by uuid REFERENCES staff,
    settled_words text NOT NULL DEFAULT '' CHECK (length(settled_words) <= 400),
    PRIMARY KEY (submission_id, body_sha256)
);
CREATE INDEX to_settle_open ON to_settle (made_at) WHERE settled_at IS NULL;
CREATE INDEX to_settle_settled_by ON to_settle (settled_by) WHERE settled_by IS NOT NULL;
COMMENT ON TABLE to_settle IS 'kept from a phone with its bytes, but not worked into the records: the office reads it and says how it was settled';
