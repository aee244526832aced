//! `standings`: places from the same code as the pages, as a table, CSV or JSON.

use super::open;
use super::talk::{Done, print, print_json};
use crate::actions::standings::{Desk, StandingsQuery};
use crate::actions::views::{PlaceRow, PlacesView, StandingRow, StandingsView};
use crate::rules::access::Actor;
use crate::rules::place::Running;
use crate::rules::table;
use clap::{Args, ValueEnum};

/// Places.
#[derive(Debug, Args)]
pub(super) struct Standings {
    /// Which competition.
    #[arg(long, value_name = "SLUG")]
    competition: String,
    /// Which division.
    #[arg(long, value_name = "SLUG")]
    division: String,
    /// The places of one workout; without it, the overall result.
    #[arg(long, value_name = "SLUG")]
    workout: Option<String>,
    /// As they were at this log position.
    #[arg(long, value_name = "SEQ")]
    as_of: Option<u64>,
    /// With or without the running workouts; without it, as the competition says.
    #[arg(long)]
    running: Option<RunningName>,
    /// Print CSV.
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum RunningName {
    With,
    Without,
}

impl Standings {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        open::on_existing(database, async |app| {
            let query = StandingsQuery {
                as_of: self.as_of,
                running: self.running.map(|r| match r {
                    RunningName::With => Running::With,
                    RunningName::Without => Running::Without,
                }),
                ..StandingsQuery::default()
            };
            let (actor, now) = (Actor::operator(), app.clock.now());
            let (competition, division) = (&self.competition, &self.division);
            let desk = Desk::open(app, &actor, now, competition, &query).await?;
            if let Some(workout) = &self.workout {
                let view = desk.places(app, division, workout, &query).await?;
                if self.json {
                    return print_json(&view);
                }
                self.show(&places_header(), &places_rows(&view));
            } else {
                let view = desk.standings(app, division, &query).await?;
                if self.json {
                    return print_json(&view);
                }
                self.show(&standings_header(&view), &standings_rows(&view));
            }
            Ok(())
        })
        .await
    }

    fn show(&self, header: &[String], rows: &[Vec<String>]) {
        let text = if self.csv {
            let names: Vec<&str> = header.iter().map(String::as_str).collect();
            table::write(&names, rows.to_vec())
        } else {
            aligned(header, rows)
        };
        print(&text);
    }
}

fn or_empty<T: ToString>(value: Option<&T>) -> String {
    value.map(ToString::to_string).unwrap_or_default()
}

/// Which workouts have a column: those in which anybody has figures or a place.
fn columns(view: &StandingsView) -> Vec<usize> {
    let cells = view.rows.first().map_or(0, |row| row.workouts.len());
    let has =
        |row: &StandingRow, at: usize| row.workouts.get(at).is_some_and(|c| c.text.is_some() || c.place.is_some());
    (0..cells).filter(|&at| view.rows.iter().any(|row| has(row, at))).collect()
}

fn standings_header(view: &StandingsView) -> Vec<String> {
    let mut header: Vec<String> = ["standing", "bib", "name", "gym", "country", "points"].map(str::to_owned).to_vec();
    for cell in columns(view).into_iter().filter_map(|at| view.rows.first()?.workouts.get(at)) {
        header.push(cell.workout.clone());
        header.push(format!("{} place", cell.workout));
    }
    header
}

fn standings_rows(view: &StandingsView) -> Vec<Vec<String>> {
    let columns = columns(view);
    let row = |row: &StandingRow| {
        let mut cells = vec![
            or_empty(row.standing.as_ref()),
            row.bib.to_string(),
            row.name.clone(),
            or_empty(row.gym.as_ref()),
            row.country.clone(),
            or_empty(row.points.as_ref()),
        ];
        for cell in columns.iter().filter_map(|&at| row.workouts.get(at)) {
            cells.push(or_empty(cell.text.as_ref()));
            cells.push(or_empty(cell.place.as_ref()));
        }
        cells
    };
    view.rows.iter().map(row).collect()
}

fn places_header() -> Vec<String> {
    ["place", "bib", "name", "gym", "country", "performance", "level", "state"].map(str::to_owned).to_vec()
}

fn places_rows(view: &PlacesView) -> Vec<Vec<String>> {
    let row = |row: &PlaceRow| {
        vec![
            or_empty(row.place.as_ref()),
            row.bib.to_string(),
            row.name.clone(),
            or_empty(row.gym.as_ref()),
            row.country.clone(),
            or_empty(row.text.as_ref()),
            or_empty(row.level.as_ref()),
            row.state.unwrap_or_default().to_owned(),
        ]
    };
    view.rows.iter().map(row).collect()
}

/// Columns as wide as their widest cell, two spaces apart.
fn aligned(header: &[String], rows: &[Vec<String>]) -> String {
    let mut widths: Vec<usize> = header.iter().map(|h| h.chars().count()).collect();
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let mut text = String::new();
    for row in std::iter::once(header).chain(rows.iter().map(Vec::as_slice)) {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        text.push_str(cells.join("  ").trim_end());
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_by_characters_and_not_by_bytes() {
        let rows = [
            vec!["1".to_owned(), "Łukasz Żak".to_owned(), "9".to_owned()],
            vec!["10".to_owned(), "Bo".to_owned(), "31".to_owned()],
        ];
        let header = ["place", "name", "points"].map(str::to_owned);
        insta::assert_snapshot!(aligned(&header, &rows), @r"
        place  name        points
        1      Łukasz Żak  9
        10     Bo          31
        ");
    }
}
