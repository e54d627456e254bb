//! Folds an incident's records into the spans, marks and pins of its timeline.
//!
//! What was taken back is not folded, so that every span is one that stood; it has its marks all the same. Which spans go on is
//! asked anew after each record, and what differs from before begins or ends there. Times are on the incident's own line
//! until the last moment, when the first fall is known for good.

use super::signs::{self, Sign};
use super::timeline::{About, Ended, Hung, Kind, Mark, Of, Pin, Planned, Span, Timeline, Track};
use crate::incident::{Event, Facts, Record, State, TimeLine, stays};
use crate::plan::Method;
use crate::readiness::NEVER;
use crate::units::Millis;
use std::collections::{BTreeMap, BTreeSet};

/// Lays an incident out; none where the record does not say that one began.
pub(super) fn laid_out(records: &[Record]) -> Option<Timeline> {
    let mut course = Course::default();
    let back = taken_back(records);
    let mut line = TimeLine::default();
    for (index, record) in records.iter().enumerate() {
        if record.event.is_afterwards() {
            course.afterwards.push(record.seq);
            continue;
        }
        let last = line.reached_at();
        let at = reach(&mut line, record);
        course.take(record, [last, at], back.contains(&index));
    }
    course.finish(line.reached_at(), line.at_least)
}

/// The places of the records that were taken back, as the fold of an incident has it.
fn taken_back(records: &[Record]) -> BTreeSet<usize> {
    let corrections = records.iter().enumerate();
    let by: BTreeMap<u64, usize> = corrections
        .filter_map(|(index, record)| match record.event {
            Event::Corrected { cause } => Some((cause, index)),
            _ => None,
        })
        .collect();
    let back = |(index, record): (usize, &Record)| {
        let by = by.get(&record.cause)?;
        (*by >= index && !stays(&record.event)).then_some(index)
    };
    records.iter().enumerate().filter_map(back).collect()
}

/// Carries the time line on to a record.
fn reach(line: &mut TimeLine, record: &Record) -> Millis {
    match &record.event {
        Event::Opened(_) => *line = TimeLine::starting(&record.now),
        Event::Resumed { carried, at_ms, .. } => line.carry(&record.now, Millis(*at_ms), *carried),
        _ => line.reached(line.at(&record.now)),
    }
    line.reached_at()
}

/// A span while it goes on.
#[derive(Clone, Debug)]
struct Going {
    of: Of,
    kind: Kind,
    name: String,
    from: Millis,
    record: u64,
}

/// What tells spans apart that go on at the same time: their track, and a number on it.
type Slot = (Of, u64);

/// What is gathered record by record. Times are on the incident's own line.
#[derive(Default)]
struct Course {
    /// What stands, folded.
    state: State,
    drill: bool,
    turned_real: Option<Millis>,
    tracks: BTreeMap<Of, Track>,
    going: BTreeMap<Slot, Going>,
    /// The turn in which somebody was first sent.
    turns: BTreeMap<String, usize>,
    /// Who was meant by an order, by the number of its record.
    meant: BTreeMap<u64, String>,
    /// The casualties whose planned course is known.
    planned: BTreeSet<u16>,
    /// The change-by time of the running method of each casualty.
    change_by: BTreeMap<u16, (String, Millis, u8)>,
    afterwards: Vec<u64>,
}

