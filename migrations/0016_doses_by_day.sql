-- What was used of each product in a year is asked for, whoever it went to.

CREATE INDEX doses_given ON doses (given_on) WHERE superseded_at IS NULL;
