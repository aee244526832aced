//! What the sport says. Pure: no async, no I/O, no clock, no randomness; time is an argument.
//!
//! Reading order: [`quantity`] → [`scheme`] → [`workout`] → [`performance`] (with [`notation`],
//! its written form) → [`order`] → [`place`]. Who takes part: [`people`], [`division`]. When:
//! [`window`]. The text an organiser writes: [`competition`]. What may happen to a score:
//! [`life`], by whom: [`access`]; what a referee looks at first: [`queue`]. What is remembered:
//! [`event`], folded by [`ledger`].

pub mod access;
pub mod competition;
pub mod division;
pub mod event;
pub mod fault;
pub mod heats;
pub mod ledger;
pub mod life;
pub mod notation;
pub mod order;
pub mod people;
pub mod performance;
pub mod place;
pub mod placement;
pub mod proposal;
pub mod quantity;
pub mod queue;
pub mod roster;
pub mod scheme;
pub mod spread;
pub mod table;
pub mod tag;
pub mod window;
pub mod worked;
pub mod workout;