impl Course {
    fn take(&mut self, record: &Record, [last, at]: [Millis; 2], back: bool) {
        let corrects = matches!(record.event, Event::Corrected { .. });
        // What was taken back is not in what is folded, so nothing is left to correct.
        if !back && !corrects {
            self.state.apply(record.clone());
        }
        match &record.event {
            Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. } => {
                let name = posting.responder.clone();
                self.meant.insert(record.seq, name.clone());
                self.turn(&name);
            }
            Event::ResponderReported { responder, .. } | Event::OrderWithdrawn { responder } => {
                self.meant.insert(record.seq, responder.clone());
                self.turn(responder);
            }
            Event::Opened(opening) => self.drill = opening.drill,
            Event::RealCalled {} => _ = self.turned_real.get_or_insert(at),
            _ => {}
        }
        self.mark(record, at, back);
        if back {
            return;
        }
        match &record.event {
            Event::PositionChosen { .. } => _ = self.planned.remove(&record.casualty),
            Event::ForecastAdopted { .. } => self.plan(record, at),
            Event::Resumed { .. } => self.add(
                Of::Tablet,
                Span {
                    kind: Kind::Away,
                    from: last,
                    to: at,
                    open: false,
                    name: String::new(),
                    records: vec![record.seq],
                },
            ),
            Event::HelpExpected { in_ms, .. } => {
                self.pin(
                    Of::Help,
                    Planned::Help,
                    at.saturating_add(Millis(*in_ms)),
                    record.seq,
                );
            }
            Event::PromptShown { message, text, .. } => {
                self.prompt(record, at, message, text);
            }
            _ => {}
        }
        self.follow(record, at);
        self.changes(record);
    }

    /// The turn in which somebody was first sent.
    fn turn(&mut self, responder: &str) -> Of {
        let next = self.turns.len();
        let turn = self.turns.entry(responder.to_owned()).or_insert(next);
        Of::Responder(*turn, responder.to_owned())
    }

    fn track(&mut self, of: Of) -> &mut Track {
        let name = self.name(&of);
        let track = self.tracks.entry(of.clone()).or_insert_with(|| Track {
            of,
            name: String::new(),
            spans: Vec::new(),
            marks: Vec::new(),
            pins: Vec::new(),
        });
        if !name.is_empty() {
            track.name = name;
        }
        track
    }

    fn name(&self, of: &Of) -> String {
        match of {
            Of::Casualty(number, About::Method(_, id)) => {
                let case = self.state.facts.case_of(*number);
                case.method(id)
                    .map_or_else(|| id.clone(), |it| it.name.clone())
            }
            Of::Responder(_, id) => self.state.facts.name(id).to_owned(),
            _ => String::new(),
        }
    }

    fn add(&mut self, of: Of, span: Span) {
        self.track(of).spans.push(span);
    }

    fn pin(&mut self, of: Of, what: Planned, at: Millis, record: u64) {
        self.track(of).pins.push(Pin {
            at,
            what,
            records: vec![record],
        });
    }

    /// Puts a record's sign on its track, or on those of everybody whom it is about.
    fn mark(&mut self, record: &Record, at: Millis, back: bool) {
        let Some((place, sign)) = signs::sign(record) else {
            return;
        };
        let tracks = match place {
            signs::Place::On(of) => vec![of],
            signs::Place::Method(id) => vec![self.method(record.casualty, id)],
            signs::Place::Running => {
                let case = self.state.facts.case_of(record.casualty);
                let running = case.casualty.running.as_ref().map(|it| it.method.clone());
                match running {
                    Some(id) => vec![self.method(record.casualty, &id)],
                    None => vec![Of::Scene],
                }
            }
            signs::Place::Responder(id) => vec![self.turn(id)],
            signs::Place::Orders(orders) => {
                let meant = orders.iter().filter_map(|it| self.meant.get(it).cloned());
                let meant: BTreeSet<String> = meant.collect();
                let mut tracks: Vec<Of> = meant.iter().map(|it| self.turn(it)).collect();
                if tracks.is_empty() {
                    tracks.push(Of::Command);
                }
                tracks
            }
        };
        for of in tracks {
            self.track(of).marks.push(Mark {
                at,
                sign,
                record: record.seq,
                taken_back: back,
            });
        }
    }

    /// The track of a method of a casualty.
    fn method(&self, number: u16, id: &str) -> Of {
        let methods = self.state.facts.case_of(number).methods();
        let is_it = |it: &Method| it.id == id;
        let rank = methods.iter().position(is_it).unwrap_or(usize::MAX);
        Of::Casualty(number, About::Method(rank, id.to_owned()))
    }

    /// When each method is to be tried by the first estimate for a casualty where they hang.
    fn plan(&mut self, record: &Record, at: Millis) {
        let number = record.casualty;
        let case = self.state.facts.case_of(number);
        let Some(forecast) = case.casualty.forecast.clone() else {
            return;
        };
        if !self.planned.insert(number) {
            return;
        }
        let fell = case.casualty.fell;
        let running = case.casualty.running.as_ref();
        let from = running.map_or(at, |it| it.started).saturating_sub(fell);
        for turn in forecast.turns(from) {
            let likely = Millis(turn.method.likely_ms.max(0));
            let to = turn.change_by.unwrap_or(turn.from.saturating_add(likely));
            let span = Span {
                kind: Kind::Planned,
                from: fell.saturating_add(turn.from),
                to: fell.saturating_add(to.max(turn.from)),
                open: turn.change_by.is_none(),
                name: String::new(),
                records: vec![record.seq],
            };
            let of = self.method(number, &turn.method.method);
            self.add(of, span);
        }
    }

    /// Ends the prompt before and begins this one.
    fn prompt(&mut self, record: &Record, at: Millis, message: &str, text: &str) {
        let shown = self.state.facts.shown.as_ref();
        let by_itself = shown.is_some_and(|it| it.by_itself);
        let corrected = self.tracks.get(&Of::Tablet).is_some_and(|it| {
            let last = it.marks.last();
            last.is_some_and(|mark| mark.sign == Sign::Back && mark.record == record.cause)
        });
        let ended = match (corrected, by_itself) {
            (true, _) => Ended::TakenBack,
            (false, true) => Ended::GaveWay,
            (false, false) => Ended::Answered,
        };
        if let Some(mut before) = self.going.remove(&(Of::Prompts, 0)) {
            before.kind = Kind::Asked(ended);
            self.close(before, at, false, Some(record.seq));
        }
        // What is put up at the end asks nothing of anybody.
        if self.state.facts.is_open() && !message.is_empty() {
            let going = Going {
                of: Of::Prompts,
                kind: Kind::Asked(Ended::Stood),
                name: text.to_owned(),
                from: at,
                record: record.seq,
            };
            self.going.insert((Of::Prompts, 0), going);
        }
    }

    fn close(&mut self, going: Going, at: Millis, open: bool, by: Option<u64>) {
        let span = Span {
            kind: going.kind,
            from: going.from,
            to: at.max(going.from),
            open,
            name: going.name,
            records: [going.record]
                .into_iter()
                .chain(by.filter(|it| *it != going.record))
                .collect(),
        };
        self.add(going.of, span);
    }

    /// Begins and ends spans, so that they are those that go on by what is known now.
    fn follow(&mut self, record: &Record, at: Millis) {
        let wanted = wanted(&self.state.facts, &self.turns);
        let ended = self.going.iter().filter(|(slot, going)| {
            let same = wanted.get(slot).is_some_and(|it| it.0 == going.kind);
            !same && slot.0 != Of::Prompts
        });
        let ended: Vec<Slot> = ended.map(|(slot, _)| slot.clone()).collect();
        for slot in ended {
            if let Some(going) = self.going.remove(&slot) {
                self.close(going, at, false, Some(record.seq));
            }
        }
        for (slot, (kind, name)) in wanted {
            let of = slot.0.clone();
            self.going.entry(slot).or_insert(Going {
                of,
                kind,
                name,
                from: at,
                record: record.seq,
            });
        }
    }

    /// Keeps the change-by time and the estimate of each running method. One that was put off stands beside the one before.
    fn changes(&mut self, record: &Record) {
        let numbers = 1..=u16::try_from(self.state.facts.casualties.len()).unwrap_or(u16::MAX);
        for number in numbers {
            let case = self.state.facts.case_of(number);
            let Some(running) = case.casualty.running.clone() else {
                self.change_by.remove(&number);
                continue;
            };
            let now = (running.method.clone(), running.change_by, running.more);
            let before = self.change_by.get(&number).cloned();
            let same = before.as_ref().filter(|it| it.0 == running.method);
            if same.is_some_and(|it| it.1 == running.change_by) {
                continue;
            }
            let likely = case.forecast_of(&running.method);
            let likely = likely.map(|it| running.started.saturating_add(Millis(it.likely_ms)));
            let of = self.method(number, &running.method);
            let moved = same.is_some_and(|it| it.2 == running.more);
            let began = same.is_none();
            self.change_by.insert(number, now);
            let track = self.track(of.clone());
            if moved {
                let last = |pin: &Pin| pin.what == Planned::ChangeBy;
                if let Some(at) = track.pins.iter().rposition(last) {
                    track.pins.remove(at);
                }
            }
            if running.change_by < NEVER {
                self.pin(of.clone(), Planned::ChangeBy, running.change_by, record.seq);
            }
            if let Some(likely) = likely.filter(|_| began) {
                self.pin(of, Planned::Likely, likely, record.seq);
            }
        }
    }

    fn finish(mut self, end: Millis, at_least: bool) -> Option<Timeline> {
        let opened = self.state.facts.opened.as_ref()?;
        let (incident, target) = (opened.incident.to_string(), opened.plan.policy.target);
        for going in std::mem::take(&mut self.going).into_values() {
            self.close(going, end, true, None);
        }
        let facts = &self.state.facts;
        let falls = facts.casualties.iter().map(|it| it.fell);
        let fell = falls.min().unwrap_or(Millis::ZERO);
        let first = facts.casualties.iter().find(|it| it.fell == fell);
        let at_least = at_least || first.is_some_and(|it| it.fell_at_least);
        let since = |at: Millis| at.saturating_sub(fell);
        let hung: Vec<Hung> = facts
            .cases()
            .map(|case| Hung {
                number: case.number,
                name: case.casualty.who.as_deref().map(|it| facts.name(it).into()),
                fell: since(case.casualty.fell),
                at_least: case.at_least(),
                off: case.casualty.off.map(|(at, _)| since(at)),
                landed: case.casualty.landed.map(since),
            })
            .collect();
        let first_record: Vec<u64> = self
            .state
            .log
            .first()
            .map(|it| it.seq)
            .into_iter()
            .collect();
        for one in &hung {
            let track = self.track(Of::Casualty(one.number, About::Clock));
            // Whoever hung did so since the fall, however late that was said.
            if let Some(span) = track.spans.iter_mut().find(|it| it.kind == Kind::Hanging) {
                span.from = one.fell.saturating_add(fell);
            }
            let target = fell.saturating_add(one.fell).saturating_add(target);
            track.pins.push(Pin {
                at: target,
                what: Planned::Target,
                // The plan stands in the first record.
                records: first_record.clone(),
            });
        }
        let mut tracks: Vec<Track> = self.tracks.into_values().collect();
        for track in &mut tracks {
            track.spans.iter_mut().for_each(|it| {
                (it.from, it.to) = (since(it.from), since(it.to));
            });
            track.marks.iter_mut().for_each(|it| it.at = since(it.at));
            track.pins.iter_mut().for_each(|it| it.at = since(it.at));
        }
        Some(Timeline {
            incident,
            drill: self.drill,
            turned_real: self.turned_real.map(since),
            at_least,
            fell,
            ends: since(end),
            target,
            hung,
            tracks,
            afterwards: self.afterwards,
        })
    }
}

