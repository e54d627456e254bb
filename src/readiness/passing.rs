//! Lays the way of an order out place by place, so that it can be said, drawn, and re-planned from its middle.
//!
//! Only for those who were chosen, because it takes a search of its own for each stretch. Limits: of two equally quick ways
//! one is taken, always the same.

use std::collections::BTreeMap;

use super::model::Passing;
use super::whereabouts::Lead;
use crate::plan::{Link, Plan, Routes, link_time};
use crate::units::Millis;

/// The ways of a plan, to be followed place by place.
pub(super) struct Passages<'t, 'p> {
    plan: &'p Plan,
    routes: &'t Routes<'p>,
    links: BTreeMap<&'p str, &'p Link>,
}

/// A way place by place.
pub(super) struct Passed {
    /// The places, each with when it is passed.
    pub(super) way: Vec<Passing>,
    /// When the place in between is passed, where there is one.
    pub(super) by: Option<i64>,
    /// The place left behind, where the way begins between two.
    pub(super) behind: Option<Passing>,
}

impl<'t, 'p> Passages<'t, 'p> {
    pub(super) fn new(plan: &'p Plan, routes: &'t Routes<'p>) -> Passages<'t, 'p> {
        Passages {
            plan,
            routes,
            links: plan.links.iter().map(|it| (it.id.as_str(), it)).collect(),
        }
    }

    /// The way to a place, by way of another one.
    pub(super) fn along(&self, lead: &Lead<'_>, by: Option<&str>, to: &str) -> Option<Passed> {
        let mut way = vec![Passing(lead.place.to_owned(), lead.time.likely.0)];
        let mut passed_by = None;
        if let Some(by) = by {
            self.on(&mut way, by)?;
            passed_by = way.last().map(|it| it.1);
        }
        self.on(&mut way, to)?;
        Some(Passed {
            way,
            by: passed_by,
            behind: lead
                .behind
                .map(|(place, ago)| Passing(place.to_owned(), ago.0.saturating_neg())),
        })
    }

    /// Goes on from the last place of a way to another.
    fn on(&self, way: &mut Vec<Passing>, to: &str) -> Option<()> {
        let Passing(mut at, time) = way.last()?.clone();
        let mut time = Millis(time);
        for id in self.routes.between(&at, to)?.links {
            let link = self.links.get(id.as_str())?;
            let forwards = link.from == at;
            time = time.saturating_add(link_time(link, &self.plan.policy, forwards));
            at.clone_from(if forwards { &link.to } else { &link.from });
            way.push(Passing(at.clone(), time.0));
        }
        Some(())
    }
}
