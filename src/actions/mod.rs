//! The verbs: each one file, used by the API, the pages and the command line alike. Knows no HTTP.

pub mod accounts;
pub mod open;
