//! The sheets that the demo's gyms send in, evening by evening: who did which workout when, what
//! was counted, who judged it. As CSV, through the same door as anybody's file.

use super::field::{Athlete, Field, OWN_BIB, Size};
use super::pace;
use super::seeded::Seeded;
use super::series::{Calendar, WORKOUTS};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, HashMap};

/// How many of the workouts the sample's athletes may have done by now.
const DONE: usize = 4;

/// One performance on a sheet.
#[derive(Clone, Debug)]
#[expect(clippy::struct_excessive_bools, reason = "each is a column or a fact of its own")]
pub(super) struct Line {
    /// Workout slug.
    pub workout: &'static str,
    /// Whose.
    pub bib: u32,
    /// In writing.
    pub performance: String,
    /// Judge code; `None`: nobody has attested it yet.
    pub judge: Option<String>,
    /// When the file with it came in.
    pub received: Timestamp,
    /// Came after the deadline.
    pub late: bool,
    /// The only line of this athlete in this workout.
    pub only: bool,
    performed_at: Timestamp,
    lighter: bool,
    sheet: String,
    gym: String,
    attempt: u32,
    no_reps: i64,
    video: String,
    revise: bool,
}

/// A file that a gym sends.
#[derive(Clone, Debug)]
pub(super) struct Sheet {
    /// When.
    pub received: Timestamp,
    /// Workout slug.
    pub workout: &'static str,
    /// Slug of the gym whose staff sends it; empty: from athletes without a gym.
    pub gym: String,
    /// The rows.
    pub csv: String,
}

/// How an athlete takes part, apart from the workouts. Few do anything out of the ordinary.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// As everybody.
    Whole,
    /// Withdraws after workout 1.
    Withdraws,
    /// Is removed after workout 2.
    IsRemoved,
    /// Shown without a place.
    Guest,
}

/// How `bib` takes part.
pub(super) fn part(bib: u32) -> Part {
    match bib {
        OWN_BIB => Part::Whole,
        b if b % 211 == 0 => Part::Withdraws,
        b if b % 797 == 0 => Part::IsRemoved,
        b if b % 401 == 0 => Part::Guest,
        _ => Part::Whole,
    }
}

/// Everything that was written on sheets until `now`, in the order it came in.
pub(super) fn lines(field: &Field, calendar: &Calendar, now: Timestamp) -> anyhow::Result<Vec<Line>> {
    let mut lines = Vec::new();
    for workout in WORKOUTS.into_iter().take(DONE) {
        let mut numbers = Numbers::default();
        for athlete in &field.athletes {
            lines.append(&mut numbers.give(of_one(workout, None, athlete, field, calendar, now)?));
        }
    }
    lines.sort_by_key(|l| (l.received, l.workout, l.bib));
    Ok(lines)
}

/// What is written on the sheets of a workout on one day, in the order it comes in.
pub(super) fn lines_of_day(
    workout: &'static str,
    day: i32,
    field: &Field,
    calendar: &Calendar,
    now: Timestamp,
    numbers: &mut Numbers,
) -> anyhow::Result<Vec<Line>> {
    let mut lines = Vec::new();
    for athlete in &field.athletes {
        lines.append(&mut numbers.give(of_one(workout, Some(day), athlete, field, calendar, now)?));
    }
    lines.sort_by(|a, b| (a.received, &a.gym, a.bib).cmp(&(b.received, &b.gym, b.bib)));
    Ok(lines)
}

/// The numbers of the sheets of one workout: a gym counts by itself.
#[derive(Default)]
pub(super) struct Numbers(HashMap<String, u32>);

impl Numbers {
    fn give(&mut self, mut own: Vec<Line>) -> Vec<Line> {
        let only = own.len() == 1;
        for line in &mut own {
            if !self.0.contains_key(&line.gym) {
                self.0.insert(line.gym.clone(), 0);
            }
            let number = self.0.get_mut(&line.gym).map_or(0, |number| {
                *number += 1;
                *number
            });
            line.sheet = format!("{}{number}", char::from(b'A' + u8::try_from(line.bib % 4).unwrap_or(0)));
            line.only = only;
        }
        own
    }
}

/// Whether an athlete does a workout at all.
fn does(workout: &str, athlete: &Athlete, seeded: &mut Seeded) -> bool {
    if athlete.bib == OWN_BIB {
        return workout != "w4";
    }
    match (part(athlete.bib), workout) {
        (Part::Withdraws, "w2" | "w3" | "w4") | (Part::IsRemoved, "w4") => false,
        (_, "w1") => !seeded.chance(70),
        (_, "w3") => !seeded.chance(20),
        _ => !seeded.chance(110),
    }
}

