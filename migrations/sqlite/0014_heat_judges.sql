-- Whom a gym's heats give a lane to count in: a judge finds the own ones without reading all others. Written
-- with the heats, and as little a result as they are.
CREATE TABLE heat_judges (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    gym TEXT NOT NULL,
    workout TEXT NOT NULL,
    judge TEXT NOT NULL,                 -- code
    PRIMARY KEY (competition, gym, workout, judge)
) STRICT, WITHOUT ROWID;
CREATE INDEX heat_judges_judge ON heat_judges (competition, judge);
INSERT INTO heat_judges (competition, gym, workout, judge)
SELECT DISTINCT h.competition, h.gym, h.workout, json_extract(p.value, '$.judge')
FROM heats h, json_each(h.body, '$.places') p
WHERE json_extract(p.value, '$.judge') IS NOT NULL;
