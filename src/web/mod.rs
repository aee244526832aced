//! HTTP: who is asking, what they may see, JSON and pages. Writes no SQL.

pub mod api;
pub mod pages;
