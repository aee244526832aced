//! The figures of a line, from a compact text: lower case, no spaces but between digits.

use super::{Main, Piece, Unit};
use crate::rules::quantity::{Clock, Load, LoadUnit, Millis, all_digits, quoted, whole};
use crate::words::Sentence;

/// What may stand behind a time.
const TIME_WORDS: [&str; 9] = ["", "h", "hrs", "min", "mins", "minutes", "s", "sec", "secs"];

/// Reads the main figure.
pub(super) fn main(text: &str) -> Result<Main, Sentence> {
    if text.is_empty() {
        return Err(Sentence::new("performance_empty"));
    }
    if text == "nolift" {
        return Ok(Main::NoLift);
    }
    if text.contains(' ') {
        return Err(Sentence::new("figures_beside").with("text", quoted(text)));
    }
    if let Some(capped) = text.strip_prefix("cap") {
        return cap(capped, text);
    }
    if text.contains('/') {
        return Ok(Main::Row(text.split('/').map(str::to_owned).collect()));
    }
    if text.contains([':', '\'', '"']) {
        let time = text.trim_end_matches(char::is_alphabetic);
        // What is stored as written goes into the log: no word that is not of the figure.
        let known = text.strip_prefix(time).is_some_and(|word| TIME_WORDS.contains(&word));
        return Clock::parse(if known { time } else { text }).map(Main::Time);
    }
    if looks_like_loads(text) {
        return loads(text).map(Main::Loads);
    }
    counts(text)
}

/// `cap 148`, `cap+12`.
fn cap(rest: &str, text: &str) -> Result<Main, Sentence> {
    let (left, rest) = rest.strip_prefix('+').map_or((false, rest), |rest| (true, rest));
    let rest = rest.trim_start_matches([':', '=']);
    let (number, unit) = rest.split_at(rest.find(char::is_alphabetic).unwrap_or(rest.len()));
    if !all_digits(number) || !matches!(unit, "" | "rep" | "reps" | "left" | "done") || (unit == "left") && !left {
        return Err(Sentence::new("cap_unreadable").with("text", quoted(text)));
    }
    let n = whole(number)?;
    Ok(if left { Main::Left(n) } else { Main::Capped(n) })
}

/// Whether any part is a missed lift or bears a unit of load.
fn looks_like_loads(text: &str) -> bool {
    text.split('+').any(|part| missed(part) || LoadUnit::parse(split_number(part).1).is_some())
}

fn missed(part: &str) -> bool {
    let mark = part.strip_suffix("kg").or_else(|| part.strip_suffix("lb")).unwrap_or(part);
    matches!(mark, "x" | "nolift")
}

/// The number a text starts with, and what follows.
fn split_number(text: &str) -> (&str, &str) {
    text.split_at(text.find(|c: char| !c.is_ascii_digit() && c != '.' && c != ',').unwrap_or(text.len()))
}

/// `95+120kg`: a load without unit takes that of the next one that has one.
fn loads(text: &str) -> Result<Vec<Piece>, Sentence> {
    let mut unit = None;
    let mut pieces = Vec::new();
    for part in text.split('+').rev() {
        let (number, after) = split_number(part);
        unit = LoadUnit::parse(after.trim_start_matches('x')).or(unit);
        if missed(part) {
            pieces.push(Piece::Missed);
        } else if !after.is_empty() {
            pieces.push(Piece::Load(Load::parse(part)?));
        } else {
            let unit = unit.ok_or_else(|| Sentence::new("load_needs_unit").with("text", quoted(part)))?;
            pieces.push(Piece::Load(Load::of(number, unit)?));
        }
    }
    pieces.reverse();
    Ok(pieces)
}

/// One of the loads of the object form.
pub(in crate::rules) fn item_load(compact: &str) -> Result<Piece, Sentence> {
    if missed(compact) { Ok(Piece::Missed) } else { Load::parse(compact).map(Piece::Load) }
}

