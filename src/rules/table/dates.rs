//! Dates and times as people and spreadsheets write them in a file.

use crate::rules::competition::clip;
use crate::rules::window::{self, Window, read_date};
use crate::words::{Sentence, Value};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// How dates like `03/04/1991` are read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DateOrder {
    /// They are asked about, both readings shown (default).
    #[default]
    Ask,
    /// Day, month, year.
    DayFirst,
    /// Month, day, year.
    MonthFirst,
}

/// English month names; three letters are enough.
const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

/// Reads a date: `1991-04-03` (a midnight that a spreadsheet added is dropped), `3 April 1991`,
/// `25/3/1991`, `3.4.1991` (dots: day first, common practice). Where day and month could be
/// swapped, both readings are shown unless `order` says which; day numbers of a spreadsheet and
/// years of two digits are refused with what to write.
///
/// ```
/// use tallywright::rules::table::dates::{DateOrder, read};
/// assert!(read("03/04/1991", DateOrder::Ask).is_err());
/// assert_eq!(read("03/04/1991", DateOrder::DayFirst).unwrap().to_string(), "1991-04-03");
/// assert_eq!(read("25/03/1991", DateOrder::Ask).unwrap().to_string(), "1991-03-25");
/// ```
pub fn read(text: &str, order: DateOrder) -> Result<Date, Sentence> {
    let text = without_midnight(text.trim());
    if let Some(date) = read_date(text) {
        return Ok(date);
    }
    let unreadable = || Sentence::new("date_unreadable").with("text", clip(text));
    if let Some(date) = day_number(text) {
        return Err(Sentence::new("date_day_number").with("text", text).with("date", date));
    }
    let parts: Vec<&str> =
        text.split(['/', '.', '-', ' ', ',']).map(str::trim).filter(|part| !part.is_empty()).collect();
    let [a, b, c] = parts.as_slice() else {
        return Err(unreadable());
    };
    if a.len() == 4 {
        return numbers(a, b, c).and_then(|(y, m, d)| date(y, m, d)).ok_or_else(unreadable);
    }
    if c.len() != 4 {
        let short = c.len() == 2 && c.bytes().all(|b| b.is_ascii_digit());
        return Err(if short { Sentence::new("date_short_year").with("text", clip(text)) } else { unreadable() });
    }
    if let Some(date) = with_month_name(a, b, c) {
        return Ok(date);
    }
    let (first, second, year) = numbers(a, b, c).ok_or_else(unreadable)?;
    let (day_first, month_first) = (date(year, second, first), date(year, first, second));
    match (day_first, month_first, order) {
        (Some(day_first), _, _) if text.contains('.') => Ok(day_first),
        (Some(date), Some(other), _) if date == other => Ok(date),
        (Some(date), None, _)
        | (None, Some(date), _)
        | (Some(date), _, DateOrder::DayFirst)
        | (_, Some(date), DateOrder::MonthFirst) => Ok(date),
        (Some(a), Some(b), DateOrder::Ask) => Err(Sentence::new("date_two_readings")
            .with("text", clip(text))
            .with_value("day_first", Value::Day(a))
            .with_value("month_first", Value::Day(b))
            .with("date", a)),
        _ => Err(unreadable()),
    }
}

/// `1991-04-03 00:00:00`, `1991-04-03T00:00`: the date before it.
fn without_midnight(text: &str) -> &str {
    let midnight = |time: &str| !time.is_empty() && time.chars().all(|c| matches!(c, '0' | ':' | '.'));
    match text.split_once([' ', 'T']) {
        Some((date, time)) if date.len() >= 8 && time.contains(':') && midnight(time.trim()) => date,
        _ => text,
    }
}

/// A spreadsheet's day number (days since 1899-12-30), within a human lifetime.
fn day_number(text: &str) -> Option<Date> {
    let days: i64 = text.split_once(['.', ',']).map_or(text, |(days, _)| days).parse().ok()?;
    if !(3_650..80_000).contains(&days) || text.contains(['-', '/', ' ']) || text.matches(['.', ',']).count() > 1 {
        return None;
    }
    jiff::civil::date(1899, 12, 30).checked_add(days.days()).ok()
}

