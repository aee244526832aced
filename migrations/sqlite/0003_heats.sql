-- A gym's heats in a workout: who starts when, where, and who counts. Outside the log: planning, not
-- results. Bibs and judges' codes only, no names.
CREATE TABLE heats (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    gym TEXT NOT NULL,
    workout TEXT NOT NULL,
    version INTEGER NOT NULL,            -- how often it was changed
    body TEXT NOT NULL,                  -- JSON of the plan
    changed_at INTEGER NOT NULL,
    PRIMARY KEY (competition, gym, workout)
) STRICT, WITHOUT ROWID;
