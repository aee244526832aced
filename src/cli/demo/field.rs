//! The demo's gyms, judges and athletes: invented, seeded, the same every time but for the dates.

use super::names::{self, Names};
use super::pace::{Ability, Who};
use super::seeded::Seeded;
use super::series::Calendar;
use crate::rules::roster::{RawEntry, RawGym, RawJudge};
use jiff::Span;
use jiff::civil::Date;

/// What the sample is drawn from.
pub(super) const SEED: u64 = 0x5EA5_0DE0;

/// The first bib.
const FIRST_BIB: u32 = 1001;

/// The athlete one can sign in as: at the gym one can sign in for.
pub(super) const OWN_BIB: u32 = 1042;
/// The gym one can sign in for.
pub(super) const OWN_GYM: &str = "quayside";
/// The judge one can sign in as.
pub(super) const OWN_JUDGE: &str = "J-0101";

/// Plain divisions: slug, entries of the sample's 2,400, ages drawn from.
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

/// How many there are, and what they are drawn from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Size {
    /// Entries.
    pub athletes: u32,
    /// Gyms under each of the names.
    pub branches: usize,
    /// What everybody is drawn from.
    pub seed: u64,
}

impl Size {
    /// The sample.
    pub(super) const SAMPLE: Self = Self { athletes: 2_400, branches: 1, seed: SEED };

    /// Any number of athletes, about eighty to a gym.
    pub(super) fn of(athletes: u32, seed: u64) -> Self {
        let gyms = usize::try_from(athletes / 80).unwrap_or(usize::MAX);
        Self { athletes, branches: gyms.div_ceil(GYMS.len()).max(1), seed }
    }

    /// Entries of each plain division: in the sample's shares, the first takes what is left over.
    fn divisions(self) -> impl Iterator<Item = (&'static str, u32, (i64, i64))> {
        let share = move |of: u32| {
            let whole = u64::from(self.athletes) * u64::from(of) / u64::from(Self::SAMPLE.athletes);
            u32::try_from(whole).unwrap_or(u32::MAX)
        };
        let over = self.athletes - DIVISIONS.iter().map(|(_, of, _)| share(*of)).sum::<u32>();
        DIVISIONS
            .into_iter()
            .enumerate()
            .map(move |(n, (slug, of, ages))| (slug, share(of) + if n == 0 { over } else { 0 }, ages))
    }
}

/// What the model needs of an athlete.
#[derive(Clone, Debug)]
pub(super) struct Athlete {
    /// Its bib.
    pub bib: u32,
    /// Index of the gym; `None`: trains alone.
    pub gym: Option<usize>,
    /// Whether others may see the name.
    pub shows_name: bool,
    /// For the model.
    pub who: Who,
    /// For the model.
    pub ability: Ability,
    seed: u64,
}

impl Athlete {
    /// The athlete's own luck in a workout.
    pub(super) fn luck(&self, workout: u64) -> Seeded {
        Seeded::of(self.seed.wrapping_add(workout), u64::from(self.bib))
    }
}

/// Everybody.
#[derive(Clone, Debug)]
pub(super) struct Field {
    /// How many there are.
    pub size: Size,
    /// In the order of their numbers.
    pub gyms: Vec<RawGym>,
    /// Four a gym, one of them no longer valid.
    pub judges: Vec<RawJudge>,
    /// By bib.
    pub athletes: Vec<Athlete>,
    age_date: Date,
}

impl Field {
    /// Makes everybody up.
    pub(super) fn draw(calendar: &Calendar, age_date: Date, size: Size) -> Self {
        let gyms = (0..GYMS.len() * size.branches).map(gym).collect();
        let athletes = draws(size, age_date).map(|(athlete, _)| athlete).collect();
        Self { size, gyms, judges: judges(calendar, size), athletes, age_date }
    }

    /// Everybody's entry as it is sent, by bib: drawn again, for a large field need not be held twice.
    pub(super) fn entries(&self) -> impl Iterator<Item = RawEntry> + use<> {
        draws(self.size, self.age_date).map(|(_, entry)| entry)
    }

    /// Slug of the athlete's gym; empty: none.
    pub(super) fn gym_of(&self, athlete: &Athlete) -> &str {
        athlete.gym.map_or("", |gym| &self.gyms[gym].slug)
    }

    /// Codes of the valid judges of a gym.
    pub(super) fn judges_of(&self, gym: usize) -> Vec<&str> {
        let valid = if gym == EXPIRED_AT { JUDGES - 1 } else { JUDGES };
        self.judges[gym * JUDGES..][..valid].iter().map(|j| j.code.as_str()).collect()
    }

    /// Whether a gym has pound plates.
    pub(super) fn pounds(&self, gym: Option<usize>) -> bool {
        gym.is_some_and(|g| self.gyms[g].country == "IE")
    }
}

/// The gym whose last judge's credential has run out.
const EXPIRED_AT: usize = 5;

