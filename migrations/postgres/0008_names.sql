-- Names as they are looked for: without case and accents, from the beginning of each of their words
-- on. Made from `persons`, and as personal: erased with them. A database from before is filled when
-- it is opened.
CREATE TABLE name_starts (
    competition BIGINT NOT NULL REFERENCES competitions (id),
    bib BIGINT NOT NULL,
    start TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (competition, bib, start)
);
CREATE INDEX name_starts_start ON name_starts (competition, start, bib);
