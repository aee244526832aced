-- Who may sign in. Outside the competitions' logs.
CREATE TABLE accounts (
    id INTEGER PRIMARY KEY,
    email TEXT NOT NULL,
    folded_email TEXT NOT NULL UNIQUE,
    password_hash TEXT,
    created_at INTEGER NOT NULL
) STRICT;

CREATE TABLE grants (
    id INTEGER PRIMARY KEY,
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    role TEXT NOT NULL,
    competition TEXT,                    -- slug; none: all
    gym TEXT,
    bib INTEGER,
    judge TEXT,
    created_at INTEGER NOT NULL
) STRICT;
CREATE INDEX grants_account ON grants (account);
CREATE INDEX grants_competition ON grants (competition, role);

-- Of cookies, tokens and links only the SHA-256 is kept.
CREATE TABLE sessions (
    id INTEGER PRIMARY KEY,
    hash BLOB NOT NULL UNIQUE,
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    device TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    seen_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL
) STRICT;
CREATE INDEX sessions_account ON sessions (account);

CREATE TABLE tokens (
    id INTEGER PRIMARY KEY,
    hash BLOB NOT NULL UNIQUE,
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    name TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    revoked_at INTEGER
) STRICT;
CREATE INDEX tokens_account ON tokens (account);

CREATE TABLE links (
    hash BLOB PRIMARY KEY,
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
