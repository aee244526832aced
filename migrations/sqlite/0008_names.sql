-- Names as they are looked for: without case and accents, from the beginning of each of their words
-- on. Made from `persons`, and as personal: erased with them. A database from before is filled when
-- it is opened.
CREATE TABLE name_starts (
    competition INTEGER NOT NULL REFERENCES competitions (id),
    bib INTEGER NOT NULL,
    start TEXT NOT NULL,
    PRIMARY KEY (competition, bib, start)
) STRICT, WITHOUT ROWID;
CREATE INDEX name_starts_start ON name_starts (competition, start, bib);