/// What one athlete did in one workout: mostly one line; a second attempt or a mended figure is
/// another. `on`: only if it was done on that day.
fn of_one(
    workout: &'static str,
    on: Option<i32>,
    athlete: &Athlete,
    field: &Field,
    calendar: &Calendar,
    now: Timestamp,
) -> anyhow::Result<Vec<Line>> {
    // Workouts 2 and 3 are one effort: whoever missed one missed the other, and both were done at
    // the same time.
    let session = if workout == "w3" { "w2" } else { workout };
    let mut effort = athlete.luck(u64::from(session.as_bytes()[1]));
    let mut seeded = athlete.luck(100 + u64::from(workout.as_bytes()[1]));
    if !does(session, athlete, &mut effort) || (workout == "w3" && !does("w3", athlete, &mut seeded)) {
        return Ok(Vec::new());
    }
    let (opens, closes) = calendar.window(workout);
    // Of a large field everybody who does a workout has done it by yesterday.
    let last = if field.size == Size::SAMPLE { closes } else { closes.min(0) };
    let day = opens + i32::try_from(effort.below(u64::try_from(last - opens).unwrap_or(1))).unwrap_or(0);
    if on.is_some_and(|on| on != day) {
        return Ok(Vec::new());
    }
    let hour = if day == opens { 19 } else { i8::try_from(effort.within(7, 19)).unwrap_or(12) };
    let minute = i8::try_from(effort.within(0, 55)).unwrap_or(0);
    let offset = if workout == "w3" { SignedDuration::from_mins(9) } else { SignedDuration::ZERO };
    let performed_at = calendar.at(day, hour, minute)?.checked_add(offset)?;
    let end = calendar.at(closes, 21, 0)?;
    // Whoever is late has to be let in one by one: not by the thousand.
    let late = effort.chance(9) && end < now && athlete.bib != OWN_BIB && field.size == Size::SAMPLE;
    let received = if late {
        Some(end.checked_add(SignedDuration::from_mins(effort.within(25, 170)))?)
    } else {
        in_by(day, performed_at, athlete.gym, calendar, now)?
    };
    let Some(received) = received else { return Ok(Vec::new()) };

    let visits = effort.chance(20);
    let place =
        if visits { Some(usize::try_from(effort.below(field.gyms.len() as u64)).unwrap_or(0)) } else { athlete.gym };
    let lighter = !athlete.who.lighter && ["w1", "w2"].contains(&workout) && seeded.chance(40);
    let unattested = seeded.chance(if workout == "w4" { 80 } else { 12 }) && athlete.bib != OWN_BIB;
    let perform = |ability: &pace::Ability, seeded: &mut Seeded| {
        pace::performance(workout, athlete.who, lighter || athlete.who.lighter, field.pounds(place), ability, seeded)
    };
    let judges = field.judges_of(place.unwrap_or(0));
    let line = Line {
        workout,
        bib: athlete.bib,
        performance: perform(&athlete.ability, &mut seeded),
        judge: (!unattested).then(|| (*seeded.pick(&judges)).to_owned()),
        received,
        late,
        only: true,
        performed_at,
        lighter,
        sheet: String::new(),
        gym: place.map_or(String::new(), |g| field.gyms[g].slug.clone()),
        attempt: 1,
        no_reps: seeded.within(0, 6),
        video: if place.is_none() { format!("https://video.example/{workout}/{}", athlete.bib) } else { String::new() },
        revise: false,
    };
    let mut lines = vec![line];
    if let Some(again) =
        again(&lines[0], day, closes, calendar, now, &mut seeded, |s| perform(&athlete.ability.on_another_day(s), s))?
    {
        lines.push(again);
    }
    Ok(lines)
}

/// When the file with a performance comes in: after half past nine in the evening; today, half an
/// hour after it was done. `None`: not yet.
fn in_by(
    day: i32,
    performed_at: Timestamp,
    gym: Option<usize>,
    calendar: &Calendar,
    now: Timestamp,
) -> anyhow::Result<Option<Timestamp>> {
    let minute = i8::try_from(gym.unwrap_or(20) % 30).unwrap_or(0);
    let evening = calendar.at(day, 21, 30 + minute)?;
    let received = if evening < now { evening } else { performed_at.checked_add(SignedDuration::from_mins(30))? };
    Ok((received < now).then_some(received))
}

/// A second attempt in workout 1, or a figure that the staff mends the next morning.
fn again(
    first: &Line,
    day: i32,
    closes: i32,
    calendar: &Calendar,
    now: Timestamp,
    seeded: &mut Seeded,
    perform: impl Fn(&mut Seeded) -> String,
) -> anyhow::Result<Option<Line>> {
    let next = calendar.at(day + 1, 9, 40)?;
    let received = calendar.at(day + 1, 11, 15)?;
    if first.late || day + 1 >= closes || received >= now || first.bib == OWN_BIB {
        return Ok(None);
    }
    let second = first.workout == "w1" && seeded.chance(30);
    let mended = !second && seeded.chance(6);
    if !second && !mended {
        return Ok(None);
    }
    let mut line = Line { received, performance: perform(seeded), ..first.clone() };
    if second {
        line.attempt = 2;
        line.performed_at = next;
    } else {
        line.revise = true;
    }
    Ok((line.performance != first.performance).then_some(line))
}

/// The files: the lines that one gym sends together, of one workout.
pub(super) fn files(lines: &[Line]) -> anyhow::Result<Vec<Sheet>> {
    let mut together: BTreeMap<(Timestamp, &'static str, &str), Vec<&Line>> = BTreeMap::new();
    for line in lines {
        together.entry((line.received, line.workout, line.gym.as_str())).or_default().push(line);
    }
    together
        .into_iter()
        .map(|((received, workout, gym), lines)| {
            Ok(Sheet { received, workout, gym: gym.to_owned(), csv: csv(&lines)? })
        })
        .collect()
}

pub(super) fn csv(lines: &[&Line]) -> anyhow::Result<String> {
    let mut out = csv::Writer::from_writer(Vec::new());
    let header = [
        "bib",
        "performance",
        "level",
        "performed_at",
        "judge",
        "sheet",
        "gym",
        "attempt",
        "no_reps",
        "video",
        "revise",
    ];
    out.write_record(header)?;
    for line in lines {
        out.write_record([
            line.bib.to_string().as_str(),
            &line.performance,
            if line.lighter { "lighter" } else { "" },
            &line.performed_at.to_string(),
            line.judge.as_deref().unwrap_or_default(),
            if line.judge.is_some() { &line.sheet } else { "" },
            &line.gym,
            &line.attempt.to_string(),
            &line.no_reps.to_string(),
            &line.video,
            if line.revise { "yes" } else { "" },
        ])?;
    }
    Ok(String::from_utf8(out.into_inner()?)?)
}