/// What goes on by what is known: on which track, what, and what is said of it.
fn wanted(facts: &Facts, turns: &BTreeMap<String, usize>) -> BTreeMap<Slot, (Kind, String)> {
    let mut all = BTreeMap::new();
    let mut add = |of: Of, number: u64, kind: Kind, name: &str| {
        all.insert((of, number), (kind, name.to_owned()));
    };
    let during = facts.opened.is_some() && facts.stood_down.is_none();
    if !during {
        return all;
    }
    for case in facts.cases() {
        let (number, casualty) = (case.number, case.casualty);
        let of = |about| Of::Casualty(number, about);
        match (casualty.off, casualty.landed) {
            (None, _) => add(of(About::Clock), 0, Kind::Hanging, ""),
            (Some(_), None) => add(of(About::Clock), 0, Kind::ComingDown, ""),
            (Some(_), Some(_)) => {}
        }
        match casualty.condition {
            _ if casualty.off.is_some() => {}
            _ if casualty.lapsed > 0 => add(of(About::Condition), 0, Kind::NotChecked, ""),
            Some((condition, _)) => add(of(About::Condition), 0, Kind::Was(condition), ""),
            None => {}
        }
        // At the landing place nothing of a method is left to do.
        let running = casualty.running.as_ref();
        if let Some(running) = running.filter(|_| casualty.landed.is_none()) {
            let methods = case.methods();
            let rank = methods.iter().position(|it| it.id == running.method);
            let method = About::Method(rank.unwrap_or(usize::MAX), running.method.clone());
            add(of(method.clone()), 0, Kind::Tried, "");
            if case.committed() {
                add(of(method.clone()), 1, Kind::Committed, "");
            }
            if running.fallback.is_some() {
                add(of(method), 2, Kind::Fallback, "");
            }
        }
    }
    for order in &facts.orders {
        let id = &order.posting.responder;
        let turn = turns.get(id).copied().unwrap_or(usize::MAX);
        let kind = match (order.there, order.is_answered()) {
            (Some(_), _) => Kind::There,
            (None, true) => Kind::Going,
            (None, false) => Kind::Ordered,
        };
        let kit = order.posting.kit.as_deref();
        let name = kit.unwrap_or(&order.posting.role);
        add(Of::Responder(turn, id.clone()), order.number, kind, name);
    }
    if !facts.call.ordered.is_empty() && facts.call.confirmed.is_none() {
        add(Of::Help, 0, Kind::Calling, "");
    }
    if facts.outside.leads.is_some() {
        add(Of::Help, 1, Kind::OutsideLeads, "");
    } else if facts.outside.expected.is_some() || facts.outside.asked.is_some() {
        add(Of::Help, 1, Kind::Coming, "");
    }
    if facts.danger.is_some() {
        add(Of::Danger, 0, Kind::Danger, "");
    }
    if facts.closing.is_some() {
        add(Of::End, 0, Kind::Closing, "");
    }
    all
}
