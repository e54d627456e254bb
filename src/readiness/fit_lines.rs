//! Judges what has to be long enough: ropes, ladders and lifts, and what hangs on height: descents and hauling.
//!
//! A rope or ladder that ends above the casualty helps nobody, so each is compared with where the casualty hangs. Where a
//! height can be read in two ways, only what is too short in both is ruled out. Limits: straight lines; what a knot, an
//! edge or a bend takes is not counted, which is why what is just long enough comes out as a caution.

use super::fit::{Fitting, Outcome, Rule, Unfit, Verdict};
use super::fit_loads::Party;
use super::fit_rows::{About, ROUNDING, between, in_unit, published_in};
use crate::plan::{DescentClass, KitItem, Method, Role};
use crate::units::{Grams, Millimetres, Millis, Newtons, Ratio, Speed};

const MECHANICS: &str = "mechanics";
const LADDER: &str = "29 CFR 1926.1053(b)(1), (b)(5)(i), from memory";
const HANGING: &str = "geometry";
const MAKER: &str = "the maker's figure in the plan";
const ENERGY: &str = "EN 341 classes; the formula from memory";
const DESCENT: &str = "EN 341, from memory";
const ROPE_DESCENT: &str = "29 CFR 1910.27(b)(2)(i)";
const PULL: &str = "mechanics; the limit is a judgement";

/// What kinds of ladders have in their names, in the languages of the program.
const LADDERS: [&str; 2] = ["ladder", "escalera"];

/// True for a ladder, standing or hanging; ropes and lines have a length too.
pub(super) fn is_ladder(item: &KitItem) -> bool {
    let kind = item.kind.to_lowercase();
    LADDERS.iter().any(|it| kind.contains(it))
}

/// Weight at standard gravity, 9.80665 m/s2.
pub fn weight(mass: Grams) -> Newtons {
    Newtons(rounded(i128::from(mass.0) * 980_665, 100_000_000))
}

/// Energy of descents, in joules: mass, standard gravity, height and number.
pub fn descent_energy(mass: Grams, height: Millimetres, descents: u32) -> i64 {
    let product = i128::from(mass.0) * i128::from(height.0);
    let product = product.saturating_mul(i128::from(descents));
    rounded(product.saturating_mul(980_665), 100_000_000_000)
}

/// Energy that a class of descenders takes, in joules; class D is one descent, without a figure.
pub fn class_energy(class: DescentClass) -> Option<i64> {
    match class {
        DescentClass::A => Some(7_500_000),
        DescentClass::B => Some(1_500_000),
        DescentClass::C => Some(500_000),
        DescentClass::D => None,
    }
}

/// How high a ladder stands when its foot is out one part for every `slope` parts of its length.
pub fn ladder_height(length: Millimetres, slope: Ratio) -> Millimetres {
    let length_mm = i128::from(length.0.max(0));
    let foot_mm = length_mm * 1_000_000 / i128::from(slope.0.max(1));
    let square = (length_mm * length_mm - foot_mm.saturating_mul(foot_mm)).max(0);
    Millimetres(i64::try_from(square.isqrt()).unwrap_or(i64::MAX))
}

/// What a haul really multiplies by: each pulley passes on its share of what the one before it did, 1 + e + e^2 for 3 to 1.
///
/// Above 5 to 1 it is taken as simple hauls one on the other, 9 to 1 as 3 to 1 twice; where that does not come out, and
/// for what is no whole number, nobody can say.
pub fn advantage(ideal: Ratio, efficiency: Ratio) -> Option<Ratio> {
    const SIMPLE_MAX: i64 = 5;
    let mut left = (ideal.0 % 1_000_000 == 0).then_some(ideal.0 / 1_000_000)?;
    let mut parts = Vec::new();
    while left > SIMPLE_MAX {
        let part = (2..=SIMPLE_MAX).rev().find(|part| left % part == 0)?;
        parts.push(part);
        left /= part;
    }
    parts.push(left);
    if left < 1 || efficiency.0 <= 0 {
        return None;
    }
    // Thousand-millionths of a millionth, so that rounding stays below what is shown.
    const ONE: i128 = 1_000_000_000_000;
    let simple = |ropes: i64| {
        let mut share = ONE;
        (0..ropes).fold(0, |sum, _| {
            let with = sum + share;
            share = share * i128::from(efficiency.0) / 1_000_000;
            with
        })
    };
    let product = parts
        .into_iter()
        .fold(ONE, |product, part| product * simple(part) / ONE);
    Some(Ratio(rounded(product, 1_000_000)))
}

