//! The keys of a scheme (`stations` with `rounds`, `repeat`, `list` or `ladder`; or `blocks`) →
//! [`Scheme`].

use super::Notes;
use crate::rules::competition::raw::{
    OneOrMany, RawBlock, RawLadder, RawPrescription, RawRepeat, RawStation, RawWorkout,
};
use crate::rules::competition::tree::{item, member};
use crate::rules::people::check_line;
use crate::rules::quantity::Millis;
use crate::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
use crate::words::Sentence;

/// The most blocks of a scheme, and the most stations of a block.
const MAX_PARTS: usize = 60;
/// The most rounds of a `list`.
const MAX_LIST: usize = 1000;
/// The most characters of a movement or a block's title.
const MAX_NAME: usize = 80;

/// How a row of stations repeats, as written.
#[derive(Clone, Copy, Default)]
struct Turns<'r> {
    rounds: Option<u64>,
    repeat: Option<RawRepeat>,
    list: Option<&'r [OneOrMany<u64>]>,
    ladder: Option<&'r RawLadder>,
}

impl Turns<'_> {
    fn given(&self) -> bool {
        self.rounds.is_some() || self.repeat.is_some() || self.list.is_some() || self.ladder.is_some()
    }
}

/// The keys of a scheme, of a workout or of a prescription.
#[derive(Clone, Copy)]
pub struct SchemeKeys<'r> {
    stations: Option<&'r [RawStation]>,
    blocks: Option<&'r [RawBlock]>,
    turns: Turns<'r>,
}

impl<'r> SchemeKeys<'r> {
    /// Those of a workout.
    pub fn of_workout(raw: &'r RawWorkout) -> Self {
        let turns =
            Turns { rounds: raw.rounds, repeat: raw.repeat, list: raw.list.as_deref(), ladder: raw.ladder.as_ref() };
        Self { stations: raw.stations.as_deref(), blocks: raw.blocks.as_deref(), turns }
    }

    /// Those of a prescription.
    pub fn of_prescription(raw: &'r RawPrescription) -> Self {
        let turns =
            Turns { rounds: raw.rounds, repeat: raw.repeat, list: raw.list.as_deref(), ladder: raw.ladder.as_ref() };
        Self { stations: raw.stations.as_deref(), blocks: raw.blocks.as_deref(), turns }
    }

    /// The keys that are given, to be named where they do not apply.
    pub fn given(&self) -> Vec<&'static str> {
        let all = [
            ("stations", self.stations.is_some()),
            ("blocks", self.blocks.is_some()),
            ("rounds", self.turns.rounds.is_some()),
            ("repeat", self.turns.repeat.is_some()),
            ("list", self.turns.list.is_some()),
            ("ladder", self.turns.ladder.is_some()),
        ];
        all.into_iter().filter(|(_, given)| *given).map(|(key, _)| key).collect()
    }

    /// Whether any is given.
    pub fn any(&self) -> bool {
        !self.given().is_empty()
    }

    /// A prescription's keys over the workout's: its own stations with its own repetition, or
    /// each with the workout's other half; its own blocks instead of everything.
    pub fn over(self, workout: Self) -> Self {
        if self.blocks.is_some() {
            return self;
        }
        Self {
            stations: self.stations.or(workout.stations),
            blocks: if self.stations.is_some() { None } else { workout.blocks },
            turns: if self.turns.given() { self.turns } else { workout.turns },
        }
    }
}

/// Compiles a scheme; `at`: the workout or prescription the keys are of.
pub fn compile(keys: &SchemeKeys<'_>, endless: bool, at: &str, notes: &mut Notes) -> Option<Scheme> {
    let before = notes.faults.len();
    let (blocks, short) = match (keys.stations, keys.blocks) {
        (None, None) => {
            notes.fault(at, Sentence::new("file_scheme_missing"));
            return None;
        }
        (Some(_), Some(_)) => {
            notes.fault(&member(at, "blocks"), Sentence::new("file_stations_and_blocks"));
            return None;
        }
        (Some(stations), None) => (vec![work(stations, keys.turns, None, None, at, notes)], true),
        (None, Some(raw)) => {
            if keys.turns.given() {
                notes.fault(at, Sentence::new("file_turns_beside_blocks"));
            }
            (blocks(raw, &member(at, "blocks"), notes), false)
        }
    };
    if notes.faults.len() > before {
        return None;
    }
    match Scheme::new(blocks, endless) {
        Ok(scheme) => Some(scheme),
        Err(faults) => {
            for (inside, sentence) in faults {
                notes.fault(&key_of(at, &inside, short), sentence);
            }
            None
        }
    }
}

/// A scheme's own path as a key of the file: in the short form block 0 is the workout itself.
fn key_of(at: &str, inside: &str, short: bool) -> String {
    if short && let Some(rest) = inside.strip_prefix("blocks[0]") {
        return format!("{at}{rest}");
    }
    if inside.is_empty() { at.to_owned() } else { member(at, inside) }
}

fn blocks(raw: &[RawBlock], at: &str, notes: &mut Notes) -> Vec<Block> {
    if raw.is_empty() || raw.len() > MAX_PARTS {
        notes.fault(at, Sentence::new("file_parts_number").with("key", "blocks").with("most", MAX_PARTS));
        return Vec::new();
    }
    raw.iter().enumerate().map(|(i, block)| one(block, &item(at, i), notes)).collect()
}

