-- A second factor for signing in: codes that change every half minute, worked out on the person's own phone (RFC 6238), and spare ones on paper.

CREATE TABLE second_factors (
    staff_id uuid PRIMARY KEY REFERENCES staff,
    key bytea NOT NULL CHECK (length(key) = 20),
    last_step bigint NOT NULL DEFAULT 0 CHECK (last_step BETWEEN 0 AND 1000000000000),
    made_at timestamptz NOT NULL,
    confirmed_at timestamptz
);
COMMENT ON COLUMN second_factors.last_step IS 'of the last code that was taken: none is taken twice';
COMMENT ON COLUMN second_factors.confirmed_at IS 'none: being set up, not asked for yet';

ALTER TABLE dealer ADD second_factor_needed boolean NOT NULL DEFAULT false;
COMMENT ON COLUMN dealer.second_factor_needed IS 'the office and the owner see nothing but their own account until they have one';

CREATE TABLE spare_codes (
    staff_id uuid NOT NULL REFERENCES staff,
    code_hash bytea NOT NULL CHECK (length(code_hash) = 32),
    used_at timestamptz,
    PRIMARY KEY (staff_id, code_hash)
);

CREATE TABLE sign_in_steps (
    token_hash bytea PRIMARY KEY CHECK (length(token_hash) = 32),
    staff_id uuid NOT NULL REFERENCES staff,
    ends_at timestamptz NOT NULL
);
COMMENT ON TABLE sign_in_steps IS 'whose password was right, until the code comes';
CREATE INDEX sign_in_steps_staff ON sign_in_steps (staff_id);
CREATE INDEX sign_in_steps_ends ON sign_in_steps (ends_at);
