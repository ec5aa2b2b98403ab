-- A customer who is gone: the water records stay, without a name.

ALTER TABLE customers ADD forgotten_at timestamptz;
COMMENT ON COLUMN customers.forgotten_at IS 'name, telephone, mail, note and places were taken out';
