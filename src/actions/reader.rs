//! Who sees what: the one place that decides which workouts, scores and names a reader gets.
//!
//! A private competition does not exist for those without a role; a workout that is not announced
//! does not exist for all but the organiser; scores published at the close exist before it for
//! the organiser, the referees and the own gym's staff only.

use super::Failure;
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::competition::Competition;
use crate::rules::workout::Workout;
use jiff::Timestamp;
use std::sync::Arc;

/// A competition, and what one reader may see of it at one instant.
#[derive(Clone, Debug)]
pub struct Reader {
    /// Number in the store.
    pub id: i64,
    /// The file in force.
    pub competition: Arc<Competition>,
    /// Who reads.
    pub actor: Actor,
    /// When.
    pub now: Timestamp,
}

impl Reader {
    /// Finds a competition that `actor` may see.
    ///
    /// # Errors
    /// Not found, also for a private one without a role.
    pub async fn find(app: &App, actor: &Actor, now: Timestamp, slug: &str) -> Result<Self, Failure> {
        let _ = (app, actor, now, slug);
        todo!()
    }

    /// The workouts it may see, in file order.
    pub fn workouts(&self) -> impl Iterator<Item = &Workout> {
        self.competition.workouts.iter().filter(|w| self.sees(w))
    }

    /// Whether it may see that there is such a workout.
    #[must_use]
    pub fn sees(&self, workout: &Workout) -> bool {
        let _ = workout;
        todo!()
    }

    /// The workout, if it may be seen.
    ///
    /// # Errors
    /// Not found, also before its announcement.
    pub fn workout(&self, slug: &str) -> Result<&Workout, Failure> {
        let _ = slug;
        todo!()
    }

    /// Whether scores of this gym's entries in a workout may be seen (`None`: of all).
    #[must_use]
    pub fn sees_scores(&self, workout: &Workout, gym: Option<&str>) -> bool {
        let _ = (workout, gym);
        todo!()
    }

    /// Bit `i`: workout `i` of the file counts in what this reader sees (scoped to `gym`).
    #[must_use]
    pub fn mask(&self, gym: Option<&str>) -> u32 {
        let _ = gym;
        todo!()
    }

    /// Whether this reader is the organiser, a referee, or of the entry's own people: sees
    /// hidden names, notes and videos of entries of `gym` (`None`: of all).
    #[must_use]
    pub fn inside(&self, gym: Option<&str>) -> bool {
        let _ = gym;
        todo!()
    }
}
