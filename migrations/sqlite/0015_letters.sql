-- Letters about a competition that were handed over, and what became of them, for its organiser to see at every
-- service. Outside the log. Nothing of what a letter says stands here, and no link.
CREATE TABLE letters (
    id INTEGER PRIMARY KEY,              -- drawn, and never given out twice
    competition TEXT NOT NULL,           -- slug
    folded_email TEXT NOT NULL,          -- to whom
    handed_at INTEGER NOT NULL,
    held_until INTEGER NOT NULL,         -- who has it on its way has said so until then; beyond, nobody knows
    state TEXT NOT NULL,                 -- waiting, sent, failed
    why TEXT                             -- JSON of a sentence; none: it has not failed
) STRICT;
CREATE INDEX letters_competition ON letters (competition, handed_at, id);
CREATE INDEX letters_email ON letters (folded_email);
