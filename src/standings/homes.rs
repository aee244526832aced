//! Where everybody of a whole division is at home, so that the rows of a gym or a country are found.

use super::block::{Facts, Name};
use std::sync::OnceLock;

/// Where somebody is at home.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) struct Home {
    pub(super) gym: Option<Name>,
    pub(super) region: Name,
    pub(super) country: Name,
}

impl Home {
    pub(super) fn of(facts: &Facts) -> Self {
        Self { gym: facts.gym, region: facts.region, country: facts.country }
    }
}

/// The home of each row.
pub(super) struct Homes {
    all: Vec<Home>,
    by_gym: OnceLock<ByGym>,
}

/// Rows by their gym's number: those of one from where it starts to where the next one does.
struct ByGym {
    starts: Vec<u32>,
    rows: Vec<u32>,
}

impl Homes {
    pub(super) fn new(all: Vec<Home>) -> Self {
        Self { all, by_gym: OnceLock::new() }
    }

    /// That of one row.
    pub(super) fn of(&self, row: usize) -> Home {
        self.all[row]
    }

    /// Those of all rows.
    pub(super) fn iter(&self) -> impl Iterator<Item = Home> {
        self.all.iter().copied()
    }

    /// The rows of a gym, in ascending order. A gym has few of them, so they are not looked for among all.
    pub(super) fn of_gym(&self, gym: Name) -> &[u32] {
        let ByGym { starts, rows } = self.by_gym.get_or_init(|| ByGym::of(&self.all));
        let gym = gym.number();
        match (starts.get(gym), starts.get(gym + 1)) {
            (Some(from), Some(to)) => &rows[*from as usize..*to as usize],
            _ => &[],
        }
    }

    /// The bytes it takes.
    pub(super) fn bytes(&self) -> usize {
        let by_gym = self.by_gym.get().map_or(0, |by| (by.starts.capacity() + by.rows.capacity()) * 4);
        self.all.capacity() * size_of::<Home>() + by_gym
    }
}

impl ByGym {
    fn of(homes: &[Home]) -> Self {
        let gyms = || homes.iter().map(|home| home.gym.map(Name::number));
        let mut starts = vec![0; gyms().flatten().max().map_or(0, |most| most + 2)];
        gyms().flatten().for_each(|gym| starts[gym + 1] += 1);
        let mut sum = 0;
        for start in &mut starts {
            sum += *start;
            *start = sum;
        }
        let (mut next, mut rows) = (starts.clone(), vec![0; sum as usize]);
        for (row, gym) in (0..).zip(gyms()) {
            if let Some(gym) = gym {
                rows[next[gym] as usize] = row;
                next[gym] += 1;
            }
        }
        Self { starts, rows }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rows_of_a_gym_are_those_that_are_at_home_there() {
        let name = |n| Name::new(n).expect("a number");
        let home =
            |gym: usize| Home { gym: Some(gym).filter(|gym| *gym > 0).map(name), region: name(1), country: name(1) };
        let homes = Homes::new([7, 0, 3, 7, 9, 0, 3, 7].map(home).to_vec());
        for (gym, rows) in [(7, &[0, 3, 7][..]), (3, &[2, 6]), (9, &[4]), (1, &[]), (8, &[]), (10, &[]), (4_000, &[])] {
            assert_eq!(homes.of_gym(name(gym)), rows, "gym {gym}");
        }
        assert_eq!(Homes::new(Vec::new()).of_gym(name(1)), &[] as &[u32]);
    }
}
