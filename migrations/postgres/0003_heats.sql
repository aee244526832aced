-- A gym's heats in a workout: who starts when, where, and who counts. Outside the log: planning, not
-- results. Bibs and judges' codes only, no names.
CREATE TABLE heats (
    competition BIGINT NOT NULL REFERENCES competitions (id),
    gym TEXT COLLATE "C" NOT NULL,
    workout TEXT COLLATE "C" NOT NULL,
    version BIGINT NOT NULL,            -- how often it was changed
    body TEXT COLLATE "C" NOT NULL,                  -- JSON of the plan
    changed_at BIGINT NOT NULL,
    PRIMARY KEY (competition, gym, workout)
);
