-- Whether any gym has changed since it was last read.
CREATE INDEX records_gyms ON records (competition, seq) WHERE action = 'gym_set';
