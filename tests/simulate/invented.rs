//! Invents forecasts: any order, any crew, any time that the type can hold, well formed and otherwise without sense.
//!
//! The core must keep every rule whatever numbers it is given, so invented ones are the harder test of it, and they cost a
//! hundredth of computed ones. Times stay below a day, rows of starts are in order, because the computation promises that.

use crate::support::Chance;
use groundward::plan::{Method, Plan};
use groundward::readiness::{
    Basis, Forecast, LadderForecast, MethodForecast, Paper, Passing, Posting, StartForecast, Unfit,
};
use groundward::units::Ratio;

const DAY_MS: u64 = 24 * 3_600_000;

/// A forecast for what was asked; none where the plan does not know the position.
pub(super) fn forecast(chance: &mut Chance, plan: &Plan, basis: &Basis) -> Option<Forecast> {
    let position = plan.position(&basis.position)?;
    let mut made = Making { chance, plan };
    let mut methods: Vec<MethodForecast> = Vec::new();
    for method in &position.methods {
        if !made.chance.one_in(12) {
            methods.push(made.method(method));
        }
    }
    let mut order: Vec<String> = methods.iter().map(|it| it.method.clone()).collect();
    for last in (1..order.len()).rev() {
        order.swap(last, made.chance.below(last as u64 + 1) as usize);
    }
    order.truncate(made.chance.below(order.len() as u64 + 1) as usize);
    let mut standing = Vec::new();
    for role in [Posting::TALKER, Posting::GUIDE, Posting::RADIO] {
        if made.chance.one_in(2) {
            standing.push(made.posting(role, None));
        }
    }
    let first_aider = made.chance.one_in(2);
    let first_aider = first_aider.then(|| Box::new(made.posting(Posting::FIRST_AID, None)));
    let unmanned = match made.chance.one_in(4) {
        true => vec![Posting::GUIDE.to_owned()],
        false => Vec::new(),
    };
    let ladder = made.chance.one_in(2).then(|| made.ladder());
    Some(Forecast {
        position: basis.position.clone(),
        methods,
        first_aider,
        standing,
        unmanned,
        order,
        ladder,
    })
}

struct Making<'a> {
    chance: &'a mut Chance,
    plan: &'a Plan,
}

impl Making<'_> {
    /// Mostly minutes, sometimes nothing, sometimes most of a day.
    fn time(&mut self) -> i64 {
        let end = self.chance.among(&[1, 60_000, 900_000, 900_000, DAY_MS]);
        self.chance.below(end) as i64
    }

    fn maybe(&mut self) -> Option<i64> {
        self.chance.one_in(2).then(|| self.time())
    }

    fn ratio(&mut self) -> Ratio {
        Ratio(self.chance.below(1_000_001) as i64)
    }

    fn ladder(&mut self) -> LadderForecast {
        LadderForecast {
            chance: self.ratio(),
            likely_ms: self.maybe(),
            bad_day_ms: self.maybe(),
            contact_ms: self.maybe(),
            never: self.ratio(),
        }
    }

    fn method(&mut self, method: &Method) -> MethodForecast {
        let mut crew = Vec::new();
        let mut unfilled = Vec::new();
        for role in &method.roles {
            match self.chance.one_in(6) {
                true => unfilled.push(role.id.clone()),
                false => crew.push(self.posting(&role.id, role.kit.as_deref())),
            }
        }
        let mut starts = Vec::new();
        let mut at = 0;
        for _ in 0..self.chance.among(&[0, 0, 1, 2, 5]) {
            at += 1 + self.time();
            let wait = self.time();
            let by = (!self.chance.one_in(3)).then_some(at + wait);
            starts.push(StartForecast(at - 1, by, self.ratio().0));
        }
        let kind = || "steps".to_owned();
        MethodForecast {
            method: method.id.clone(),
            change_after_ms: self.time(),
            source: self.chance.among(&["computed", "plan"]).to_owned(),
            likely_ms: self.time(),
            crew,
            contact_ms: self.maybe(),
            unfilled,
            no_kit: self.chance.one_in(12).then(kind).into_iter().collect(),
            papers: self
                .chance
                .one_in(8)
                .then(|| self.paper())
                .into_iter()
                .collect(),
            unfit: self.chance.one_in(12).then(|| self.unfit()),
            starts,
            works: self.chance.one_in(2).then(|| self.ratio()),
            bad_day_ms: self.maybe(),
            share: self.chance.one_in(2).then(|| self.ratio()),
            assumed: self.chance.one_in(2),
        }
    }

    fn paper(&mut self) -> Paper {
        let kit = "any kit".to_owned();
        match self.chance.below(3) {
            0 => Paper::Inspection { kit },
            1 => Paper::Rating { kit },
            _ => Paper::Qualification {
                responder: self.person(),
                name: "any skill".to_owned(),
            },
        }
    }

    fn unfit(&mut self) -> Unfit {
        let kit = "any kit".to_owned();
        match self.chance.below(3) {
            0 => Unfit::OutOfService { kit },
            1 => Unfit::NoGroundControl,
            _ => Unfit::TooShort {
                kit,
                has_mm: 1_000,
                needs_mm: 2_000,
            },
        }
    }

    /// Anybody: on shift or not, hanging or not; rarely somebody who is not in the plan.
    fn person(&mut self) -> String {
        let people = &self.plan.responders;
        let any = people.get(self.chance.below(people.len() as u64 + 1) as usize);
        any.map_or_else(|| "nobody".to_owned(), |it| it.id.clone())
    }

    fn place(&mut self) -> String {
        let places = &self.plan.places;
        let any = places.get(self.chance.below(places.len().max(1) as u64) as usize);
        any.map_or_else(|| "nowhere".to_owned(), |it| it.id.clone())
    }

    /// A piece of kit of some station, mostly of the kind that the role asks for.
    fn piece(&mut self, kind: Option<&str>) -> Option<(String, String)> {
        let all = self.plan.stations.iter();
        let all = all.flat_map(|it| it.kit.iter().map(move |item| (it, item)));
        let right = !self.chance.one_in(4);
        let fits: Vec<_> = all
            .filter(|(_, item)| !right || kind == Some(item.kind.as_str()))
            .collect();
        let (station, item) = fits.get(self.chance.below(fits.len().max(1) as u64) as usize)?;
        Some((station.id.clone(), item.name.clone()))
    }

    fn posting(&mut self, role: &str, kind: Option<&str>) -> Posting {
        let piece = (!self.chance.one_in(4)).then(|| self.piece(kind)).flatten();
        let (mut place, travel_ms) = (self.place(), self.time());
        let mut way = Vec::new();
        if self.chance.one_in(2) {
            let count = 1 + self.chance.below(4) as i64;
            for stop in 0..count {
                way.push(Passing(self.place(), travel_ms * (stop + 1) / count));
            }
            place = way.last().map_or(place, |it| it.0.clone());
        }
        let behind = self.chance.one_in(6);
        let fetch_ms = piece.is_some() && self.chance.one_in(2);
        let lies = self.chance.one_in(12);
        Posting {
            role: role.to_owned(),
            responder: self.person(),
            kit: piece.as_ref().map(|it| it.1.clone()),
            station: piece.map(|it| it.0),
            place,
            travel_ms,
            lies: lies.then(|| self.place()),
            fetch_ms: fetch_ms.then(|| self.chance.below(travel_ms as u64 + 1) as i64),
            way,
            behind: behind.then(|| Passing(self.place(), -1_000)),
        }
    }
}
