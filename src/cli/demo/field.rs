//! The demo's gyms, judges and athletes: invented, seeded, the same every time but for the dates.

use super::names::{self, Names};
use super::pace::{Ability, Who};
use super::seeded::Seeded;
use super::series::Calendar;
use crate::rules::roster::{RawEntry, RawGym, RawJudge};
use jiff::Span;
use jiff::civil::Date;

const SEED: u64 = 0x5EA5_0DE0;

/// The first bib.
const FIRST_BIB: u32 = 1001;

/// The athlete one can sign in as: at the gym one can sign in for.
pub(super) const OWN_BIB: u32 = 1042;
/// The gym one can sign in for.
pub(super) const OWN_GYM: &str = "quayside";
/// The judge one can sign in as.
pub(super) const OWN_JUDGE: &str = "J-0101";

/// Plain divisions: slug, entries, ages drawn from.
const DIVISIONS: [(&str, u32, (i64, i64)); 7] = [
    ("women", 480, (18, 34)),
    ("men", 620, (18, 34)),
    ("women-35", 300, (35, 49)),
    ("men-35", 400, (35, 49)),
    ("women-50", 130, (50, 68)),
    ("men-50", 170, (50, 70)),
    ("lighter", 300, (14, 66)),
];

/// A gym: slug, name, country, region, zone, how many of 1,000 athletes.
type Place = (&'static str, &'static str, &'static str, &'static str, &'static str, u32);

const GYMS: [Place; 20] = [
    ("quayside", "Quayside Barbell Room", "PT", "Norte", "Europe/Lisbon", 75),
    ("ropewalk", "The Ropewalk", "PT", "Centro", "Europe/Lisbon", 60),
    ("saltpan", "Salt Pan Strength", "PT", "Algarve", "Europe/Lisbon", 45),
    ("lighthouse", "Lighthouse Yard", "PT", "Lisboa", "Europe/Lisbon", 70),
    ("estuary", "Estuary Hall", "ES", "Galicia", "Europe/Madrid", 60),
    ("dry-dock", "Dry Dock Training", "ES", "Asturias", "Europe/Madrid", 45),
    ("windlass", "Windlass Club", "ES", "Euskadi", "Europe/Madrid", 50),
    ("sluice", "Sluice House", "ES", "Murcia", "Europe/Madrid", 30),
    ("slipway", "Slipway Nine", "IE", "Munster", "Europe/Dublin", 60),
    ("peat-shed", "The Peat Shed", "IE", "Connacht", "Europe/Dublin", 35),
    ("millrace", "Millrace Gym", "IE", "Leinster", "Europe/Dublin", 50),
    ("bollard", "Salle du Bollard", "FR", "Bretagne", "Europe/Paris", 55),
    ("oyster-park", "Oyster Park", "FR", "Nouvelle-Aquitaine", "Europe/Paris", 40),
    ("tide-gauge", "Tide Gauge Athletics", "FR", "Normandie", "Europe/Paris", 35),
    ("polder", "Polder Kracht", "NL", "Zeeland", "Europe/Amsterdam", 60),
    ("windpump", "The Wind Pump", "NL", "Friesland", "Europe/Amsterdam", 45),
    ("groyne", "Groyne Street", "DE", "Schleswig-Holstein", "Europe/Berlin", 55),
    ("warft", "Warft Werkhalle", "DE", "Niedersachsen", "Europe/Berlin", 40),
    ("gangway", "Gangway Hal 4", "DK", "Syddanmark", "Europe/Copenhagen", 45),
    ("amber-shore", "Amber Shore", "PL", "Pomorskie", "Europe/Warsaw", 45),
];

/// Judges a gym has.
const JUDGES: usize = 4;

/// An athlete with what the model needs.
#[derive(Clone, Debug)]
pub(super) struct Athlete {
    /// As sent.
    pub entry: RawEntry,
    /// Its bib.
    pub bib: u32,
    /// Index of the gym; `None`: trains alone.
    pub gym: Option<usize>,
    /// For the model.
    pub who: Who,
    /// For the model.
    pub ability: Ability,
}

impl Athlete {
    /// The athlete's own luck in a workout.
    pub(super) fn luck(&self, workout: u64) -> Seeded {
        Seeded::of(SEED.wrapping_add(workout), u64::from(self.bib))
    }
}

/// Everybody.
#[derive(Clone, Debug)]
pub(super) struct Field {
    /// In the order of their numbers.
    pub gyms: Vec<RawGym>,
    /// Four a gym, one of them no longer valid.
    pub judges: Vec<RawJudge>,
    /// By bib.
    pub athletes: Vec<Athlete>,
}

impl Field {
    /// Makes everybody up.
    pub(super) fn draw(calendar: &Calendar, age_date: Date) -> Self {
        Self { gyms: GYMS.iter().map(gym).collect(), judges: judges(calendar), athletes: athletes(age_date) }
    }

    /// Codes of the valid judges of a gym.
    pub(super) fn judges_of(&self, gym: usize) -> Vec<&str> {
        let slug = &self.gyms[gym].slug;
        let codes = self.judges.iter().filter(|j| &j.gym == slug).map(|j| j.code.as_str());
        if gym == EXPIRED_AT { codes.take(JUDGES - 1).collect() } else { codes.collect() }
    }

    /// Whether a gym has pound plates.
    pub(super) fn pounds(&self, gym: Option<usize>) -> bool {
        gym.is_some_and(|g| self.gyms[g].country == "IE")
    }
}

/// The gym whose last judge's credential has run out.
const EXPIRED_AT: usize = 5;

fn gym((slug, name, country, region, zone, _): &Place) -> RawGym {
    RawGym {
        slug: (*slug).to_owned(),
        name: (*name).to_owned(),
        country: (*country).to_owned(),
        region: (*region).to_owned(),
        time_zone: (*zone).to_owned(),
        contact: String::new(),
        email: format!("desk@{slug}.example"),
        phone: String::new(),
        emergency: "Call 112. The defibrillator hangs beside the front desk.".to_owned(),
    }
}

fn full_name(names: &Names, woman: bool, seeded: &mut Seeded) -> String {
    let given = seeded.pick(if woman { names.women } else { names.men });
    let family = seeded.pick(names.families);
    if ["PT", "ES"].contains(&names.country) && seeded.chance(350) {
        return format!("{given} {family} {}", seeded.pick(names.families));
    }
    format!("{given} {family}")
}

fn judges(calendar: &Calendar) -> Vec<RawJudge> {
    let mut judges = Vec::new();
    for (number, place) in GYMS.iter().enumerate() {
        for n in 0..JUDGES {
            let code = format!("J-{:04}", 101 + number * 10 + n);
            let mut seeded = Seeded::of(SEED ^ 0x10D6E, (number * JUDGES + n) as u64);
            let woman = seeded.chance(500);
            let expired = number == EXPIRED_AT && n + 1 == JUDGES;
            let (from, to) = if expired { (-800, -60) } else { (-300, 400) };
            judges.push(RawJudge {
                email: format!("{}@{}.example", code.to_lowercase(), place.0),
                code,
                name: full_name(names::of(place.2), woman, &mut seeded),
                gym: place.0.to_owned(),
                valid_from: calendar.day(from).to_string(),
                valid_to: calendar.day(to).to_string(),
            });
        }
    }
    judges
}

/// A gym, the larger ones more often; now and then none.
fn draw_gym(seeded: &mut Seeded) -> Option<usize> {
    if seeded.chance(20) {
        return None;
    }
    let all: u32 = GYMS.iter().map(|g| g.5).sum();
    let mut drawn = seeded.below(u64::from(all));
    for (index, place) in GYMS.iter().enumerate() {
        let size = u64::from(place.5);
        if drawn < size {
            return Some(index);
        }
        drawn -= size;
    }
    None
}

fn athletes(age_date: Date) -> Vec<Athlete> {
    let mut athletes = Vec::new();
    let mut bib = FIRST_BIB;
    for (division, count, ages) in DIVISIONS {
        for _ in 0..count {
            athletes.push(athlete(bib, division, ages, age_date));
            bib += 1;
        }
    }
    athletes
}

fn athlete(bib: u32, division: &str, ages: (i64, i64), age_date: Date) -> Athlete {
    let mut seeded = Seeded::of(SEED, u64::from(bib));
    let own = bib == OWN_BIB;
    let gym = if own { Some(0) } else { draw_gym(&mut seeded) };
    let woman = if division == "lighter" { seeded.chance(560) } else { division.starts_with("women") };
    let age = if own { 29 } else { seeded.within(ages.0, ages.1) };
    let born = age_date.saturating_sub(Span::new().years(age).days(seeded.within(0, 360)));
    let country = gym.map_or(*seeded.pick(&["PT", "ES", "IE", "FR", "NL", "DE", "DK", "PL"]), |g| GYMS[g].2);
    // One in twelve comes from somewhere else than the gym.
    let from =
        if seeded.chance(80) { *seeded.pick(&["PT", "ES", "IE", "FR", "NL", "DE", "DK", "PL"]) } else { country };
    let name = full_name(names::of(from), woman, &mut seeded);
    let hidden = seeded.chance(30);
    let who = Who {
        woman,
        age: u16::try_from(age).unwrap_or(30),
        lighter: division == "lighter",
        fifty: division.ends_with("50"),
    };
    Athlete {
        bib,
        gym,
        who,
        ability: Ability::draw(who, &mut seeded),
        entry: RawEntry {
            bib: Some(bib),
            name: if own { "Ines Duarte".to_owned() } else { name },
            born: born.to_string(),
            category: if woman { "women" } else { "men" }.to_owned(),
            division: division.to_owned(),
            gym: gym.map_or(String::new(), |g| GYMS[g].0.to_owned()),
            country: if gym.is_none() || from != country { from.to_owned() } else { String::new() },
            region: String::new(),
            email: if own { "athlete@saltmarsh.example".to_owned() } else { String::new() },
            show_name: if age < 18 { None } else { Some(own || !hidden) },
            guardian_consent: (age < 18).then_some(true),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn the_field_is_the_same_every_time_and_as_large_as_said() {
        let calendar = Calendar::around("2027-01-20T12:00:00Z".parse().unwrap()).unwrap();
        let draw = || Field::draw(&calendar, date(2027, 1, 15));
        let field = draw();
        assert_eq!(field.athletes.len(), 2400);
        assert_eq!((field.gyms.len(), field.judges.len()), (20, 80));
        let again = draw();
        assert!(field.athletes.iter().zip(&again.athletes).all(|(a, b)| a.entry == b.entry));
        let own = field.athletes.iter().find(|a| a.bib == OWN_BIB).unwrap();
        assert_eq!((own.entry.gym.as_str(), own.entry.division.as_str()), (OWN_GYM, "women"));
    }
}
