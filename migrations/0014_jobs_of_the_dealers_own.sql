-- Kinds of job and steps of checklists that a dealer does not use any more. The rows stay: reports name them.
-- A step is never reworded in place, since reports are read with its words; the new words are a new step.

ALTER TABLE job_kinds ADD retired boolean NOT NULL DEFAULT false;
ALTER TABLE checklist_items ADD retired boolean NOT NULL DEFAULT false;
