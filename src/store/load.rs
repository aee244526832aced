//! The touched part of a ledger, read in: one query a table.
