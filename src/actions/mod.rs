//! The verbs, one file each, used by the API, the pages and the command line alike.
//!
//! A write is one function: it takes the [`App`], who asks, what it is about and what is wanted,
//! makes a typed change, hands it to the writer and answers with what is there afterwards. A read
//! is one function too; [`reader`] decides what its reader may see. No HTTP types: [`Failure`]
//! is turned into a problem by the web floor, into lines by the command line.

pub mod accounts;
pub mod admit;
pub mod amend;
pub mod appeal;
pub mod apply;
pub mod attest;
pub mod body;
pub mod changes;
pub mod competitions;
pub mod directory;
pub mod erase;
pub mod extend;
mod failure;
pub mod follow;
pub mod heats;
pub mod import;
pub mod judging;
mod known_names;
pub mod language;
pub mod letters;
pub mod lists;
pub mod log;
pub mod mail;
pub mod move_entry;
pub mod open;
pub mod over;
pub mod own_data;
mod pour;
pub mod proposals;
pub mod queue;
pub mod reader;
pub mod referee;
mod request;
pub mod roster;
pub mod score;
pub mod sheet;
pub mod standings;
pub mod submit;
pub mod times;
pub mod upkeep;
pub mod views;
pub mod wall;
pub mod withdraw;

pub use failure::Failure;
pub use request::{IdempotencyKey, Request, ScorePath, signed_in};
