//! Those of other gyms at a gym's desk: found by the bib, and on its list before anything of theirs is stored
//! here, where its heats have a lane for them.

use crate::actions::Failure;
use crate::actions::heats::Filled;
use crate::actions::lists;
use crate::actions::views::{DeskRow, DeskView, EntryView};
use crate::app::App;
use crate::rules::ledger::Refusal;
use crate::web::pages::form;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use std::collections::BTreeMap;

/// Adds a row for each who has a lane and nothing stored here. It counts for nothing: who is missing is counted
/// at their own gym.
pub(super) async fn add_planned(
    app: &App,
    caller: &Caller,
    slug: &str,
    list: &mut DeskView,
    heats: &BTreeMap<u32, Filled>,
) -> Answer<()> {
    for bib in heats.iter().filter(|(_, filled)| filled.visiting).map(|(bib, _)| *bib) {
        if list.rows.iter().any(|row| row.bib == bib) {
            continue;
        }
        let Some(entry) = find(app, caller, slug, bib).await? else { continue };
        let state = match entry.state {
            "active" => "missing",
            "guest" => "guest",
            _ => continue,
        };
        list.rows.push(DeskRow {
            bib,
            name: entry.name,
            division: entry.division,
            gym: entry.gym,
            entry_state: entry.state,
            state,
            stated_at: None,
            score: None,
            others: Vec::new(),
        });
    }
    Ok(())
}

/// The bib of somebody who takes part; `None`: nobody has what was typed.
pub(super) async fn meant(app: &App, caller: &Caller, slug: &str, typed: &str) -> Answer<Option<u32>> {
    let Some(bib) = form::bib(typed) else { return Ok(None) };
    Ok(find(app, caller, slug, bib).await?.map(|entry| entry.bib))
}

async fn find(app: &App, caller: &Caller, slug: &str, bib: u32) -> Answer<Option<EntryView>> {
    match lists::entry(app, &caller.actor, caller.received, slug, bib).await {
        Ok(entry) => Ok(Some(entry)),
        Err(Failure::Refused(Refusal::NotFound(_))) => Ok(None),
        Err(failure) => Err(failure.into()),
    }
}