fn numbers(a: &str, b: &str, c: &str) -> Option<(i16, i16, i16)> {
    let number = |text: &str| text.bytes().all(|b| b.is_ascii_digit()).then(|| text.parse().ok())?;
    Some((number(a)?, number(b)?, number(c)?))
}

fn date(year: i16, month: i16, day: i16) -> Option<Date> {
    read_date(&format!("{year:04}-{month:02}-{day:02}"))
}

/// `3 April 1991`, `Apr 3, 1991`.
fn with_month_name(a: &str, b: &str, c: &str) -> Option<Date> {
    let month = |text: &str| {
        let text = text.to_lowercase();
        let at = MONTHS.iter().position(|m| text.len() >= 3 && m.starts_with(&text))?;
        i16::try_from(at + 1).ok()
    };
    let (month, day) = match (month(a), month(b)) {
        (Some(m), None) => (m, b),
        (None, Some(m)) => (m, a),
        _ => return None,
    };
    date(c.parse().ok()?, month, day.parse().ok()?)
}

/// When a row was performed: an instant with offset, a local date-time, a date (noon, moved into
/// the window and before receipt on that day), or a time (the last one before receipt). Blank:
/// `None`.
pub fn performed_at(
    text: &str,
    zone: &TimeZone,
    received: Timestamp,
    window: &Window,
    order: DateOrder,
) -> Result<Option<Timestamp>, Sentence> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    if let Some(time) = clock(text) {
        return last_before(&time, zone, received).map(Some);
    }
    let (day, time) = match text.split_once(['T', 't']).filter(|(day, _)| day.ends_with(|c: char| c.is_ascii_digit())) {
        Some(split) => split,
        None => match text.rsplit_once(' ').filter(|(_, time)| time.contains(':')) {
            Some(split) => split,
            None => (text, ""),
        },
    };
    let day = read(day, order)?;
    if time.is_empty() {
        return on_day(day, zone, received, window).map(Some);
    }
    let unreadable = || Sentence::new("instant_unreadable").with("text", clip(text));
    let cut = time.find(['+', '-', 'Z', 'z']).unwrap_or(time.len());
    let clock_part = time.get(..cut).and_then(clock).ok_or_else(unreadable)?;
    let offset = time.get(cut..).unwrap_or("");
    window::instant(&format!("{day}T{clock_part}{offset}"), zone).map(Some)
}

/// `9:40`, `09:40:12` → two digits each.
fn clock(text: &str) -> Option<String> {
    let parts: Vec<&str> = text.trim().split(':').collect();
    let fits = |part: &&str| (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
    if !(2..=3).contains(&parts.len()) || !parts.iter().all(fits) {
        return None;
    }
    Some(parts.iter().map(|part| format!("{part:0>2}")).collect::<Vec<_>>().join(":"))
}

/// The last time the clock showed this, up to a few minutes after receipt.
fn last_before(clock: &str, zone: &TimeZone, received: Timestamp) -> Result<Timestamp, Sentence> {
    let latest = received.checked_add(SignedDuration::from_mins(5)).unwrap_or(received);
    let today = zone.to_datetime(latest).date();
    let at = window::instant(&format!("{today}T{clock}"), zone)?;
    if at <= latest {
        return Ok(at);
    }
    let yesterday = today.yesterday().unwrap_or(today);
    window::instant(&format!("{yesterday}T{clock}"), zone)
}

/// Noon of a day, or as near to it as the window and the receipt allow on that day.
fn on_day(day: Date, zone: &TimeZone, received: Timestamp, window: &Window) -> Result<Timestamp, Sentence> {
    let noon = window::instant(&format!("{day}T12:00"), zone)?;
    let before_close = window.closes.checked_sub(SignedDuration::from_secs(1)).unwrap_or(window.closes);
    let fitted = noon.max(window.opens).min(before_close).min(received);
    Ok(if zone.to_datetime(fitted).date() == day { fitted } else { noon })
}
