-- Numbers of sheets begin anew in every gym: "3" is on a sheet of each of a thousand.
DROP INDEX scores_sheet;
CREATE INDEX scores_sheet ON scores (competition, gym, sheet, workout) WHERE sheet IS NOT NULL;

-- Which accounts are a judge's.
CREATE INDEX grants_judge ON grants (competition, judge) WHERE judge IS NOT NULL;

-- A judge is found by name.
CREATE INDEX judges_person ON judges (competition, person);