/// `6+14`, `6r14`, `6rds+14reps`, `278`, `278reps`, `57cal`, `1250m`, `9.32`.
fn counts(text: &str) -> Result<Main, Sentence> {
    let unreadable = || Sentence::new("performance_unreadable").with("text", quoted(text));
    let (first, rest) = split_number(text);
    if first.is_empty() {
        return Err(unreadable());
    }
    if rest.is_empty() && !all_digits(first) {
        return Ok(Main::Dotted(first.to_owned()));
    }
    if !all_digits(first) {
        return Err(unreadable());
    }
    let n = whole(first)?;
    let word_end = rest.find(|c: char| !c.is_alphabetic()).unwrap_or(rest.len());
    let (word, rest) = rest.split_at(word_end);
    let rest = rest.trim_start_matches(['.', ',']);
    let rounds = matches!(word, "r" | "rd" | "rds" | "rnd" | "rnds" | "round" | "rounds");
    if rest.is_empty() && !rounds {
        let unit = if word.is_empty() { None } else { Some(Unit::parse(word).ok_or_else(unreadable)?) };
        return Ok(Main::Count { n, unit });
    }
    if word.is_empty()
        && let Some(reps) = rest.strip_prefix('-').filter(|r| all_digits(r))
    {
        return Err(Sentence::new("rounds_dash")
            .with("text", quoted(text))
            .with("rounds", n)
            .with("reps", whole(reps)?));
    }
    if !rounds && !word.is_empty() {
        return Err(unreadable());
    }
    let reps = rest.strip_prefix('+').unwrap_or(rest);
    if reps.is_empty() && rounds && rest.is_empty() {
        return Ok(Main::Rounds { rounds: n, reps: 0, bare: false });
    }
    let (reps, word) = split_number(reps);
    if !all_digits(reps) || !(word.is_empty() || Unit::parse(word) == Some(Unit::Reps)) {
        return Err(unreadable());
    }
    Ok(Main::Rounds { rounds: n, reps: whole(reps)?, bare: !rounds && word.is_empty() })
}

impl Unit {
    fn parse(word: &str) -> Option<Self> {
        match word {
            "rep" | "reps" => Some(Self::Reps),
            "cal" | "cals" | "calorie" | "calories" | "kcal" => Some(Self::Calories),
            "m" | "metre" | "metres" | "meter" | "meters" => Some(Self::Metres),
            _ => None,
        }
    }
}

/// One of several counts, with its unit where it has one.
pub(in crate::rules) fn item_count(compact: &str) -> Result<(u64, Option<Unit>), Sentence> {
    match counts(compact)? {
        Main::Count { n, unit } => Ok((n, unit)),
        _ => Err(Sentence::new("number_not_whole").with("text", quoted(compact))),
    }
}

/// `9.32` or `9,32` as the 9:32 it may be: minutes, then exactly two digits below 60.
pub(in crate::rules) fn dotted_time(compact: &str) -> Option<Clock> {
    let (minutes, seconds) = compact.split_once(['.', ','])?;
    let fits = all_digits(minutes) && minutes != "0" && minutes.len() <= 3 && all_digits(seconds) && seconds.len() == 2;
    fits.then(|| Clock::parse(&format!("{minutes}:{seconds}")).ok()).flatten()
}

/// `932` as the 9:32 it may be, `10410` as 1:04:10.
pub(in crate::rules) fn undotted_time(compact: &str) -> Option<Clock> {
    if !all_digits(compact) || !(3..=6).contains(&compact.len()) {
        return None;
    }
    let (rest, seconds) = compact.split_at(compact.len() - 2);
    let text = if rest.len() > 2 {
        let (hours, minutes) = rest.split_at(rest.len() - 2);
        format!("{hours}:{minutes}:{seconds}")
    } else {
        format!("{rest}:{seconds}")
    };
    // Written without a sign there is no spreadsheet in it.
    Clock::parse(&text).ok().filter(|c| c.time > Millis(0)).map(|c| Clock { before_spreadsheet: None, ..c })
}
