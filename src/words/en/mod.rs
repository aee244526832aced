//! English: one file per area, each a sorted list of (code, sentence).

pub mod api;
pub mod appeal;
mod cautions;
pub mod claims;
mod cli;
mod competition;
pub mod desk;
pub mod desk_file;
pub mod grammar;
pub mod heats;
mod input;
pub mod late;
pub mod letters;
mod life;
pub mod new_competition;
pub mod organise;
pub mod pages;
mod performance;
pub mod plot;
mod problems;
pub mod proposals;
pub mod queue;
mod roster;
pub mod sheet;
mod store;
pub mod wall;
pub mod what_if;

use super::Tables;

/// The areas, in the order they are searched.
pub const AREAS: [&[(&str, &str)]; 8] = [
    performance::SENTENCES,
    life::SENTENCES,
    competition::SENTENCES,
    roster::SENTENCES,
    problems::SENTENCES,
    input::SENTENCES,
    cli::SENTENCES,
    store::SENTENCES,
];

/// All that English says.
pub const TABLES: Tables = Tables {
    grammar: &grammar::GRAMMAR,
    areas: &AREAS,
    pages: &pages::PAGES,
    organise: &organise::ORGANISE,
    claims: &claims::CLAIMS,
    letters: &letters::LETTERS,
    api: &api::API,
    heats: &heats::HEATS,
    sheet: &sheet::SHEET,
    appeal: &appeal::APPEAL,
    plot: &plot::PLOT,
    what_if: &what_if::WHAT_IF,
    wall: &wall::WALL,
    late: &late::LATE,
    desk_file: &desk_file::DESK_FILE,
    new_competition: &new_competition::NEW_COMPETITION,
    queue: &queue::QUEUE,
    proposals: &proposals::PROPOSALS,
};
