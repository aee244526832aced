//! The binary as a newcomer uses it: every test starts the real program in a folder of its own.

mod accounts;
mod competition;
mod import;
mod serve;
mod support;
mod upkeep;
mod usage;
