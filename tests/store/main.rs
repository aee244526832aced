//! The store on a database of its own for each test: SQL, the log's tree, the writer, reads,
//! verification. What may happen to a score is tested in `tests/rules`.

mod accounts;
mod backup;
mod engines;
mod files;
mod keys;
mod letters;
mod merkle;
mod migrations;
mod reads;
mod seldom;
mod sql;
mod support;
mod throttles;
mod transfer;
mod verify;
mod writer;
