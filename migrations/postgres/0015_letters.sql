-- Letters about a competition that were handed over, and what became of them, for its organiser to see at every
-- service. Outside the log. Nothing of what a letter says stands here, and no link.
CREATE TABLE letters (
    id BIGINT PRIMARY KEY,               -- drawn, and never given out twice
    competition TEXT COLLATE "C" NOT NULL,           -- slug
    folded_email TEXT COLLATE "C" NOT NULL,          -- to whom
    handed_at BIGINT NOT NULL,
    held_until BIGINT NOT NULL,         -- who has it on its way has said so until then; beyond, nobody knows
    state TEXT COLLATE "C" NOT NULL,                 -- waiting, sent, failed
    why TEXT COLLATE "C"                             -- JSON of a sentence; none: it has not failed
);
CREATE INDEX letters_competition ON letters (competition, handed_at, id);
CREATE INDEX letters_email ON letters (folded_email);
