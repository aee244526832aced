//! A whole division, read part by part: of one state, however long its reader takes, and never all of it
//! at once in memory.

use super::Desk;
use crate::actions::Failure;
use crate::actions::views::{PlacesView, StandingsView};
use crate::app::App;
use crate::standings::{Cut, Placing, Ranked};

/// Rows of a part.
const ROWS: usize = 500;

/// The overall standings of a division, or the places of a workout in it, in parts.
pub struct InParts<L> {
    app: App,
    desk: Desk,
    division: String,
    list: L,
    from: usize,
}

/// A workout's places, and which workout that is.
pub struct PlacesOf {
    placing: Placing,
    workout: String,
    index: usize,
}

impl Desk {
    /// The whole overall result of a division.
    ///
    /// # Errors
    /// Not found.
    pub fn standings_in_parts(self, app: &App, division: &str) -> Result<InParts<Ranked>, Failure> {
        let list = self.ranking(division)?;
        Ok(self.in_parts(app, division, list))
    }

    /// All places of one workout in a division.
    ///
    /// # Errors
    /// As there, and as [`Self::published`].
    pub fn places_in_parts(self, app: &App, division: &str, workout: &str) -> Result<InParts<PlacesOf>, Failure> {
        let index = self.published(workout)?;
        let placing = self.placing(division, index)?;
        Ok(self.in_parts(app, division, PlacesOf { placing, workout: workout.to_owned(), index }))
    }

    fn in_parts<L>(self, app: &App, division: &str, list: L) -> InParts<L> {
        InParts { app: app.clone(), desk: self, division: division.to_owned(), list, from: 1 }
    }
}

impl<L> InParts<L> {
    fn cut(&mut self) -> Cut {
        let cut = Cut::Rows { from: self.from, limit: ROWS };
        self.from += ROWS;
        cut
    }

    /// Workouts of the columns, in file order.
    pub fn workouts(&self) -> impl Iterator<Item = &str> {
        let workouts = self.desk.reader.competition.workouts.iter().enumerate();
        workouts.filter(|(n, _)| self.desk.mask.has(*n)).map(|(_, workout)| workout.slug.as_str())
    }
}

impl InParts<Ranked> {
    /// The next rows; without any: there are no more.
    pub async fn next(&mut self) -> Result<StandingsView, Failure> {
        let cut = self.cut();
        self.desk.standings_page(&self.app, &self.division, self.list.page(&self.desk.view, cut)).await
    }
}

impl InParts<PlacesOf> {
    /// The next rows; without any: there are no more.
    pub async fn next(&mut self) -> Result<PlacesView, Failure> {
        let cut = self.cut();
        let PlacesOf { placing, workout, index } = &self.list;
        let page = placing.page(&self.desk.view, cut);
        self.desk.places_page(&self.app, &self.division, (workout, *index), page).await
    }
}
