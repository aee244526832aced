-- Bytes of an answer to a file: what is kept of these is bounded. 0: of anything else.
ALTER TABLE idempotency ADD COLUMN bytes INTEGER NOT NULL DEFAULT 0;
CREATE INDEX idempotency_bytes ON idempotency (account, bytes) WHERE bytes > 0;
