-- Codes with which athletes claim their entry. Outside the log. Of a code only an argon2id hash is
-- kept; using one takes it away, and a new one takes the old one's place.
CREATE TABLE claims (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    bib INTEGER NOT NULL,
    hash TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    PRIMARY KEY (competition, bib)
) STRICT, WITHOUT ROWID;

-- Whether a session was begun by a one-time link, and its password was not set since: 1 or 0.
ALTER TABLE sessions ADD COLUMN by_link INTEGER NOT NULL DEFAULT 0;

-- Whether the address is known to be its owner's (an organiser invited it, or a link was used): 1,
-- or 0 for an account that somebody made with a code.
ALTER TABLE accounts ADD COLUMN confirmed INTEGER NOT NULL DEFAULT 1;