fn one(raw: &RawBlock, at: &str, notes: &mut Notes) -> Block {
    let turns =
        Turns { rounds: raw.rounds, repeat: raw.repeat, list: raw.list.as_deref(), ladder: raw.ladder.as_ref() };
    let by = raw.by.as_deref().and_then(|by| time(by, &member(at, "by"), notes));
    if let Some(title) = &raw.title
        && let Err(sentence) = check_line(title, MAX_NAME)
    {
        notes.fault(&member(at, "title"), sentence);
    }
    match (&raw.rest, &raw.stations) {
        (Some(rest), None) => {
            if turns.given() || raw.by.is_some() {
                notes.fault(at, Sentence::new("file_rest_with_more"));
            }
            Block::Rest(time(rest, &member(at, "rest"), notes).unwrap_or_default())
        }
        (Some(_), Some(_)) => {
            notes.fault(&member(at, "rest"), Sentence::new("file_rest_with_more"));
            Block::Rest(Millis::default())
        }
        (None, stations) => work(stations.as_deref().unwrap_or_default(), turns, raw.title.clone(), by, at, notes),
    }
}

/// A time above zero.
pub fn time(text: &str, at: &str, notes: &mut Notes) -> Option<Millis> {
    match Millis::parse(text) {
        Ok(Millis(0)) => {
            notes.fault(at, Sentence::new("file_time_zero"));
            None
        }
        read => notes.take(at, read),
    }
}

fn work(
    raw: &[RawStation],
    turns: Turns<'_>,
    title: Option<String>,
    by: Option<Millis>,
    at: &str,
    notes: &mut Notes,
) -> Block {
    let stations_at = member(at, "stations");
    if raw.is_empty() || raw.len() > MAX_PARTS {
        notes.fault(&stations_at, Sentence::new("file_parts_number").with("key", "stations").with("most", MAX_PARTS));
    }
    let counted = turns.list.is_none() && turns.ladder.is_none();
    let stations: Vec<Station> = raw
        .iter()
        .take(MAX_PARTS)
        .enumerate()
        .map(|(i, station)| self::station(station, counted, &item(&stations_at, i), notes))
        .collect();
    let repeat = repeat(turns, stations.len(), at, notes);
    Block::Work { title, stations, repeat, by }
}

fn station(raw: &RawStation, counted: bool, at: &str, notes: &mut Notes) -> Station {
    let mut movement = match check_line(&raw.movement, MAX_NAME) {
        Ok(movement) if movement.is_empty() => {
            notes.fault(&member(at, "movement"), Sentence::new("file_movement_missing"));
            movement
        }
        Ok(movement) => movement,
        Err(sentence) => {
            notes.fault(&member(at, "movement"), sentence);
            String::new()
        }
    };
    let counts = match (raw.reps, raw.calories, raw.metres, raw.per, raw.counts) {
        (Some(reps), None, None, None, None) => Some(Counts::Reps(reps)),
        (None, Some(calories), None, None, None) => Some(Counts::Calories(calories)),
        (None, None, Some(metres), Some(per), None) => Some(Counts::Lengths { metres, per }),
        (None, None, metres, None, Some(counts)) => {
            notes.within(&member(at, "counts"), counts, 0, 1);
            if let Some(metres) = metres {
                movement = format!("{movement} {metres} m");
            }
            Some(Counts::Once(counts))
        }
        (None, None, Some(metres), None, None) => {
            notes.fault(&member(at, "metres"), Sentence::new("file_metres_alone").with("metres", metres));
            None
        }
        (None, None, None, None, None) if !counted => None,
        (None, None, None, None, None) => {
            notes.fault(at, Sentence::new("file_station_uncounted").with("movement", &movement));
            None
        }
        _ => {
            notes.fault(at, Sentence::new("file_station_counted_twice").with("movement", &movement));
            None
        }
    };
    Station { movement, counts }
}

fn repeat(turns: Turns<'_>, stations: usize, at: &str, notes: &mut Notes) -> Repeat {
    match turns {
        Turns { rounds, repeat: None, list: None, ladder: None } => Repeat::Rounds(rounds.unwrap_or(1)),
        Turns { rounds: None, repeat: Some(RawRepeat::Round), list: None, ladder: None } => Repeat::Endless,
        Turns { rounds: None, repeat: None, list: Some(list), ladder: None } => {
            if list.is_empty() || list.len() > MAX_LIST {
                let sentence = Sentence::new("file_parts_number").with("key", "list").with("most", MAX_LIST);
                notes.fault(&member(at, "list"), sentence);
                return Repeat::Rounds(1);
            }
            Repeat::List(list.iter().map(|row| spread(row, stations)).collect())
        }
        Turns { rounds, repeat, list: None, ladder: Some(ladder) } if rounds.is_none() || ladder.rounds.is_none() => {
            let rounds = ladder.rounds.or(rounds);
            if rounds.is_some() && repeat.is_some() {
                notes.fault(at, Sentence::new("file_turns_twice"));
            }
            Repeat::Ladder { start: spread(&ladder.start, stations), step: ladder.step.as_slice().to_vec(), rounds }
        }
        _ => {
            notes.fault(at, Sentence::new("file_turns_twice"));
            Repeat::Rounds(1)
        }
    }
}

/// One number stands for every station.
fn spread(row: &OneOrMany<u64>, stations: usize) -> Vec<u64> {
    match row {
        OneOrMany::One(count) => vec![*count; stations],
        OneOrMany::Many(counts) => counts.clone(),
    }
}
