-- Finding a customer while the telephone rings: by the number as it is shown, the street, a unit's reference or serial number.

CREATE INDEX customers_phone_tail ON customers (right(regexp_replace(phone, '\D', '', 'g'), 7));
CREATE INDEX places_address ON places ((lower(address) COLLATE "C"));
CREATE INDEX places_street ON places ((lower(regexp_replace(address, '^[0-9]+[a-zA-Z]?\s+', '')) COLLATE "C"));
CREATE INDEX units_serial ON units (upper(serial)) WHERE serial <> '';
