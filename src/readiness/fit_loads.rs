//! Judges what has to be strong enough: kit under those who hang from it, and the anchorages of those who are exposed.
//!
//! The figure for fall arrest is none for a rescue: a rescue load is compared with the rating that somebody gave for it,
//! else with a factor on the load itself. What arrested a fall counts as zero unless it is rated to hold on. Who will be
//! on the kit is known by role and qualification only, so the lightest who may be sent rules it out and the heaviest asks
//! for a look. Limits: still loads; what a jerk or a sharp bend adds is in the factor or nowhere.

use super::fit::{Fitting, Outcome, Rule, Today, Unfit, Verdict};
use super::fit_lines::{is_ladder, weight};
use super::fit_rows::{About, between, fits_or, in_unit, published_in};
use crate::plan::{KitItem, Method, Responder, Role, Rung, Step};
use crate::units::{Grams, Limit, Newtons, Ratio, Written, is_imperial};

const PLATE: &str = "the plate on it, as the plan says";
const PERSON: &str = "test criteria of 29 CFR 1926.502 and 1910.140";
const RESCUE_RATING: &str = "its rescue rating in the plan";
const FACTOR: &str = "policy rescue_factor, a judgement";
const FALL_ARREST: &str = "29 CFR 1926.502(d)(15), fall arrest only";
const CONNECTOR: &str = "29 CFR 1926.502(d)(4)-(12)";
const SPENT: &str = "29 CFR 1926.502(d)(19)";
const DATE: &str = "the inspection date in the plan";
const UNRATED: &str = "good practice, no source";

/// Those who hang from a piece of kit, stand on it or are carried by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Party {
    /// With the lightest who may be sent, and nobody on it who need not be. What is not known weighs nothing here.
    pub(super) least: Grams,
    /// With the heaviest, and everybody on it who may be. What is not known weighs as much as a person may.
    pub(super) most: Grams,
    people_least: u32,
    people_most: u32,
}

impl Party {
    /// With others who are on it for certain.
    fn with(self, other: Party) -> Party {
        Party {
            least: self.least.saturating_add(other.least),
            people_least: self.people_least + other.people_least,
            ..self.perhaps_with(other)
        }
    }

    /// With others who may be on it.
    fn perhaps_with(self, other: Party) -> Party {
        Party {
            most: self.most.saturating_add(other.most),
            people_most: self.people_most + other.people_most,
            ..self
        }
    }
}

/// True where a role is over an edge, on rope, on a ladder or in a basket in some step.
fn exposed(method: &Method, role: &Role) -> bool {
    let does = |step: &Step| step.role.as_ref() == Some(&role.id);
    method.steps.iter().any(|it| it.exposed && does(it))
}

/// True where a role goes to the casualty on a rope: exposed and committed, in a pick-off, and not the one in control.
fn on_rope(method: &Method, role: &Role) -> bool {
    let does = |step: &Step| step.role.as_ref() == Some(&role.id);
    let goes = |step: &Step| step.exposed && step.committed && does(step);
    let controls = method.control.as_ref() == Some(&role.id);
    method.rung == Rung::PickOff && !controls && method.steps.iter().any(goes)
}

