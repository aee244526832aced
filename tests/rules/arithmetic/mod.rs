//! Quantities, schemes, written performances and their order: outside values, slow twins and
//! properties.

mod deductions;
mod generate;
mod order;
mod quantities;
mod round_trip;
mod schemes;
mod sentences;
mod trade;
mod written_forms;

/// The language sentences are checked in.
const LANG: tallywright::words::Lang = tallywright::words::Lang::En;
