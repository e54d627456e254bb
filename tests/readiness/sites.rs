//! Makes random staffing problems: people and stations on a plane, kit in stocks of 0 to 2, some qualifications.
//!
//! All invented. Chance comes from outside, as a function that gives a number below another, so that tests and
//! measurements can each use their own. Times are milliseconds of walking at 1.2 m/s on a grid of whole metres.

use groundward::readiness::{Choice, Problem};
use groundward::units::Millis;

/// What a random problem is made from.
#[derive(Clone, Debug)]
pub(crate) struct Site {
    pub(crate) people: usize,
    /// The people start from so many usual places, so many of them are alike.
    pub(crate) homes: usize,
    pub(crate) roles: usize,
    pub(crate) stations: usize,
    /// How many kinds of kit the roles bring; the fewer, the more they compete.
    pub(crate) kinds: usize,
    /// One in so many has a qualification.
    pub(crate) one_in: usize,
    /// How many metres wide it is.
    pub(crate) width: usize,
}

impl Site {
    /// A large one: 60 people, 12 roles, 12 stations.
    pub(crate) fn large(below: &mut impl FnMut(usize) -> usize) -> Site {
        Site {
            people: 60,
            homes: [6, 12, 30, 60][below(4)],
            roles: 12,
            stations: 12,
            kinds: 1 + below(6),
            one_in: 2 + below(7),
            width: 200,
        }
    }

    pub(crate) fn problem(&self, below: &mut impl FnMut(usize) -> usize) -> Problem {
        let places = |count: usize, below: &mut dyn FnMut(usize) -> usize| -> Vec<[usize; 2]> {
            let place = |_| [below(self.width), below(self.width)];
            (0..count).map(place).collect()
        };
        let homes = places(self.homes, below);
        let stations = places(self.stations, below);
        let stock = (0..self.kinds * self.stations).map(|_| [0, 1, 2][below(3)]);
        let stock = stock.collect();
        let people: Vec<([usize; 2], [bool; 3])> = (0..self.people)
            .map(|_| {
                (
                    homes[below(homes.len())],
                    [(); 3].map(|()| below(self.one_in) == 0),
                )
            })
            .collect();
        let roles = (0..self.roles).map(|_| {
            let at = places(1, below)[0];
            let qualification = below(3);
            // One role in eight brings nothing.
            let kind = below(self.kinds);
            let kind = (below(8) > 0).then_some(kind);
            let mut choices = Vec::new();
            let able = people
                .iter()
                .enumerate()
                .filter(|(_, it)| it.1[qualification]);
            for (person, (from, _)) in able {
                let choice = |stock: Option<usize>, metres: usize| Choice {
                    person,
                    stock,
                    time: Millis(i64::try_from(metres * 10_000 / 12).expect("a site is small")),
                };
                match kind {
                    None => choices.push(choice(None, apart(*from, at))),
                    Some(kind) => {
                        choices.extend(stations.iter().enumerate().map(|(station, by)| {
                            let way = apart(*from, *by) + apart(*by, at);
                            choice(Some(kind * self.stations + station), way)
                        }))
                    }
                }
            }
            choices
        });
        let roles = roles.collect();
        Problem {
            roles,
            stock,
            keep_free: Some(below(self.people)),
        }
    }
}

fn apart(a: [usize; 2], b: [usize; 2]) -> usize {
    a[0].abs_diff(b[0]) + a[1].abs_diff(b[1])
}
