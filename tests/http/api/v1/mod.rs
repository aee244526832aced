//! `/api/v1`.

mod accounts;
mod competitions;
mod me;
mod session;
