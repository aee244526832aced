//! Who sees what: the one place that decides which workouts, scores and names a reader gets.
//!
//! A private competition does not exist for those without a role; a workout that is not announced
//! does not exist for all but the organiser; scores published at the close exist before it for
//! the organiser, the referees and the own gym's staff only, and for the athlete's own eyes.

use super::Failure;
use crate::actions::language;
use crate::app::App;
use crate::rules::access::{Act, Actor, Permit, Role, permit};
use crate::rules::competition::{Competition, RawCompetition};
use crate::rules::people::Entry;
use crate::rules::tag::Tag;
use crate::rules::workout::{Publish, Workout};
use crate::standings::{Mark, Mask, names};
use crate::store::competitions::{Definition, Known};
use crate::store::entries::Named;
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::HashMap;
use std::sync::Arc;

/// A competition, and what one reader may see of it at one instant.
#[derive(Clone, Debug)]
pub struct Reader {
    /// Number in the store.
    pub id: i64,
    /// Its name in addresses.
    pub slug: String,
    /// Log position when it was found.
    pub seq: u64,
    /// Of which log, as in [`crate::standings::Mark`]; 0: not known.
    pub epoch: u64,
    /// Log position at which the file in force was applied.
    pub definition_seq: u64,
    /// The tag of the file in force.
    pub definition_tag: Tag,
    /// The file in force, as written.
    pub raw: Arc<RawCompetition>,
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
        // Before anything is read: what is read then is of this log or of a later one.
        let epoch = app.board.find(slug).and_then(|id| app.board.mark(id)).map_or(0, |mark| mark.epoch);
        let known = app.store.find_competition(slug).await?;
        let reader = known.map(|known| Self { epoch, ..Self::new(known, actor, now) });
        reader.filter(Self::exists).ok_or_else(|| no_competition(slug))
    }

    /// The same as of the state in memory, which any change made here is in, and one that another
    /// process made a moment later: for who reads standings, which are of that state too. Asks the
    /// database only where it has to.
    ///
    /// # Errors
    /// As there.
    pub async fn current(app: &App, actor: &Actor, now: Timestamp, slug: &str) -> Result<Self, Failure> {
        let known = app.board.find(slug).and_then(|id| {
            let view = app.board.view(id)?;
            Some((id, view.mark(), app.store.known_definition(id, view.defined())?))
        });
        let Some((id, Mark { epoch, seq }, definition)) = known else { return Self::find(app, actor, now, slug).await };
        let reader = Self { epoch, ..Self::with(id, slug.to_owned(), seq, definition, actor, now) };
        if reader.exists() { Ok(reader) } else { Err(no_competition(slug)) }
    }

    /// What `actor` may see of a competition that the store knows.
    #[must_use]
    pub fn new(known: Known, actor: &Actor, now: Timestamp) -> Self {
        Self::with(known.id, known.slug, known.seq, known.definition, actor, now)
    }

    fn with(id: i64, slug: String, seq: u64, definition: Definition, actor: &Actor, now: Timestamp) -> Self {
        Self {
            id,
            slug,
            seq,
            epoch: 0,
            definition_seq: definition.seq,
            definition_tag: definition.tag,
            raw: definition.raw,
            competition: definition.competition,
            actor: actor.clone(),
            now,
        }
    }

    /// Whether it exists for this reader.
    #[must_use]
    pub fn exists(&self) -> bool {
        !self.competition.private || self.may(Act::SeeCompetition { competition: &self.slug })
    }

    fn may(&self, act: Act<'_>) -> bool {
        permit(&self.actor, act).is_ok()
    }

    /// The workouts it may see, in file order.
    pub fn workouts(&self) -> impl Iterator<Item = &Workout> {
        self.competition.workouts.iter().filter(|w| self.sees(w))
    }

    /// Whether it may see that there is such a workout.
    #[must_use]
    pub fn sees(&self, workout: &Workout) -> bool {
        workout.window.announced(self.now) || self.may(Act::SeeUnannounced { competition: &self.slug })
    }

    /// The workout, if it may be seen.
    ///
    /// # Errors
    /// Not found, also before its announcement.
    pub fn workout(&self, slug: &str) -> Result<&Workout, Failure> {
        self.competition
            .workout(slug)
            .filter(|w| self.sees(w))
            .ok_or_else(|| Failure::not_found(Sentence::new("no_workout").with("workout", shown(slug))))
    }

    /// The place of a workout in the file.
    #[must_use]
    pub fn index(&self, workout: &Workout) -> usize {
        self.competition.workouts.iter().position(|w| w.slug == workout.slug).unwrap_or(usize::MAX)
    }

    /// Whether scores of this gym's entries in a workout may be seen (`None`: of all).
    #[must_use]
    pub fn sees_scores(&self, workout: &Workout, gym: Option<&str>) -> bool {
        self.sees(workout)
            && (workout.publish == Publish::Live
                || workout.window.closed(self.now)
                || self.may(Act::SeeUnpublished { competition: &self.slug, gym }))
    }

    /// Whether scores of this entry in a workout may be seen, performed at `at` or elsewhere.
    #[must_use]
    pub fn sees_scores_of(&self, workout: &Workout, entry: &Entry, at: Option<&str>) -> bool {
        self.sees_scores(workout, entry.gym.as_deref())
            || (at.is_some() && self.sees_scores(workout, at))
            || (self.sees(workout) && self.is_own(entry.bib))
    }

    /// The workouts that count in what this reader sees, scoped to `gym` (`None`: the whole
    /// division); `running`: those whose window is open too.
    #[must_use]
    pub fn mask(&self, gym: Option<&str>, running: bool) -> Mask {
        let workouts = self.competition.workouts.iter().enumerate();
        workouts
            .filter(|(_, w)| self.sees_scores(w, gym) && (running || !w.window.running(self.now)))
            .map(|(n, _)| n)
            .collect()
    }

    /// Whether the reader is this athlete.
    #[must_use]
    pub fn is_own(&self, bib: u32) -> bool {
        let mine = |g: &crate::rules::access::Grant| {
            g.role == Role::Athlete && g.competition.as_deref() == Some(&*self.slug) && g.bib == Some(bib)
        };
        self.actor.grants.iter().any(mine)
    }

    /// Proof that the reader is the organiser, a referee, of the entry's own people or of those
    /// of the gym it was performed at: they read notes and videos.
    #[must_use]
    pub fn inside(&self, entry: &Entry, at: Option<&str>) -> Option<Permit> {
        let competition = &*self.slug;
        permit(&self.actor, Act::ReadDesk { competition, gym: entry.gym.as_deref() })
            .or_else(|_| permit(&self.actor, Act::Enter { competition, entry, at }))
            .ok()
    }

    /// The names of entries as this reader sees them, by bib; every bib gets one.
    pub async fn names(&self, app: &App, bibs: &[u32]) -> Result<HashMap<u32, String>, Failure> {
        let Some(shown) = app.board.names(self.id) else { return self.read_names(app, bibs).await };
        let (known, moment) = shown.find(bibs);
        let in_common = self.in_common();
        let open = |bib: &u32| match known.get(bib) {
            Some(names::Known::Shown(_)) => false,
            Some(names::Known::Hidden) => !in_common,
            None => true,
        };
        let missing: Vec<u32> = bibs.iter().filter(|bib| open(bib)).copied().collect();
        let mut names = HashMap::new();
        if !missing.is_empty() {
            let entries = app.store.list_named(self.id, &missing).await?;
            shown.learn(moment, entries.iter().map(|(bib, named)| (*bib, named.name.as_deref())));
            names = self.names_of(app, &missing, entries).await?;
        }
        names.extend(known.into_iter().filter_map(|(bib, known)| match known {
            names::Known::Shown(name) => Some((bib, name)),
            names::Known::Hidden => in_common.then(|| (bib, athlete(bib))),
        }));
        Ok(names)
    }

    /// Whether it sees what everybody sees.
    #[must_use]
    pub fn in_common(&self) -> bool {
        self.actor.grants.is_empty() && !self.actor.operator
    }

    async fn read_names(&self, app: &App, bibs: &[u32]) -> Result<HashMap<u32, String>, Failure> {
        let entries = app.store.list_named(self.id, bibs).await?;
        self.names_of(app, bibs, entries).await
    }

    async fn names_of(
        &self,
        app: &App,
        bibs: &[u32],
        entries: HashMap<u32, Named>,
    ) -> Result<HashMap<u32, String>, Failure> {
        let mut names: HashMap<u32, String> = bibs.iter().map(|bib| (*bib, athlete(*bib))).collect();
        let mut hidden: HashMap<(Option<&str>, bool), Vec<&Entry>> = HashMap::new();
        for entry in entries.values().filter(|n| n.name.is_none()).map(|n| &n.entry) {
            hidden.entry((entry.gym.as_deref(), self.is_own(entry.bib))).or_default().push(entry);
        }
        // Whoever may know one of a gym may know all of it: one question a gym.
        for group in hidden.into_values() {
            let Some(permit) = group.first().and_then(|entry| self.knows(entry)) else { continue };
            let ids: Vec<u64> = group.iter().map(|e| e.person.id).collect();
            let persons = app.store.list_persons(&permit, self.id, &ids).await?;
            let known = group.iter().filter_map(|e| Some((e.bib, persons.get(&e.person.id)?.name.clone())));
            names.extend(known.filter(|(_, name)| !name.is_empty()));
        }
        names.extend(entries.into_iter().filter_map(|(bib, n)| Some((bib, n.name?))));
        Ok(names)
    }

    /// The name of one entry as this reader sees it.
    pub async fn name(&self, app: &App, named: Named) -> Result<String, Failure> {
        match named.name {
            Some(name) => Ok(name),
            None => Ok(self.hidden_name(app, &named.entry).await?.unwrap_or_else(|| athlete(named.entry.bib))),
        }
    }

    /// Proof that this reader may know who an entry is, hidden or not.
    pub(super) fn knows(&self, entry: &Entry) -> Option<Permit> {
        permit(&self.actor, Act::ReadPersons { competition: &self.slug, gym: entry.gym.as_deref() })
            .or_else(|denied| {
                if self.is_own(entry.bib) {
                    permit(&self.actor, Act::Enter { competition: &self.slug, entry, at: None })
                } else {
                    Err(denied)
                }
            })
            .ok()
    }

    async fn hidden_name(&self, app: &App, entry: &Entry) -> Result<Option<String>, Failure> {
        let Some(permit) = self.knows(entry) else { return Ok(None) };
        let person = app.store.find_person(&permit, self.id, entry.person.id).await?;
        Ok(person.map(|p| p.name).filter(|name| !name.is_empty()))
    }

    /// A competition file of the past with the windows of today: what is hidden now was not
    /// shown because a file of the past said so. Workouts that are gone keep theirs.
    #[must_use]
    pub fn in_the_past(&self, then: &Competition) -> Arc<Competition> {
        let mut then = then.clone();
        for workout in &mut then.workouts {
            if let Some(today) = self.competition.workout(&workout.slug) {
                workout.window = today.window;
                workout.publish = today.publish;
            }
        }
        Arc::new(then)
    }

    /// The last window boundary of a workout that has passed, microseconds; before the first: 0.
    #[must_use]
    pub fn boundary(&self) -> i64 {
        let passed = self.boundaries().filter(|at| *at <= self.now);
        passed.max().map_or(0, Timestamp::as_microsecond)
    }

    /// The next one; after the last: never.
    #[must_use]
    pub fn next_boundary(&self) -> Timestamp {
        self.boundaries().filter(|at| *at > self.now).min().unwrap_or(Timestamp::MAX)
    }

    fn boundaries(&self) -> impl Iterator<Item = Timestamp> {
        let windows = self.competition.workouts.iter().map(|w| &w.window);
        windows.flat_map(|w| [w.announce, w.opens, w.closes])
    }
}

fn no_competition(slug: &str) -> Failure {
    Failure::not_found(Sentence::new("no_competition").with("competition", shown(slug)))
}

/// What stands for a hidden or erased name.
#[must_use]
pub fn athlete(bib: u32) -> String {
    language::say(&Sentence::new("hidden_name").with("bib", bib))
}

/// A name from an address, cut for a sentence.
#[must_use]
pub fn shown(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(60).collect()
}
