//! `/api`.

mod openapi;
mod v1;
