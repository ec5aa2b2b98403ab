-- Photos at the unit: the row says whose and what; the picture is a file in the data folder, named by its own SHA-256.
-- A photo may come before its report, and stays when a report is corrected. It can be taken out: the row stays, the file goes.

ALTER TABLE photos ALTER report_id DROP NOT NULL, ALTER unit_id DROP NOT NULL, ALTER customer_id DROP NOT NULL;
ALTER TABLE photos
    ADD item_id uuid,
    ADD visit_id uuid,
    ADD staff_id uuid REFERENCES staff,
    ADD phone_id uuid REFERENCES phones,
    ADD sent_sha256 bytea CHECK (length(sent_sha256) = 32),
    ADD kind text NOT NULL DEFAULT 'jpeg' CHECK (kind IN ('jpeg', 'png')),
    ADD width integer CHECK (width BETWEEN 1 AND 65535),
    ADD height integer CHECK (height BETWEEN 1 AND 65535),
    ADD caption text NOT NULL DEFAULT '' CHECK (length(caption) <= 80),
    ADD withdrawn_at timestamptz,
    ADD withdrawn_by uuid REFERENCES staff,
    ADD withdrawn_why text NOT NULL DEFAULT '' CHECK (length(withdrawn_why) <= 400),
    ADD CONSTRAINT photos_withdrawn CHECK ((withdrawn_at IS NULL) = (withdrawn_why = '')),
    ADD CONSTRAINT photos_at_home CHECK (num_nulls(unit_id, customer_id) <> 1 AND (report_id IS NULL OR unit_id IS NOT NULL));
CREATE INDEX photos_customer ON photos (customer_id) WHERE customer_id IS NOT NULL;
CREATE INDEX photos_staff ON photos (staff_id) WHERE staff_id IS NOT NULL;
CREATE INDEX photos_phone ON photos (phone_id) WHERE phone_id IS NOT NULL;
CREATE INDEX photos_withdrawn_by ON photos (withdrawn_by) WHERE withdrawn_by IS NOT NULL;
CREATE INDEX photos_item ON photos (item_id) WHERE report_id IS NULL;
CREATE INDEX photos_visit ON photos (visit_id) WHERE report_id IS NULL;
CREATE INDEX photos_loose ON photos (received_at) WHERE report_id IS NULL AND withdrawn_at IS NULL;
COMMENT ON COLUMN photos.item_id IS 'what was kept on the phone with it; the report of that number takes it in when it comes';
COMMENT ON COLUMN photos.visit_id IS 'no reference: planning anew may remove a visit that a technician already has on the phone';
COMMENT ON COLUMN photos.sha256 IS 'of the file, from which everything but the picture was taken out';
COMMENT ON COLUMN photos.sent_sha256 IS 'of the bytes as they were sent: what the phone waits for before it forgets them';

-- A photo may find its report once and be taken out once; nothing else of it changes, and no row goes.
CREATE FUNCTION photo_stays() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    home text[] := ARRAY['report_id', 'unit_id', 'customer_id'];
    taken text[] := ARRAY['withdrawn_at', 'withdrawn_by', 'withdrawn_why'];
    may text[] := '{}';
BEGIN
    IF TG_OP = 'UPDATE' THEN
        IF OLD.report_id IS NULL THEN may := may || home; END IF;
        IF OLD.withdrawn_at IS NULL THEN may := may || taken; END IF;
        IF to_jsonb(OLD) - may = to_jsonb(NEW) - may THEN RETURN NEW; END IF;
    END IF;
    RAISE EXCEPTION 'photos stay as they came' USING ERRCODE = 'restrict_violation';
END $$;
CREATE TRIGGER photo_stays BEFORE UPDATE OR DELETE ON photos FOR EACH ROW EXECUTE FUNCTION photo_stays();
CREATE TRIGGER append_only BEFORE TRUNCATE ON photos FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
