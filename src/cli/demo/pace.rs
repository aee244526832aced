//! The demo's pace model: what somebody of a given speed, staying power and strength would do in
//! each workout. Reps are walked one by one through the stations against the clock, so that ties,
//! caps, partial rounds and tiebreaks come about by themselves.
//!
//! Invented figures, for a demo that looks alive. It says nothing about real people or records.

use super::seeded::Seeded;

/// What somebody can do.
#[derive(Clone, Debug)]
pub(super) struct Ability {
    /// Time for a rep in thousandths of a middling athlete's: lower is quicker.
    pub pace: i64,
    /// How much slower each minute of work makes, in thousandths.
    pub fatigue: i64,
    /// The best clean, in grams.
    pub strength: i64,
}

/// Who somebody is, as far as the model cares.
#[derive(Clone, Copy, Debug)]
pub(super) struct Who {
    /// A woman.
    pub woman: bool,
    /// Full years.
    pub age: u16,
    /// Works with the lighter loads.
    pub lighter: bool,
    /// In a division of those from 50 on.
    pub fifty: bool,
}

impl Ability {
    /// Draws somebody.
    pub(super) fn draw(who: Who, seeded: &mut Seeded) -> Self {
        let years = i64::from(who.age.saturating_sub(32));
        let novice = if who.lighter { 180 } else { 0 };
        let (middle, spread) = if who.woman { (68_000, 11_000) } else { (102_000, 16_000) };
        let pace = 1000 + years * 6 + novice + seeded.bell(130);
        let strength = middle * (1000 - years * 7 - novice * 2) / 1000 + seeded.bell(spread);
        Self {
            pace: pace.clamp(680, 2400),
            fatigue: (38 + seeded.bell(14)).clamp(8, 110),
            strength: strength.clamp(22_000, 180_000),
        }
    }

    /// The same person on another day: a little better or worse.
    pub(super) fn on_another_day(&self, seeded: &mut Seeded) -> Self {
        Self { pace: (self.pace + seeded.within(-45, 25)).max(650), ..self.clone() }
    }
}

/// Reps of one movement, and what one takes a middling athlete when fresh.
struct Work {
    count: u64,
    millis: i64,
}

/// How far somebody came.
struct Walk {
    total: u64,
    /// Total and time at the end of each station.
    stations: Vec<(u64, i64)>,
    /// Total and time at the end of each round.
    rounds: Vec<(u64, i64)>,
    /// When everything was done.
    finished: Option<i64>,
}

/// Walks through the rounds until they end or the cap is reached.
fn walk(rounds: impl Iterator<Item = Vec<Work>>, cap: i64, ability: &Ability, seeded: &mut Seeded) -> Walk {
    let mut walk = Walk { total: 0, stations: Vec::new(), rounds: Vec::new(), finished: None };
    let mut clock = 0;
    for round in rounds {
        for work in round {
            clock += seeded.within(1_500, 5_500) * ability.pace / 1000;
            for _ in 0..work.count {
                let tired = 1000 + ability.fatigue * clock / 60_000;
                clock += work.millis * ability.pace / 1000 * tired / 1000 + seeded.within(-120, 200);
                if clock > cap {
                    return walk;
                }
                walk.total += 1;
            }
            walk.stations.push((walk.total, clock));
        }
        walk.rounds.push((walk.total, clock));
    }
    walk.finished = Some(clock);
    walk
}

/// What one front squat takes more, the nearer its load is to all that somebody can lift.
fn squat(load: i64, ability: &Ability) -> i64 {
    1_500 + 2_600 * load / ability.strength.max(1)
}

