-- Backups that the program made of its private cluster, for the owner to see. The copies themselves are files.

CREATE TABLE backups (
    made_at timestamptz PRIMARY KEY,
    path text NOT NULL CHECK (length(path) BETWEEN 1 AND 4000),
    bytes bigint NOT NULL CHECK (bytes BETWEEN 0 AND 1000000000000000),
    photos integer NOT NULL CHECK (photos BETWEEN 0 AND 100000000),
    tried_at timestamptz
);
CREATE INDEX backups_tried ON backups (tried_at) WHERE tried_at IS NOT NULL;
COMMENT ON TABLE backups IS 'a year of them; not the list that a restore goes by, which lies beside each copy';
COMMENT ON COLUMN backups.tried_at IS 'when it was put back beside the records, compared, and taken away again';
