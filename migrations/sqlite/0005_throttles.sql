-- How often something was tried of late: a sign-in at an account, from an address. The key is a
-- SHA-256 of what is counted; a row goes once its count has recovered, minutes after the last try.
CREATE TABLE throttles (
    key BLOB PRIMARY KEY,
    recovers_at INTEGER NOT NULL         -- when it is as if nothing had been tried
) STRICT, WITHOUT ROWID;
CREATE INDEX throttles_recovery ON throttles (recovers_at);
