-- What customers say on their own page: that a time suits, that another would be better, a test that they made. The row's number is the
-- form's own; a test goes under the same number.

CREATE TABLE customer_words (
    id uuid PRIMARY KEY,
    unit_id uuid NOT NULL REFERENCES units,
    customer_id uuid NOT NULL REFERENCES customers,
    kind text NOT NULL CHECK (kind IN ('suits', 'another time', 'test')),
    says text NOT NULL DEFAULT '' CHECK (length(says) <= 400),
    day date,
    starts integer CHECK (starts BETWEEN 0 AND 2880),
    received_at timestamptz NOT NULL,
    settled_at timestamptz,
    settled_by uuid REFERENCES staff,
    CHECK (num_nulls(settled_at, settled_by) <> 1),
    CHECK ((kind = 'test') = (day IS NULL)),
    CHECK ((day IS NULL) = (starts IS NULL))
);
COMMENT ON COLUMN customer_words.day IS 'of the visit that it is about, as it stood on the page';
CREATE INDEX customer_words_open ON customer_words (received_at) WHERE settled_at IS NULL AND kind <> 'suits';
CREATE INDEX customer_words_unit ON customer_words (unit_id, received_at DESC);
CREATE INDEX customer_words_customer ON customer_words (customer_id);
CREATE INDEX customer_words_settled_by ON customer_words (settled_by) WHERE settled_by IS NOT NULL;
