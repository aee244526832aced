//! `/api`.

mod v1;