/// A time as a judge reads it: cut to the second.
fn clock(millis: i64) -> String {
    let seconds = millis / 1000;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// Workout 1: swings, step-overs and calories, as many rounds as fit into 12 minutes.
fn low_tide(ability: &Ability, seeded: &mut Seeded) -> String {
    let round =
        || vec![Work { count: 16, millis: 1_700 }, Work { count: 12, millis: 2_900 }, Work { count: 8, millis: 3_300 }];
    let walk = walk(std::iter::repeat_with(round), 720_000, ability, seeded);
    let whole = walk.rounds.len();
    let rest = walk.total - walk.rounds.last().map_or(0, |r| r.0);
    match walk.rounds.last() {
        Some((_, at)) => format!("{whole}+{rest} tb {}", clock(*at)),
        None => format!("0+{rest}"),
    }
}

/// Workout 2: 24, 16 and 8 squats and burpees (18, 12 and 6 from 50 on), 8 minutes at most.
fn breakwater(who: Who, lighter: bool, ability: &Ability, seeded: &mut Seeded) -> String {
    let load = match (lighter, who.woman, who.fifty) {
        (true, _, _) => 15_000,
        (_, true, false) => 30_000,
        (_, true, true) => 25_000,
        (_, false, false) => 45_000,
        (_, false, true) => 35_000,
    };
    let squat = squat(load, ability);
    let counts: &[u64] = if who.fifty && !lighter { &[18, 12, 6] } else { &[24, 16, 8] };
    let rounds = counts.iter().map(|&count| vec![Work { count, millis: squat }, Work { count, millis: 3_900 }]);
    let walk = walk(rounds, 480_000, ability, seeded);
    match (walk.finished, walk.stations.last()) {
        (Some(at), _) => clock(at),
        (None, Some((_, at))) => format!("{} reps tb {}", walk.total, clock(*at)),
        (None, None) => format!("{} reps", walk.total),
    }
}

/// Workout 3: the best clean, in the plates of the gym.
fn anchor(pounds: bool, ability: &Ability, seeded: &mut Seeded) -> String {
    if seeded.chance(6) {
        return "no lift".to_owned();
    }
    let best = ability.strength * seeded.within(930, 1010) / 1000;
    if pounds {
        // Steps of 5 lb, 453.59237 g each (NIST SP 811, App. B).
        let lb = best * 1000 / 453_592;
        return format!("{} lb", (lb / 5 * 5).max(35));
    }
    let halves = (best / 500).max(30);
    let step = if seeded.chance(700) { 5 } else { 2 };
    let halves = halves / step * step;
    if halves % 2 == 0 { format!("{} kg", halves / 2) } else { format!("{}.5 kg", halves / 2) }
}

/// Workout 4: calories in four times two minutes.
fn four_bells(who: Who, ability: &Ability, seeded: &mut Seeded) -> String {
    let base = if who.woman { 5_300 } else { 4_300 };
    let bells: Vec<String> = (0..4_i64)
        .map(|bell| {
            let tired = 1000 + ability.fatigue * bell * 2;
            let millis = (base * ability.pace / 1000 * tired / 1000).max(1);
            (120_000 / millis + seeded.within(-1, 1)).max(4).to_string()
        })
        .collect();
    bells.join("/")
}

/// Workout 5: metres in ten minutes, minute by minute.
fn spring_tide(who: Who, ability: &Ability, seeded: &mut Seeded) -> String {
    let base = if who.woman { 258 } else { 229 };
    let metres: i64 = (0..10_i64)
        .map(|minute| {
            let tired = 1000 + ability.fatigue * minute / 3;
            let millis = (base * ability.pace / 1000 * tired / 1000).max(1);
            60_000 / millis + seeded.within(-6, 6)
        })
        .sum();
    format!("{} m", metres.max(100))
}

/// What somebody does in a workout, in writing. `lighter`: with the lighter loads; `pounds`: in a
/// gym with pound plates.
pub(super) fn performance(
    workout: &str,
    who: Who,
    lighter: bool,
    pounds: bool,
    ability: &Ability,
    seeded: &mut Seeded,
) -> String {
    match workout {
        "w1" => low_tide(ability, seeded),
        "w2" => breakwater(who, lighter, ability, seeded),
        "w3" => anchor(pounds, ability, seeded),
        "w4" => four_bells(who, ability, seeded),
        _ => spring_tide(who, ability, seeded),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;

    fn field(workout: &str) -> Vec<String> {
        let who = Who { woman: true, age: 29, lighter: false, fifty: false };
        (0..480)
            .map(|n| {
                let mut seeded = Seeded::of(1, n);
                let ability = Ability::draw(who, &mut seeded);
                performance(workout, who, false, false, &ability, &mut seeded)
            })
            .collect()
    }

    fn shared(figures: &[String]) -> usize {
        let mut seen: HashMap<&str, usize> = HashMap::new();
        for figure in figures {
            *seen.entry(figure.split(" tb").next().unwrap_or_default()).or_default() += 1;
        }
        seen.values().filter(|n| **n > 1).sum()
    }

    #[test]
    fn some_totals_are_shared_and_the_tiebreak_separates_most() {
        let figures = field("w1");
        assert!(shared(&figures) > 100);
        let whole: std::collections::HashSet<&String> = figures.iter().collect();
        assert!(whole.len() > figures.len() * 3 / 4, "{}", whole.len());
    }

    #[test]
    fn some_do_not_finish_under_the_cap_and_some_do() {
        let figures = field("w2");
        let capped = figures.iter().filter(|f| f.contains("reps")).count();
        assert!((15..300).contains(&capped), "{capped} of 480");
    }

    #[test]
    fn loads_are_shared_by_many() {
        assert!(shared(&field("w3")) > 300);
    }
}
