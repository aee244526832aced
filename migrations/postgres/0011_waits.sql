-- Who waits for something about a score: 1 the organiser (late, a late correction, a late attestation), 2 the
-- referees (flagged, withheld, appealed, raised after the close), 3 both. Few do; theirs are found without reading
-- all others, and so are a gym's, its visitors' and those in a state that most are not in.
ALTER TABLE scores ADD COLUMN waits BIGINT NOT NULL DEFAULT 0;
UPDATE scores SET waits =
    CASE WHEN state = 'late' OR body LIKE '%"waiting":{%' OR body LIKE '%"waiting_attestation":{%' THEN 1 ELSE 0 END
    + CASE WHEN state IN ('flagged', 'withheld') OR (state = 'attested' AND body LIKE '%"upward":true%')
        OR body LIKE '%"appeal":{%' THEN 2 ELSE 0 END
WHERE state IN ('late', 'flagged', 'withheld') OR body LIKE '%"waiting%' OR body LIKE '%"upward":true%' OR body LIKE '%"appeal":{%';
CREATE INDEX scores_waits ON scores (competition, workout, bib, attempt) WHERE waits <> 0;
CREATE INDEX scores_visiting ON scores (competition, workout, gym, bib, attempt)
    WHERE gym IS NOT NULL AND (entry_gym IS NULL OR entry_gym <> gym);
DROP INDEX scores_state;
CREATE INDEX scores_state ON scores (competition, workout, state, bib, attempt) WHERE state <> 'attested';
-- Numbers of sheets begin anew in every gym.
DROP INDEX scores_sheet;
CREATE INDEX scores_sheet ON scores (competition, gym, sheet, workout) WHERE sheet IS NOT NULL;
