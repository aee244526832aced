-- Whom a gym's heats give a lane to count in: a judge finds the own ones without reading all others. Written
-- with the heats, and as little a result as they are.
CREATE TABLE heat_judges (
    competition BIGINT NOT NULL REFERENCES competitions (id),
    gym TEXT COLLATE "C" NOT NULL,
    workout TEXT COLLATE "C" NOT NULL,
    judge TEXT COLLATE "C" NOT NULL,                 -- code
    PRIMARY KEY (competition, gym, workout, judge)
);
CREATE INDEX heat_judges_judge ON heat_judges (competition, judge);
INSERT INTO heat_judges (competition, gym, workout, judge)
SELECT DISTINCT h.competition, h.gym, h.workout, p.place ->> 'judge'
FROM heats h CROSS JOIN LATERAL jsonb_array_elements(h.body::jsonb -> 'places') AS p (place)
WHERE p.place ->> 'judge' IS NOT NULL;
