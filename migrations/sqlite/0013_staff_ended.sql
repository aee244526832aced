-- Whose role as staff of a gym was taken away or given up: inviting all gyms does not give it back. Ends
-- when the role is given to them again.
CREATE TABLE staff_ended (
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    competition TEXT NOT NULL,           -- slug
    gym TEXT NOT NULL,
    PRIMARY KEY (account, competition, gym)
) STRICT, WITHOUT ROWID;
