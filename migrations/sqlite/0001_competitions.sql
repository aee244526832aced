-- A competition: its file in force, and the counters that its log has reached.
CREATE TABLE competitions (
    id INTEGER PRIMARY KEY,
    slug TEXT NOT NULL UNIQUE,
    definition TEXT NOT NULL,            -- JSON of the file
    definition_seq INTEGER NOT NULL,     -- log position it was applied at
    seq INTEGER NOT NULL,                -- last record
    at INTEGER NOT NULL,                 -- its instant, microseconds since 1970
    last_bib INTEGER NOT NULL,
    last_person INTEGER NOT NULL,
    last_note INTEGER NOT NULL,
    peaks BLOB NOT NULL,                 -- of the log's tree, largest first, 32 bytes each
    root BLOB NOT NULL                   -- of the log's tree
) STRICT;

-- The log: exact bytes, and the hash of each as a leaf.
CREATE TABLE records (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    seq INTEGER NOT NULL,
    at INTEGER NOT NULL,
    action TEXT NOT NULL,
    subject TEXT NOT NULL,
    bytes BLOB NOT NULL,
    leaf BLOB NOT NULL,
    PRIMARY KEY (competition, seq)
) STRICT;
CREATE INDEX records_subject ON records (competition, subject, seq);
CREATE INDEX records_rulings ON records (competition, seq) WHERE action = 'ruled';

CREATE TABLE gyms (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    slug TEXT NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (competition, slug)
) STRICT, WITHOUT ROWID;

CREATE TABLE entries (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    bib INTEGER NOT NULL CHECK (bib > 0),
    division TEXT NOT NULL,
    gym TEXT,
    state TEXT NOT NULL,
    show_name INTEGER NOT NULL CHECK (show_name IN (0, 1)),
    person INTEGER NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (competition, bib)
) STRICT, WITHOUT ROWID;
CREATE INDEX entries_gym ON entries (competition, gym, bib);
CREATE INDEX entries_person ON entries (competition, person);

CREATE TABLE judges (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    code TEXT NOT NULL,
    gym TEXT,
    person INTEGER NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (competition, code)
) STRICT, WITHOUT ROWID;

-- Personal facts, apart from everything: erasing somebody is one delete.
CREATE TABLE persons (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    id INTEGER NOT NULL,
    salt BLOB NOT NULL,
    folded_name TEXT NOT NULL,
    born TEXT,
    folded_email TEXT NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (competition, id)
) STRICT;
CREATE INDEX persons_name ON persons (competition, folded_name);
CREATE INDEX persons_email ON persons (folded_email) WHERE folded_email <> '';

-- Free text about people, apart too. Public: the reasons of rulings.
CREATE TABLE notes (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    id INTEGER NOT NULL,
    salt BLOB NOT NULL,
    bib INTEGER,
    public INTEGER NOT NULL CHECK (public IN (0, 1)),
    text TEXT NOT NULL,
    PRIMARY KEY (competition, id)
) STRICT;
CREATE INDEX notes_bib ON notes (competition, bib) WHERE bib IS NOT NULL;

-- One row an attempt. All columns after the key but `body` are worked out from it, the entry and
-- the file, to be searched by.
CREATE TABLE scores (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    bib INTEGER NOT NULL,
    workout TEXT NOT NULL,
    attempt INTEGER NOT NULL CHECK (attempt > 0),
    etag INTEGER NOT NULL,
    state TEXT NOT NULL,
    placed INTEGER NOT NULL CHECK (placed IN (0, 1)),
    key INTEGER NOT NULL,
    level INTEGER NOT NULL,
    division TEXT NOT NULL,              -- the entry's
    entry_gym TEXT,                      -- the entry's
    gym TEXT,                            -- where it was done
    sheet TEXT,
    judge TEXT,
    performed_at INTEGER NOT NULL,
    grams INTEGER,                       -- heaviest valid lift
    body TEXT NOT NULL,
    PRIMARY KEY (competition, bib, workout, attempt)
) STRICT;
CREATE INDEX scores_workout ON scores (competition, workout, entry_gym, bib, attempt);
CREATE INDEX scores_state ON scores (competition, workout, state, bib, attempt);
CREATE INDEX scores_sheet ON scores (competition, sheet, workout) WHERE sheet IS NOT NULL;
CREATE INDEX scores_judge ON scores (competition, judge, performed_at) WHERE judge IS NOT NULL;
CREATE INDEX scores_grams ON scores (competition, workout, division, level, grams) WHERE grams IS NOT NULL;

CREATE TABLE not_taking_part (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    bib INTEGER NOT NULL,
    workout TEXT NOT NULL,
    PRIMARY KEY (competition, bib, workout)
) STRICT, WITHOUT ROWID;
CREATE INDEX not_taking_part_workout ON not_taking_part (competition, workout, bib);

CREATE TABLE extensions (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    n INTEGER NOT NULL,                  -- from 0, in the order they were made
    body TEXT NOT NULL,
    PRIMARY KEY (competition, n)
) STRICT, WITHOUT ROWID;

-- What each change did to the places. An empty workout: the entry's own facts.
CREATE TABLE placements (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    seq INTEGER NOT NULL,
    bib INTEGER NOT NULL,
    workout TEXT NOT NULL,
    attempt INTEGER,
    key INTEGER,
    level INTEGER,
    state TEXT NOT NULL,
    text TEXT,
    division TEXT,
    gym TEXT,
    country TEXT,
    region TEXT,
    PRIMARY KEY (competition, seq, bib, workout)
) STRICT, WITHOUT ROWID;

-- What was answered to a request with a key, to be answered again.
CREATE TABLE idempotency (
    key TEXT NOT NULL,
    account INTEGER NOT NULL,
    method TEXT NOT NULL,
    path TEXT NOT NULL,
    body_digest BLOB NOT NULL,
    answer TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    PRIMARY KEY (key, account)
) STRICT, WITHOUT ROWID;
CREATE INDEX idempotency_age ON idempotency (created_at);