impl Fitting<'_> {
    fn casualty(&self) -> Party {
        let heaviest = self.position.heaviest.as_ref().map(|it| it.value);
        Party {
            least: heaviest.unwrap_or(Grams::ZERO),
            most: heaviest.unwrap_or(self.person_mass()),
            people_least: 1,
            people_most: 1,
        }
    }

    /// The more lenient of the published masses of a person with tools.
    fn person_mass(&self) -> Grams {
        let given = self.plan.policy.person_mass.given.iter();
        given.map(|it| it.value).max().unwrap_or(Grams::ZERO)
    }

    /// Whoever may hold a role.
    fn holder(&self, role: &Role) -> Party {
        let may = |it: &&Responder| match &role.qualification {
            Some(needed) => it.holds(needed),
            None => true,
        };
        let holders = || self.plan.responders.iter().filter(may);
        let masses = || holders().filter_map(|it| it.mass);
        let all_weighed = holders().all(|it| it.mass.is_some());
        Party {
            least: masses()
                .min()
                .filter(|_| all_weighed)
                .unwrap_or(Grams::ZERO),
            most: masses()
                .max()
                .filter(|_| all_weighed)
                .unwrap_or(self.person_mass()),
            people_least: 1,
            people_most: 1,
        }
    }

    /// Who is on a piece of kit that a role brings.
    pub(super) fn party(&self, method: &Method, role: &Role, item: &KitItem) -> Party {
        let casualty = self.casualty();
        if item.reach.is_some() {
            let in_basket = method
                .roles
                .iter()
                .filter(|it| it.place == role.place && exposed(method, it));
            return in_basket.fold(casualty, |party, it| party.with(self.holder(it)));
        }
        let hangs = item.length.is_some()
            || item.descent_class.is_some()
            || item.strength.is_some()
            || item.rescue_strength.is_some();
        if is_ladder(item) || method.rung != Rung::PickOff {
            return casualty;
        }
        if on_rope(method, role) {
            let holder = self.holder(role);
            return match hangs && !role.enters {
                true => casualty.with(holder),
                false => casualty.perhaps_with(holder),
            };
        }
        let mut rescuers = method.roles.iter().filter(|it| on_rope(method, it));
        match rescuers.next().filter(|_| hangs) {
            Some(rescuer) => casualty.perhaps_with(self.holder(rescuer)),
            None => casualty,
        }
    }

    /// Everything about a piece that has to do with load, strength, dates and connectors.
    pub(super) fn loads(
        &self,
        item: &KitItem,
        party: &Party,
        today: &Today,
        about: &About<'_>,
    ) -> Vec<Verdict> {
        let mut verdicts = Vec::new();
        if item.lacks_rating() {
            let texts = ["not said", "a rating", ""].map(str::to_owned);
            verdicts.push(about.verdict(Rule::Rating, UNRATED, texts, Ok(Outcome::Paper)));
        }
        verdicts.extend(self.rated_load(item, party, about));
        verdicts.extend(item.persons.map(|rated| people(item, rated, party, about)));
        verdicts.extend(self.strength(
            &item.name,
            item.strength.as_ref(),
            item.rescue_strength.as_ref(),
            party,
            about,
        ));
        if item.kind == KitItem::CONNECTOR {
            verdicts.extend(self.connector(item, about));
        }
        verdicts.extend(inspection(item, today, about));
        verdicts
    }

    fn rated_load(&self, item: &KitItem, party: &Party, about: &About<'_>) -> Option<Verdict> {
        let Some(rated) = &item.rated_mass else {
            return self.heavy_casualty(item, about);
        };
        let mass = |mass: Grams| in_unit(mass, kilograms_or_pounds(rated), 0);
        let outcome = if party.least > rated.value {
            Err(Unfit::TooHeavy {
                kit: item.name.clone(),
                load_g: party.least.0,
                rated_g: rated.value.0,
            })
        } else {
            fits_or(party.most <= rated.value, Outcome::Caution)
        };
        let against = if outcome.is_err() {
            party.least
        } else {
            party.most
        };
        let texts = [
            between(mass(party.least), mass(party.most)),
            rated.text.clone(),
            mass(rated.value.saturating_sub(against)),
        ];
        Some(about.verdict(Rule::RatedLoad, PLATE, texts, outcome))
    }

    /// Kit that nobody rated for a mass is taken to hold a person as the standards weigh one, and no heavier.
    fn heavy_casualty(&self, item: &KitItem, about: &About<'_>) -> Option<Verdict> {
        let heaviest = self.position.heaviest.as_ref().filter(|_| item.carries())?;
        let limit = self.plan.policy.person_mass.exceeded(heaviest)?;
        let texts = [
            heaviest.text.clone(),
            limit.text.clone(),
            in_unit(
                limit.value.saturating_sub(heaviest.value),
                kilograms_or_pounds(heaviest),
                0,
            ),
        ];
        Some(about.verdict(Rule::RatedLoad, PERSON, texts, Ok(Outcome::Paper)))
    }

    /// Strength under a rescue load: the rating that somebody gave for it, else a factor on the load.
    fn strength(
        &self,
        name: &str,
        strength: Option<&Written<Newtons>>,
        rescue: Option<&Written<Newtons>>,
        party: &Party,
        about: &About<'_>,
    ) -> Option<Verdict> {
        let (holds, factor, source) = match (rescue, strength) {
            (Some(rated), _) => (rated, Ratio(1_000_000), RESCUE_RATING),
            (None, Some(rated)) => (rated, self.plan.policy.rescue_factor, FACTOR),
            (None, None) => return None,
        };
        let needs = |load: Newtons| {
            let product = i128::from(load.0) * i128::from(factor.0) / 1_000_000;
            Newtons(i64::try_from(product).unwrap_or(i64::MAX))
        };
        let [load, most] = [party.least, party.most].map(weight);
        let outcome = if holds.value < load {
            Err(Unfit::TooWeak {
                kit: name.to_owned(),
                holds_n: holds.value.0,
                load_n: load.0,
            })
        } else {
            fits_or(holds.value >= needs(most), Outcome::Caution)
        };
        let against = if outcome.is_err() { load } else { needs(most) };
        let force = |force: Newtons| in_unit(force, holds.unit, 1);
        let texts = [
            holds.text.clone(),
            force(against),
            force(holds.value.saturating_sub(against)),
        ];
        Some(about.verdict(Rule::RescueStrength, source, texts, outcome))
    }

    fn connector(&self, item: &KitItem, about: &About<'_>) -> Vec<Verdict> {
        let locks = |locks: bool| if locks { "locks by itself" } else { "not said" };
        let texts = [locks(item.self_locking), locks(true), ""].map(str::to_owned);
        let outcome = fits_or(item.self_locking, Outcome::Paper);
        let mut verdicts = vec![about.verdict(Rule::Locking, CONNECTOR, texts, outcome)];
        let limit = &self.plan.policy.connector_strength;
        verdicts.extend(item.strength.as_ref().and_then(|strength| {
            published(limit, strength, Outcome::Paper, |texts, outcome| {
                about.verdict(Rule::ConnectorStrength, CONNECTOR, texts, outcome)
            })
        }));
        verdicts
    }

    /// What the roles of a method are tied to.
    pub(super) fn anchorages(&self, method: &Method) -> Vec<Verdict> {
        let mut verdicts = Vec::new();
        for role in &method.roles {
            let Some(anchorage) = &role.anchorage else {
                continue;
            };
            let about = About::role(method, role, anchorage);
            verdicts.extend(self.spent(method, role, anchorage, &about));
            let Some(strength) = &role.anchorage_strength else {
                if exposed(method, role) {
                    let texts = ["not said", "a strength", ""].map(str::to_owned);
                    verdicts.push(about.verdict(
                        Rule::RescueStrength,
                        FACTOR,
                        texts,
                        Ok(Outcome::NotSaid),
                    ));
                }
                continue;
            };
            let holder = self.holder(role);
            let party = match on_rope(method, role) {
                true => holder.perhaps_with(self.casualty()),
                false => holder,
            };
            verdicts.extend(self.strength(anchorage, Some(strength), None, &party, &about));
            let limit = &self.plan.policy.anchor_strength;
            verdicts.extend(published(
                limit,
                strength,
                Outcome::Caution,
                |texts, outcome| {
                    about.verdict(Rule::FallArrestStrength, FALL_ARREST, texts, outcome)
                },
            ));
        }
        verdicts
    }

    /// What arrested the fall counts as zero for everybody else, unless it is rated to hold on.
    fn spent(
        &self,
        method: &Method,
        role: &Role,
        anchorage: &str,
        about: &About<'_>,
    ) -> Option<Verdict> {
        let arrested = self.position.anchorage.as_ref()?;
        let named = |name: &str| name.trim().to_lowercase();
        if named(&arrested.name) != named(anchorage) {
            return None;
        }
        let (figure, outcome) = match (arrested.holds_on, exposed(method, role)) {
            (true, _) => ("rated to hold on", Ok(Outcome::Fits)),
            (false, false) => ("arrested the fall", Ok(Outcome::Caution)),
            (false, true) => (
                "arrested the fall",
                Err(Unfit::SpentAnchorage {
                    anchorage: anchorage.to_owned(),
                }),
            ),
        };
        let texts = [figure, "rated to hold on", ""].map(str::to_owned);
        Some(about.verdict(Rule::ArrestAnchorage, SPENT, texts, outcome))
    }

    /// An anchorage that is to hold on: the casualty hangs on it all through the rescue.
    pub(super) fn holds_on(&self) -> Option<Verdict> {
        let anchorage = self.position.anchorage.as_ref().filter(|it| it.holds_on)?;
        let strength = anchorage.strength.as_ref();
        let rescue = anchorage.rescue_strength.as_ref();
        let about = About::set_up(&anchorage.name);
        self.strength(&anchorage.name, strength, rescue, &self.casualty(), &about)
    }
}

