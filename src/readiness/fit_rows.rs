//! Puts verdicts together: what they are about, and their figures in the unit that the plan uses.
//!
//! A crew reads a limit as it stands on the plate, so a figure beside a limit in pounds is in pounds. Every figure is
//! computed in whole base units and rounded only for the eye.

use super::fit::{Outcome, Rule, Unfit, Verdict};
use crate::plan::{KitItem, Method, Plan, Role};
use crate::units::{Limit, Millimetres, Quantity, Written, is_imperial};

/// Lengths that are each rounded to a millimetre can differ from their exact sum by this.
pub(super) const ROUNDING: Millimetres = Millimetres(3);

/// What a verdict is about.
#[derive(Clone, Copy, Default)]
pub(super) struct About<'a> {
    method: Option<&'a str>,
    role: Option<&'a str>,
    station: Option<&'a str>,
    item: Option<&'a str>,
    name: &'a str,
}

impl<'a> About<'a> {
    /// The set-up of a position.
    pub(super) fn set_up(name: &'a str) -> About<'a> {
        About {
            name,
            ..About::default()
        }
    }

    /// A method.
    pub(super) fn method(method: &'a Method) -> About<'a> {
        About {
            method: Some(&method.id),
            name: &method.name,
            ..About::default()
        }
    }

    /// A role, by the name of what it is tied to or asks for.
    pub(super) fn role(method: &'a Method, role: &'a Role, name: &'a str) -> About<'a> {
        About {
            role: Some(&role.id),
            name,
            ..About::method(method)
        }
    }

    /// A piece of kit in a role; where it is kept is known of kit of the plan only.
    pub(super) fn piece(
        plan: &'a Plan,
        method: &'a Method,
        role: &'a Role,
        item: &'a KitItem,
    ) -> About<'a> {
        let mut stations = plan.stations.iter();
        let kept = stations.find(|it| it.kit.iter().any(|own| std::ptr::eq(own, item)));
        About {
            station: kept.map(|it| it.id.as_str()),
            item: Some(&item.id),
            ..About::role(method, role, &item.name)
        }
    }

    /// A verdict from its figure, limit and margin, and from how it came out or why it cannot work.
    pub(super) fn verdict(
        &self,
        rule: Rule,
        source: &'static str,
        [figure, limit, margin]: [String; 3],
        outcome: Result<Outcome, Unfit>,
    ) -> Verdict {
        let owned = |id: Option<&str>| id.map(str::to_owned);
        Verdict {
            rule,
            method: owned(self.method),
            role: owned(self.role),
            station: owned(self.station),
            item: owned(self.item),
            name: self.name.to_owned(),
            figure,
            limit,
            margin,
            source,
            outcome: outcome.as_ref().copied().unwrap_or(Outcome::Physical),
            unfit: outcome.err(),
        }
    }
}

/// Fits where it holds, else this.
pub(super) fn fits_or(holds: bool, otherwise: Outcome) -> Result<Outcome, Unfit> {
    Ok(if holds { Outcome::Fits } else { otherwise })
}

/// A quantity in one of its units, with at most so many decimals.
pub(super) fn in_unit<Q: Quantity>(quantity: Q, unit: &str, decimals: u32) -> String {
    let known = Q::UNITS.iter().find(|it| it.sign == unit);
    let (sign, parts) = known.map_or(("", Q::PARTS_PER_BASE), |it| (it.sign, it.parts));
    let scale = 10_i128.pow(decimals);
    let size = i128::from(quantity.base()) * Q::PARTS_PER_BASE * scale;
    let half = if size < 0 { -parts / 2 } else { parts / 2 };
    let scaled = (size + half) / parts;
    let sign_before = if scaled < 0 { "-" } else { "" };
    let (whole, rest) = (scaled.abs() / scale, scaled.abs() % scale);
    let rest = format!("{rest:0>width$}", width = decimals as usize);
    match rest.trim_end_matches('0') {
        "" => format!("{sign_before}{whole} {sign}"),
        rest => format!("{sign_before}{whole}.{rest} {sign}"),
    }
}

/// One figure, or the two between which it is.
pub(super) fn between(least: String, most: String) -> String {
    match least == most {
        true => most,
        false => format!("{least} to {most}"),
    }
}

/// The figure of a published limit in the system of a unit, which is the one that is shown; else the first.
pub(super) fn published_in<'l, Q>(limit: &'l Limit<Q>, unit: &str) -> Option<&'l Written<Q>> {
    let alike = |it: &&Written<Q>| is_imperial(it.unit) == is_imperial(unit);
    limit.given.iter().find(alike).or(limit.given.first())
}
