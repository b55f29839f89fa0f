-- Whether the reed counted as wet when it was measured: a dry blade is thinner, and does not compare.
-- Of what was captured before nobody knows.

ALTER TABLE captures ADD COLUMN wet TEXT NOT NULL DEFAULT 'unknown'
    CHECK (wet IN ('wet', 'dry', 'unknown'));
