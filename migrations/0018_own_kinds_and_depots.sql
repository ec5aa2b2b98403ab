-- Kinds of unit and depots can be changed, and left out from now on. The rows stay: units and technicians name them.

ALTER TABLE unit_kinds ADD row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000);
ALTER TABLE unit_kinds ADD retired boolean NOT NULL DEFAULT false;

ALTER TABLE depots ADD row_version integer NOT NULL DEFAULT 1 CHECK (row_version BETWEEN 1 AND 2000000000);
ALTER TABLE depots ADD retired boolean NOT NULL DEFAULT false;

-- When the owner said that products, kits and programmes were compared with the labels.
ALTER TABLE dealer ADD treatment_compared_on date CHECK (treatment_compared_on BETWEEN '2000-01-01' AND '2200-01-01');

CREATE INDEX units_kind ON units (kind_code);
