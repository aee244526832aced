-- Whom a gym's staff asks the organiser to add. Outside the log: nobody counts before they are
-- confirmed. The personal facts stand in body and beside it, and go once it is decided.
CREATE TABLE proposals (
    id INTEGER PRIMARY KEY,
    competition INTEGER NOT NULL REFERENCES competitions (id),
    gym TEXT NOT NULL,
    kind TEXT NOT NULL,                  -- entry, judge, staff
    account INTEGER,                     -- who proposed; none: the command line
    created_at INTEGER NOT NULL,
    body TEXT,                           -- JSON of what was sent; none: decided
    folded_name TEXT NOT NULL,           -- to be found by, for erasing; empty: decided
    folded_email TEXT NOT NULL,
    decided_at INTEGER,
    outcome TEXT,                        -- confirmed, refused, withdrawn, erased
    result TEXT,                         -- bib or judge's code
    reason TEXT                          -- the organiser's
) STRICT;
CREATE INDEX proposals_gym ON proposals (competition, gym, id);
CREATE INDEX proposals_waiting ON proposals (competition, id) WHERE decided_at IS NULL;
