//! Until when, for whoever reads: the windows of their own gym or entry where it was given more time, else
//! everybody's; and until when others have more.

use super::Failure;
use super::reader::Reader;
use crate::app::App;
use crate::rules::access::Role;
use crate::rules::event::Extension;
use crate::rules::window::{self, Window};
use crate::rules::workout::Workout;
use jiff::Timestamp;

/// What more time there is in a competition, and for which gyms and regions the reader is there.
#[derive(Clone, Debug, Default)]
pub struct Times {
    extensions: Vec<Extension>,
    own: Vec<(Option<String>, String)>,
}

impl Times {
    /// Of one competition.
    ///
    /// # Errors
    /// The database cannot be read.
    pub async fn of(app: &App, reader: &Reader) -> Result<Self, Failure> {
        let extensions = app.store.list_extensions(reader.id).await?;
        Self::with(app, reader, extensions).await
    }

    /// Of what holds for entries alone, whoever reads; nothing is read while everybody has time.
    ///
    /// # Errors
    /// The database cannot be read.
    pub async fn of_entries(app: &App, reader: &Reader) -> Result<Self, Failure> {
        let closed = reader.workouts().any(|x| x.window.closed(reader.now));
        let extensions = if closed { app.store.list_extensions(reader.id).await? } else { Vec::new() };
        Ok(Self { extensions, own: Vec::new() })
    }

    /// Of many, in their order.
    ///
    /// # Errors
    /// The database cannot be read.
    pub async fn of_all(app: &App, readers: &[Reader]) -> Result<Vec<Self>, Failure> {
        let ids: Vec<i64> = readers.iter().map(|reader| reader.id).collect();
        let mut extensions = app.store.list_extensions_of(&ids).await?;
        let mut all = Vec::with_capacity(readers.len());
        for reader in readers {
            all.push(Self::with(app, reader, extensions.remove(&reader.id).unwrap_or_default()).await?);
        }
        Ok(all)
    }

    async fn with(app: &App, reader: &Reader, extensions: Vec<Extension>) -> Result<Self, Failure> {
        let mut own = Vec::new();
        // Where nobody has more time it is the same for all.
        if !extensions.is_empty() {
            let here = |g: &&crate::rules::access::Grant| g.competition.as_deref() == Some(&*reader.slug);
            for grant in reader.actor.grants.iter().filter(here) {
                match (grant.role, &grant.gym, grant.bib) {
                    (Role::Staff, Some(gym), _) => {
                        let found = app.store.find_gym(reader.id, gym).await?;
                        own.extend(found.map(|gym| (Some(gym.slug), gym.region)));
                    }
                    (Role::Athlete, _, Some(bib)) => {
                        let found = app.store.find_entry(reader.id, bib).await?;
                        own.extend(found.map(|named| (named.entry.gym, named.entry.region)));
                    }
                    _ => {}
                }
            }
        }
        Ok(Self { extensions, own })
    }

    /// What holds for the reader. Whoever is there for several with different times has everybody's: which of
    /// theirs is meant nobody can tell.
    #[must_use]
    pub fn window(&self, workout: &Workout) -> Window {
        let of = |(gym, region): &(Option<String>, String)| self.window_of(workout, gym.as_deref(), region);
        let mut own = self.own.iter().map(of);
        match own.next() {
            Some(first) if own.all(|other| other == first) => first,
            _ => workout.window,
        }
    }

    /// What holds for an entry of this gym and region.
    #[must_use]
    pub fn window_of(&self, workout: &Workout, gym: Option<&str>, region: &str) -> Window {
        window::for_entry(workout, &self.extensions, gym, region)
    }

    /// Until when the last of those may score who have more time than the reader; `None`: nobody has any more.
    #[must_use]
    pub fn others(&self, workout: &Workout, now: Timestamp) -> Option<Timestamp> {
        let after = self.window(workout).closes.max(now);
        let here = self.extensions.iter().filter(|e| e.workout == workout.slug);
        let closes = here.map(|e| {
            let region = e.region.as_deref().unwrap_or_default();
            self.window_of(workout, e.gym.as_deref(), region).closes
        });
        closes.filter(|at| *at > after).max()
    }
}