/// The names in turn; from the second round on with the round's number.
fn gym(index: usize) -> RawGym {
    let (_, name, country, region, zone, _) = place(index);
    let slug = slug(index);
    RawGym {
        email: Some(format!("desk@{slug}.example")),
        slug,
        name: match index / GYMS.len() {
            0 => (*name).to_owned(),
            round => format!("{name} {}", round + 1),
        },
        country: (*country).to_owned(),
        region: Some((*region).to_owned()),
        time_zone: Some((*zone).to_owned()),
        contact: None,
        phone: None,
        emergency: Some("Call 112. The defibrillator hangs beside the front desk.".to_owned()),
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

/// What is said of the gym with this number under its name.
fn place(index: usize) -> &'static Place {
    &GYMS[index % GYMS.len()]
}

fn slug(index: usize) -> String {
    let slug = place(index).0;
    match index / GYMS.len() {
        0 => slug.to_owned(),
        round => format!("{slug}-{}", round + 1),
    }
}

fn judges(calendar: &Calendar, size: Size) -> Vec<RawJudge> {
    let mut judges = Vec::new();
    for (number, gym) in (0..GYMS.len() * size.branches).map(gym).enumerate() {
        for n in 0..JUDGES {
            let code = format!("J-{:04}", 101 + number * 10 + n);
            let mut seeded = Seeded::of(size.seed ^ 0x10D6E, (number * JUDGES + n) as u64);
            let woman = seeded.chance(500);
            let expired = number == EXPIRED_AT && n + 1 == JUDGES;
            let (from, to) = if expired { (-800, -60) } else { (-300, 400) };
            judges.push(RawJudge {
                email: Some(format!("{}@{}.example", code.to_lowercase(), gym.slug)),
                code,
                name: full_name(names::of(&gym.country), woman, &mut seeded),
                gym: Some(gym.slug.clone()),
                valid_from: calendar.day(from).to_string(),
                valid_to: calendar.day(to).to_string(),
            });
        }
    }
    judges
}

/// A gym, the larger ones more often; now and then none.
fn draw_gym(size: Size, seeded: &mut Seeded) -> Option<usize> {
    if seeded.chance(20) {
        return None;
    }
    let all: u32 = GYMS.iter().map(|g| g.5).sum();
    let mut drawn = seeded.below(u64::from(all));
    for (index, place) in GYMS.iter().enumerate() {
        let share = u64::from(place.5);
        if drawn < share {
            // One branch is no draw: the sample stays as it is.
            let round = if size.branches == 1 { 0 } else { seeded.below(size.branches as u64) };
            return Some(index + GYMS.len() * usize::try_from(round).unwrap_or(0));
        }
        drawn -= share;
    }
    None
}

/// Everybody, by bib, one at a time.
fn draws(size: Size, age_date: Date) -> impl Iterator<Item = (Athlete, RawEntry)> {
    let everybody = size.divisions().flat_map(|(slug, count, ages)| (0..count).map(move |_| (slug, ages)));
    (FIRST_BIB..).zip(everybody).map(move |(bib, (division, ages))| draw(size, bib, division, ages, age_date))
}

fn draw(size: Size, bib: u32, division: &str, ages: (i64, i64), age_date: Date) -> (Athlete, RawEntry) {
    let mut seeded = Seeded::of(size.seed, u64::from(bib));
    let own = bib == OWN_BIB;
    let gym = if own { Some(0) } else { draw_gym(size, &mut seeded) };
    let woman = if division == "lighter" { seeded.chance(560) } else { division.starts_with("women") };
    let age = if own { 29 } else { seeded.within(ages.0, ages.1) };
    let born = age_date.saturating_sub(Span::new().years(age).days(seeded.within(0, 360)));
    let country = gym.map_or(*seeded.pick(&["PT", "ES", "IE", "FR", "NL", "DE", "DK", "PL"]), |g| place(g).2);
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
    let entry = RawEntry {
        bib: Some(bib),
        name: if own { "Ines Duarte".to_owned() } else { name },
        born: born.to_string(),
        category: if woman { "women" } else { "men" }.to_owned(),
        division: division.to_owned(),
        gym: gym.map_or(String::new(), slug),
        country: (gym.is_none() || from != country).then(|| from.to_owned()),
        region: None,
        email: own.then(|| "athlete@saltmarsh.example".to_owned()),
        show_name: if age < 18 { None } else { Some(own || !hidden) },
        guardian_consent: (age < 18).then_some(true),
        proposed: false,
    };
    let shows_name = entry.show_name == Some(true);
    let ability = Ability::draw(who, &mut seeded);
    (Athlete { bib, gym, shows_name, who, ability, seed: size.seed }, entry)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn the_field_is_the_same_every_time_and_as_large_as_said() {
        let calendar = Calendar::around("2027-01-20T12:00:00Z".parse().unwrap()).unwrap();
        let draw = || Field::draw(&calendar, date(2027, 1, 15), Size::SAMPLE);
        let field = draw();
        assert_eq!(field.athletes.len(), 2400);
        assert_eq!((field.gyms.len(), field.judges.len()), (20, 80));
        assert!(field.entries().eq(draw().entries()));
        let own = field.entries().find(|e| e.bib == Some(OWN_BIB)).unwrap();
        assert_eq!((own.gym.as_str(), own.division.as_str()), (OWN_GYM, "women"));
    }

    #[test]
    fn a_field_is_as_large_as_asked_for_and_another_seed_gives_other_people() {
        let calendar = Calendar::around("2027-01-20T12:00:00Z".parse().unwrap()).unwrap();
        let field = |size| Field::draw(&calendar, date(2027, 1, 15), size);
        let large = field(Size::of(10_007, 1));
        assert_eq!((large.athletes.len(), large.gyms.len(), large.judges.len()), (10_007, 140, 560));
        let slugs: std::collections::HashSet<&str> = large.gyms.iter().map(|g| g.slug.as_str()).collect();
        assert_eq!(slugs.len(), 140);
        assert_eq!(large.judges_of(139), ["J-1491", "J-1492", "J-1493", "J-1494"]);
        let in_gyms = large.athletes.iter().zip(large.entries()).all(|(a, e)| large.gym_of(a) == e.gym);
        assert!(in_gyms && large.entries().all(|e| e.gym.is_empty() || slugs.contains(e.gym.as_str())));
        let bibs: Vec<u32> = large.entries().filter_map(|e| e.bib).collect();
        assert!(bibs.is_sorted() && bibs.len() == 10_007);
        assert!(!large.entries().eq(field(Size::of(10_007, 2)).entries()));
    }
}
