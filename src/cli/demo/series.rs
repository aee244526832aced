//! The demo's competition file with its dates: two weekends behind us, one workout running, one
//! that nobody has been told of yet.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

/// The workouts, in order.
pub(super) const WORKOUTS: [&str; 5] = ["w1", "w2", "w3", "w4", "w5"];

/// The competition's address.
pub(super) const SLUG: &str = "saltmarsh";
const ZONE: &str = "Europe/Lisbon";
const TEXT: &str = include_str!("series.toml");
/// A load of the file, and what stood there first.
const RIGHT: &str = "kg = 20, lb = 44";
const SLIP: &str = "kg = 24, lb = 53";
/// What the organiser said to it.
pub(super) const WHY: &str = "Typed wrong: the bell of this division is 20 kg. Nobody had started yet.";

/// A workout's window in days from today; it opens at 19:00 and closes at 21:00 local time, hours
/// that no change of the clocks touches.
#[derive(Clone, Copy)]
struct Days {
    opens: i32,
    closes: i32,
}

const W1: Days = Days { opens: -24, closes: -19 };
const W2: Days = Days { opens: -12, closes: -7 };
const W4: Days = Days { opens: -3, closes: 2 };
const W5: Days = Days { opens: 5, closes: 10 };

/// The calendar around one day.
#[derive(Clone, Debug)]
pub(super) struct Calendar {
    /// The competition's zone.
    pub zone: TimeZone,
    /// The day the demo is started on, there.
    pub today: Date,
    /// By how many days all is moved, for another workout than the fourth to be the running one.
    shift: i32,
}

impl Calendar {
    /// The calendar around `now`.
    pub(super) fn around(now: Timestamp) -> anyhow::Result<Self> {
        let zone = TimeZone::get(ZONE)?;
        Ok(Self { today: zone.to_datetime(now).date(), zone, shift: 0 })
    }

    /// The same, moved so that the last of the first `workouts` closes tomorrow.
    pub(super) fn with_running(mut self, workouts: usize) -> Self {
        let (_, closes) = self.window(WORKOUTS.iter().take(workouts).next_back().unwrap_or(&WORKOUTS[0]));
        self.shift += 1 - closes;
        self
    }

    /// When all begins: a week before the first workout opens.
    pub(super) fn beginning(&self) -> anyhow::Result<Timestamp> {
        self.at(self.window(WORKOUTS[0]).0 - 7, 9, 0)
    }

    /// The day `days` from today.
    pub(super) fn day(&self, days: i32) -> Date {
        self.today.saturating_add(Span::new().days(days))
    }

    /// An instant: `days` from today at `hour`:`minute` of the competition's clock.
    pub(super) fn at(&self, days: i32, hour: i8, minute: i8) -> anyhow::Result<Timestamp> {
        let local = self.local(days, hour, minute)?;
        Ok(self.zone.to_ambiguous_timestamp(local).compatible()?)
    }

    fn local(&self, days: i32, hour: i8, minute: i8) -> anyhow::Result<DateTime> {
        Ok(DateTime::from_parts(self.day(days), Time::new(hour, minute, 0, 0)?))
    }

    /// Days from today on which workout `slug` opens and closes.
    pub(super) fn window(&self, slug: &str) -> (i32, i32) {
        let days = match slug {
            "w1" => W1,
            "w2" | "w3" => W2,
            "w4" => W4,
            _ => W5,
        };
        (days.opens + self.shift, days.closes + self.shift)
    }

    /// The competition file as it was first published, with a slip that was put right within the hour.
    pub(super) fn first_file(&self) -> anyhow::Result<String> {
        Ok(self.file()?.replacen(RIGHT, SLIP, 1))
    }

    /// The competition file.
    pub(super) fn file(&self) -> anyhow::Result<String> {
        let mut text = TEXT.replace("{age_date}", &self.day(self.window(WORKOUTS[0]).0).to_string());
        for name in WORKOUTS {
            let (opens, closes) = self.window(name);
            let moments = [("announce", opens, 18), ("opens", opens, 19), ("closes", closes, 21)];
            for (key, day, hour) in moments {
                let local = self.local(day, hour, 0)?;
                text = text.replace(&format!("{{{name}_{key}}}"), &local.strftime("%Y-%m-%dT%H:%M").to_string());
            }
        }
        Ok(text)
    }
}