/// The pull that holds a mass on a haul of this real advantage.
pub fn haul_pull(mass: Grams, advantage: Ratio) -> Newtons {
    let dividend = i128::from(mass.0) * 980_665 * 10_000;
    Newtons(rounded(
        dividend,
        i128::from(advantage.0.max(1)) * 1_000_000,
    ))
}

fn rounded(dividend: i128, divisor: i128) -> i64 {
    i64::try_from(dividend.saturating_add(divisor / 2) / divisor).unwrap_or(i64::MAX)
}

fn times(length: Millimetres, factor: Ratio) -> Millimetres {
    let product = i128::from(length.0) * i128::from(factor.0);
    Millimetres(rounded(product, 1_000_000))
}

/// What there is against what there must be, in one reading of the heights.
struct Need {
    has: Millimetres,
    /// Below this it cannot work.
    least: Millimetres,
    /// Below this somebody should look at it.
    good: Millimetres,
}

impl Need {
    fn lacks(&self, needed: Millimetres) -> bool {
        self.has.saturating_add(ROUNDING) < needed
    }
}

impl Fitting<'_> {
    /// Everything about a piece that has to do with length and height.
    pub(super) fn lines(
        &self,
        method: &Method,
        role: &Role,
        item: &KitItem,
        party: &Party,
        about: &About<'_>,
    ) -> Vec<Verdict> {
        let mut verdicts = Vec::new();
        if let Some(reach) = item.reach {
            verdicts.push(self.lift(role, item, reach, about));
            verdicts.extend(self.outreach(item, about));
        } else if let Some(length) = item.length {
            verdicts.push(match (is_ladder(item), method.lowers) {
                (true, _) => self.ladder(role, item, length, about),
                (false, true) => self.lowering(role, item, length, about),
                (false, false) => self.hauling(role, item, length, about),
            });
        }
        if method.lowers
            && let Some(class) = item.descent_class
        {
            verdicts.push(self.energy(item, class, party, about));
            verdicts.extend(self.descent_time(about));
        }
        verdicts.extend(self.pull(method, role, item, party, about));
        verdicts
    }

    fn length(&self, length: Millimetres) -> String {
        in_unit(length, if self.imperial { "ft" } else { "m" }, 2)
    }

    /// A verdict from all readings: it cannot work where it fails in each, and is to be looked at where in one.
    fn reaches(
        &self,
        rule: Rule,
        source: &'static str,
        needs: &[Need],
        about: &About<'_>,
        unfit: impl Fn(&Need) -> Unfit,
    ) -> Verdict {
        let Some(first) = needs.first() else {
            let unknown = ["".to_owned(), "height not said".to_owned(), "".to_owned()];
            return about.verdict(rule, source, unknown, Ok(Outcome::NotSaid));
        };
        // The plan's height is always one above what is below, so lowering onto that can be judged whatever it contradicts.
        let certain = rule == Rule::LoweringRope || !self.hang().doubted;
        let never = needs.iter().all(|it| it.lacks(it.least));
        let (shown, limit, outcome) = if never && certain {
            (first, first.least, Err(unfit(first)))
        } else if let Some(short) = needs.iter().find(|it| it.lacks(it.least)) {
            (short, short.least, Ok(Outcome::Caution))
        } else if let Some(tight) = needs.iter().find(|it| it.lacks(it.good)) {
            (tight, tight.good, Ok(Outcome::Caution))
        } else {
            (first, first.least, Ok(Outcome::Fits))
        };
        let texts = [shown.has, limit, shown.has.saturating_sub(limit)].map(|it| self.length(it));
        about.verdict(rule, source, texts, outcome)
    }

    /// How high the feet are above the floor where a role stands, in each reading; nothing where no way leads there.
    fn feet_above(&self, role: &Role) -> Vec<Millimetres> {
        let Some(floor) = self.floor(role) else {
            return Vec::new();
        };
        let feet = self.hang().feet.iter();
        feet.map(|feet| feet.saturating_sub(floor)).collect()
    }

    fn lift(&self, role: &Role, item: &KitItem, reach: Millimetres, about: &About<'_>) -> Verdict {
        let needs: Vec<Need> = self
            .feet_above(role)
            .into_iter()
            .map(|feet| Need {
                has: reach,
                least: feet,
                good: feet,
            })
            .collect();
        self.reaches(Rule::LiftReach, MAKER, &needs, about, |need| {
            Unfit::OutOfReach {
                kit: item.name.clone(),
                has_mm: need.has.0,
                needs_mm: need.least.0,
            }
        })
    }

    /// A lift can be driven below the casualty, so what it lacks sideways is no reason to leave it.
    fn outreach(&self, item: &KitItem, about: &About<'_>) -> Option<Verdict> {
        let outreach = item.outreach?;
        let offset = self.position.arrest.as_ref()?.offset?;
        let short = outreach < offset;
        let texts = [outreach, offset, outreach.saturating_sub(offset)].map(|it| self.length(it));
        let outcome = if short {
            Outcome::Caution
        } else {
            Outcome::Fits
        };
        Some(about.verdict(Rule::LiftOutreach, MAKER, texts, Ok(outcome)))
    }

    /// A ladder stands below the casualty, or hangs from above.
    fn ladder(
        &self,
        role: &Role,
        item: &KitItem,
        length: Millimetres,
        about: &About<'_>,
    ) -> Verdict {
        let policy = &self.plan.policy;
        let feet = self.feet_above(role);
        let source = match feet.first() {
            Some(feet) if feet.0 < 0 => HANGING,
            _ => LADDER,
        };
        let needs: Vec<Need> = feet
            .into_iter()
            .map(|feet| match feet.0 < 0 {
                true => {
                    let down = Millimetres(feet.0.saturating_neg());
                    Need {
                        has: length,
                        least: down,
                        good: down,
                    }
                }
                // Whoever steps onto it needs rails to hold, as above a landing.
                false => Need {
                    has: ladder_height(length, policy.ladder_slope),
                    least: feet,
                    good: feet.saturating_add(policy.ladder_above_landing),
                },
            })
            .collect();
        self.reaches(Rule::LadderLength, source, &needs, about, |need| {
            too_short(item, need)
        })
    }

    /// The rope has to bring the ring down to what is below. It should do so from the floor where it is rigged, and from
    /// the ground up and down again where it is rigged there, and through all pulleys where it is a haul.
    fn lowering(
        &self,
        role: &Role,
        item: &KitItem,
        length: Millimetres,
        about: &About<'_>,
    ) -> Verdict {
        let hang = self.hang();
        let needs: Vec<Need> = hang
            .feet_above_below
            .into_iter()
            .map(|feet| {
                let ring = feet.saturating_add(hang.ring_above_feet);
                // From the feet up to the floor of the role, and the feet down to what is below.
                let floor = self
                    .feet_above(role)
                    .first()
                    .map(|above| match *above >= feet {
                        true => ring.saturating_add(ring),
                        false => feet.saturating_sub(*above),
                    });
                let mut good = floor.unwrap_or(ring).max(ring);
                if let Some(haul) = item.haul {
                    good = good.max(times(ring, haul));
                }
                Need {
                    has: length,
                    least: ring,
                    good,
                }
            })
            .collect();
        self.reaches(Rule::LoweringRope, MECHANICS, &needs, about, |need| {
            too_short(item, need)
        })
    }

    /// A haul has to bring the ring up to the floor of its role, and should bring the feet there.
    fn hauling(
        &self,
        role: &Role,
        item: &KitItem,
        length: Millimetres,
        about: &About<'_>,
    ) -> Verdict {
        let ideal = item.haul.unwrap_or(Ratio(1_000_000));
        let ring_above_feet = self.hang().ring_above_feet;
        let needs: Vec<Need> = self
            .feet_above(role)
            .into_iter()
            .map(|feet| {
                let up = |above: Millimetres| Millimetres(above.0.saturating_neg().max(0));
                Need {
                    has: length,
                    least: times(up(feet.saturating_add(ring_above_feet)), ideal),
                    good: times(up(feet), ideal),
                }
            })
            .collect();
        self.reaches(Rule::HaulingRope, MECHANICS, &needs, about, |need| {
            too_short(item, need)
        })
    }

    fn energy(
        &self,
        item: &KitItem,
        class: DescentClass,
        party: &Party,
        about: &About<'_>,
    ) -> Verdict {
        let kilojoules = |energy_j: i64| format!("{} kJ", rounded(i128::from(energy_j), 1_000));
        let (height, limit) = (self.hang().feet_above_below, class_energy(class));
        let Some(height) = height else {
            let limit = limit.map_or("one descent".to_owned(), kilojoules);
            let texts = ["height not said".to_owned(), limit, "".to_owned()];
            return about.verdict(Rule::DescentEnergy, ENERGY, texts, Ok(Outcome::NotSaid));
        };
        let [least, most] = [party.least, party.most].map(|mass| descent_energy(mass, height, 1));
        let figure = between(kilojoules(least), kilojoules(most));
        let Some(class_j) = limit else {
            let texts = [figure, "one descent".to_owned(), "".to_owned()];
            return about.verdict(Rule::DescentEnergy, ENERGY, texts, Ok(Outcome::Fits));
        };
        let unfit = |descent_j| Unfit::TooMuchEnergy {
            kit: item.name.clone(),
            descent_j,
            class_j,
        };
        let outcome = match (least > class_j, most > class_j) {
            (true, _) => Err(unfit(least)),
            (false, true) => Ok(Outcome::Caution),
            (false, false) => Ok(Outcome::Fits),
        };
        let against = if outcome.is_err() { least } else { most };
        let margin = match class_j >= against {
            true => kilojoules(class_j - against),
            false => format!("-{}", kilojoules(against - class_j)),
        };
        let texts = [figure, kilojoules(class_j), margin];
        about.verdict(Rule::DescentEnergy, ENERGY, texts, outcome)
    }

    /// How long the descent takes: for information, because a slower one is no failing.
    fn descent_time(&self, about: &About<'_>) -> Option<Verdict> {
        let height = self.hang().feet_above_below?;
        let policy = &self.plan.policy;
        let [quick, slow] = [policy.descent_fastest, policy.descent_slowest].map(|speed| {
            let time_ms = rounded(i128::from(height.0) * 1_000, i128::from(speed.0.max(1)));
            in_unit(Millis(time_ms), "s", 0)
        });
        let speed = |speed: Speed| in_unit(speed, "m/s", 1);
        let texts = [
            between(quick, slow),
            between(speed(policy.descent_slowest), speed(policy.descent_fastest)),
            "".to_owned(),
        ];
        Some(about.verdict(Rule::DescentTime, DESCENT, texts, Ok(Outcome::Fits)))
    }

    fn pull(
        &self,
        method: &Method,
        role: &Role,
        item: &KitItem,
        party: &Party,
        about: &About<'_>,
    ) -> Option<Verdict> {
        let ideal = item.haul?;
        let policy = &self.plan.policy;
        let efficiency = item.pulley_efficiency.unwrap_or(policy.pulley_efficiency);
        let beside = method.roles.iter().filter(|it| it.place == role.place);
        let people = i64::try_from(beside.count()).unwrap_or(1).max(1);
        let limit = Newtons(policy.haul_pull.0.saturating_mul(people));
        let newtons = |force: Newtons| in_unit(force, "N", 0);
        let Some(real) = advantage(ideal, efficiency) else {
            let texts = [
                "advantage not known".to_owned(),
                newtons(limit),
                "".to_owned(),
            ];
            return Some(about.verdict(Rule::HaulPull, PULL, texts, Ok(Outcome::NotSaid)));
        };
        let [least, most] = [party.least, party.most].map(|mass| haul_pull(mass, real));
        let outcome = match most > limit {
            true => Outcome::Caution,
            false => Outcome::Fits,
        };
        let texts = [
            between(newtons(least), newtons(most)),
            newtons(limit),
            newtons(limit.saturating_sub(most)),
        ];
        Some(about.verdict(Rule::HaulPull, PULL, texts, Ok(outcome)))
    }

    /// A descent on rope of a method, whoever brings the rope.
    pub(super) fn rope_descent(&self, method: &Method, about: &About<'_>) -> Option<Verdict> {
        if !method.lowers {
            return None;
        }
        let hang = self.hang();
        let limit = &self.plan.policy.rope_descent;
        let (over, figure, height) = match (&hang.feet_above_ground, hang.feet_above_below) {
            (Some(given), _) => (limit.exceeded(given), given.text.clone(), given.value),
            (None, Some(computed)) => {
                (limit.exceeded_by(computed), self.length(computed), computed)
            }
            (None, None) => return None,
        };
        let unit = if self.imperial { "ft" } else { "m" };
        let shown = over.or_else(|| published_in(limit, unit))?;
        let outcome = match over {
            Some(_) => Outcome::Caution,
            None => Outcome::Fits,
        };
        let texts = [
            figure,
            shown.text.clone(),
            self.length(shown.value.saturating_sub(height)),
        ];
        Some(about.verdict(Rule::RopeDescent, ROPE_DESCENT, texts, Ok(outcome)))
    }
}

fn too_short(item: &KitItem, need: &Need) -> Unfit {
    Unfit::TooShort {
        kit: item.name.clone(),
        has_mm: need.has.0,
        needs_mm: need.least.0,
    }
}
