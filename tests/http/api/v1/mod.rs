//! `/api/v1`.

mod accounts;
mod me;
mod session;