/// A strength against a published least one, in the unit that it is given in.
fn published(
    limit: &Limit<Newtons>,
    strength: &Written<Newtons>,
    otherwise: Outcome,
    verdict: impl Fn([String; 3], Result<Outcome, Unfit>) -> Verdict,
) -> Option<Verdict> {
    let missed = limit.missed(strength, 1);
    let shown = missed.or_else(|| published_in(limit, strength.unit))?;
    let texts = [
        strength.text.clone(),
        shown.text.clone(),
        in_unit(strength.value.saturating_sub(shown.value), strength.unit, 1),
    ];
    Some(verdict(texts, fits_or(missed.is_none(), otherwise)))
}

fn people(item: &KitItem, rated: u32, party: &Party, about: &About<'_>) -> Verdict {
    let outcome = if party.people_least > rated {
        Err(Unfit::TooMany {
            kit: item.name.clone(),
            people: party.people_least,
            rated,
        })
    } else {
        fits_or(party.people_most <= rated, Outcome::Caution)
    };
    let against = match outcome {
        Err(_) => party.people_least,
        Ok(_) => party.people_most,
    };
    let texts = [
        between(
            party.people_least.to_string(),
            party.people_most.to_string(),
        ),
        rated.to_string(),
        (i64::from(rated) - i64::from(against)).to_string(),
    ];
    about.verdict(Rule::Persons, PLATE, texts, outcome)
}

/// A date that is not said is missing where people depend on the piece.
fn inspection(item: &KitItem, today: &Today, about: &About<'_>) -> Option<Verdict> {
    let Some(due) = item.inspection_due else {
        let texts = ["not said", "a date", ""].map(str::to_owned);
        let missing = about.verdict(Rule::Inspection, DATE, texts, Ok(Outcome::NotSaid));
        return item.carries().then_some(missing);
    };
    let day = today.day?;
    let left = due.signed_duration_since(day).num_days();
    let texts = [day.to_string(), due.to_string(), format!("{left} d")];
    let outcome = fits_or(left >= 0, Outcome::Paper);
    Some(about.verdict(Rule::Inspection, DATE, texts, outcome))
}

/// The larger unit of the system that a mass is written in.
fn kilograms_or_pounds(written: &Written<Grams>) -> &'static str {
    if is_imperial(written.unit) {
        "lb"
    } else {
        "kg"
    }
}
