//! Tallywright: a leaderboard service for fitness competitions held in many gyms at once.
//!
//! One crate, one binary, floors that only look down:
//!
//! | floor | modules | what lives there |
//! | --- | --- | --- |
//! | 0 | [`rules`], [`words`] | what the sport says, pure: no async, no I/O, no clock, no randomness |
//! | 1 | [`standings`], [`store`] | the board in memory; SQL, the log and the one writer |
//! | 2 | [`actions`] | the verbs, used by the API, the pages and the command line alike |
//! | 3 | [`web`], [`cli`] | HTTP and the command line |
//!
//! [`app`] ties them together once and is handed to all; [`config`] says with what settings.
//! `tests/architecture.rs` holds the floors.

pub mod actions;
pub mod app;
pub mod cli;
pub mod config;
pub mod rules;
pub mod standings;
pub mod store;
pub mod web;
pub mod words;
