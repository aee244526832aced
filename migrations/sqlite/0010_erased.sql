-- Somebody's name is gone from the pages of their division by what stands here: erasures of before too.
INSERT INTO placements (competition, seq, bib, workout, state, division, gym, country, region)
SELECT r.competition, r.seq, p.bib, '', p.state, p.division, p.gym, p.country, p.region
FROM records r
JOIN entries e ON e.competition = r.competition AND r.subject = 'person/' || CAST(e.person AS TEXT)
JOIN placements p ON p.competition = r.competition AND p.bib = e.bib AND p.workout = ''
    AND p.seq = (SELECT MAX(q.seq) FROM placements q WHERE q.competition = r.competition AND q.bib = e.bib AND q.workout = '' AND q.seq < r.seq)
WHERE r.action = 'erased';
