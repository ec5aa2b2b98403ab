-- What the customer has to see to before somebody comes, by kind of job: told with the time.

ALTER TABLE job_kinds ADD prepare text NOT NULL DEFAULT '' CHECK (length(prepare) <= 300);
-- how long a firebox takes to cool: common practice, no source
UPDATE job_kinds SET prepare = 'Let the fire burn out two days before: the firebox has to be cold, or it cannot be cleaned.' WHERE code = 'yearly-clean';
