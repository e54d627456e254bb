//! Checks after every input what must hold whatever happened: the rules of a rescue, the clock, the record, the words.

use super::tally::Met;
use super::world::World;
use crate::support::day;
use groundward::incident::{
    Act, Condition, Event, Facts, Prompt, Record, State, brief, call_card, handover,
    order_in_words, prompt, to_say,
};
use groundward::plan::read_on;
use groundward::readiness::Posting;
use groundward::review;
use groundward::signal::Saved;
use groundward::units::Millis;
use groundward::words::{Id, Language, Message};
use std::sync::Arc;

impl World {
    pub(super) fn check(&mut self, new: &[Arc<Record>]) {
        if self.engine.state().facts.opened.is_none() {
            return;
        }
        self.check_time(new);
        if self.chance.one_in(150) {
            self.tally.meet(Met::Replays);
            self.check_replay();
        }
        let state = self.engine.state();
        let facts = &state.facts;
        // One prompt, as recorded, with a way forward.
        let asked = prompt(facts, facts.line.reached_at()).expect("an incident has a prompt");
        let shown = facts.shown.as_ref().expect("a prompt is shown");
        assert_eq!(
            (shown.message.as_str(), &shown.args),
            (asked.message.id.as_str(), &asked.message.args)
        );
        assert!(
            asked.choices().next().is_some(),
            "no way forward from {shown:?}"
        );
        let is_new = |it: &Arc<Record>| matches!(it.event, Event::PromptShown { .. });
        if new.iter().any(is_new) {
            check_words(&asked, state);
            self.tally.prompt(asked.message.id);
        }
        let state = self.engine.state();
        let facts = &state.facts;
        if !facts.is_open() {
            return;
        }
        check_rules(facts, &asked, new);
        self.check_orders(facts, new);
        check_first_prompts(state, new);
        if self.real {
            let unprompted = self.unprompted(new);
            self.tally.count(Met::UnpromptedOrders, unprompted);
        }
        if self.chance.one_in(40) {
            self.check_pages();
        }
    }

    /// The time shown is the true one, and only ever goes on.
    fn check_time(&mut self, new: &[Arc<Record>]) {
        let facts = &self.engine.state().facts;
        let at = facts.line.at(&self.machine.now);
        let really = self.machine.true_ms - self.truth.began_ms;
        if facts.is_open() {
            assert_eq!(
                at.0 - really,
                self.truth.error_ms,
                "the time since activation is shown as {} ms and is {really} ms",
                at.0
            );
            assert_eq!(facts.line.at_least, self.truth.at_least);
        }
        for record in new {
            assert!(record.elapsed >= Millis::ZERO, "{record:?}");
        }
        // Elapsed time never runs backwards, for no casualty, except where somebody said that it was wrong.
        let by_hand = new.iter().any(|it| {
            matches!(
                it.event,
                Event::FallTimeSet { .. }
                    | Event::Corrected { .. }
                    | Event::CasualtyAdded { .. }
                    | Event::Opened(_)
            )
        });
        for case in facts.cases() {
            let elapsed = case.since_fall(at).0;
            let before = self.elapsed.insert(case.number, elapsed);
            assert!(
                before.is_none_or(|before| elapsed >= before) || by_hand,
                "the time of {} went from {before:?} to {elapsed}",
                case.number
            );
        }
        // The time of the fall is as long ago as somebody said just now.
        if let [record] = &new.iter().filter(|it| is_fall(it)).collect::<Vec<_>>()[..]
            && let Event::FallTimeSet { ago_ms, .. } = record.event
            && !new
                .iter()
                .any(|it| matches!(it.event, Event::Corrected { .. }))
        {
            let case = facts.case_of(record.casualty);
            assert_eq!(case.since_fall(at).0, ago_ms);
        }
    }

    /// Replay equals live, from the very bytes that were handed to the journal.
    fn check_replay(&self) {
        let state = self.engine.state();
        // The newest records are handed over after this.
        let newest = state.log.iter().skip(self.handed.len());
        let newest: Vec<Record> = newest.map(|it| Record::clone(it)).collect();
        if state.log.first().map(|it| it.incident.to_string()) != self.handed_incident() {
            return;
        }
        let handed = self.handed.iter().map(|it| {
            let record = Record::from_json(&it.entry.json);
            record.expect("it was written by us")
        });
        let replayed = State::replay(handed.chain(newest));
        if replayed.facts != state.facts {
            panic!(
                "replay differs from live: {}",
                difference(&replayed.facts, &state.facts)
            );
        }
    }

    fn handed_incident(&self) -> Option<String> {
        let first = self.handed.first()?;
        let record = Record::from_json(&first.entry.json).ok()?;
        Some(record.incident.to_string())
    }

    /// What the screen says of the record is true.
    pub(super) fn check_snapshot(&mut self) {
        if !self.chance.one_in(12) {
            return;
        }
        self.tally.meet(Met::Snapshots);
        let snapshot = self.engine.snapshot(&self.machine.now);
        if let Saved::Yes(seq) | Saved::Saving(Some(seq)) = snapshot.saved {
            let said = self.acknowledged.is_some_and(|it| it >= seq);
            assert!(
                said || self.is_durable(seq),
                "the screen says that {seq} is saved, and it is not"
            );
        }
        for notice in &snapshot.notices {
            for language in Language::ALL_SPOKEN {
                assert!(!notice.message.text(language).trim().is_empty());
            }
        }
    }

    /// What is read aloud or listed can be made at any time.
    fn check_pages(&self) {
        let state = self.engine.state();
        let facts = &state.facts;
        let at = facts.line.reached_at();
        let mut lines = brief(facts, at);
        lines.extend(call_card(facts, at));
        for case in facts.cases().take(3) {
            lines.extend(handover(case));
        }
        lines.extend(
            facts
                .orders
                .iter()
                .filter_map(|it| order_in_words(facts, it)),
        );
        for line in &lines {
            for language in Language::ALL_SPOKEN {
                assert!(is_whole(line, language), "{line:?}");
            }
        }
        if self.chance.clone().one_in(8) {
            let records: Vec<Record> = state.log.iter().map(|it| Record::clone(it)).collect();
            let told = review::lines(&records, Language::Spanish);
            assert!(!told.is_empty());
        }
    }

    /// Whoever is ordered may hold the role, brings a piece that is there, and is sent over ways that are open.
    fn check_orders(&self, facts: &Facts, new: &[Arc<Record>]) {
        let plan = &facts.opened.as_ref().expect("it is open").plan;
        for order in &facts.orders {
            let posting = &order.posting;
            let person = plan.responder(&posting.responder).expect("of the plan");
            let case = facts.case_of(order.casualty);
            let role = case
                .method(&order.method)
                .and_then(|it| it.role(&posting.role));
            let needed = role.and_then(|it| it.qualification.as_ref());
            assert!(
                needed.is_none_or(|it| person.holds(it)),
                "{} has no {needed:?} and is ordered",
                person.id
            );
            if order.method.is_empty() && posting.role == Posting::FIRST_AID {
                assert!(person.gives_first_aid(), "{} is no first aider", person.id);
            }
            if let (Some(station), Some(kit)) = (&posting.station, &posting.kit) {
                let kept = plan.station(station).expect("of the plan");
                let item = kept.kit.iter().find(|it| it.name == *kit);
                let item = item.expect("it is kept there");
                let same = facts.orders.iter().filter(|it| {
                    it.posting.station.as_ref() == Some(station)
                        && it.posting.kit.as_ref() == Some(kit)
                });
                let asked = same.count();
                assert!(
                    asked <= item.count as usize,
                    "{asked} are to bring {kit}, of which there are {}",
                    item.count
                );
                assert!(item.in_service(), "{kit} is out of service");
            }
        }
        if facts.blocked.is_empty() {
            return;
        }
        for record in new {
            let (Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. }) =
                &record.event
            else {
                continue;
            };
            if let Some(last) = posting.way.last() {
                assert_eq!(last.0, posting.place, "the way ends where the order does");
                for pair in posting.way.windows(2) {
                    let mut between = plan.links.iter().filter(|it| {
                        [&it.from, &it.to] == [&pair[0].0, &pair[1].0]
                            || [&it.to, &it.from] == [&pair[0].0, &pair[1].0]
                    });
                    let open = |it: &groundward::plan::Link| {
                        it.closed.is_none() && !facts.blocked.contains(&it.id)
                    };
                    assert!(
                        between.any(open) || pair[0].0 == pair[1].0,
                        "sent from {} to {}, where nobody passes",
                        pair[0].0,
                        pair[1].0
                    );
                }
            }
        }
    }

    /// How many orders changed although nothing was reported, nothing came due, and nobody was sent beside the methods who may
    /// have stood ready for one: only because a crew was found that is worth more.
    fn unprompted(&self, new: &[Arc<Record>]) -> u64 {
        let reason = |record: &Record| {
            !matches!(
                record.event,
                Event::OrderGiven { .. }
                    | Event::OrderWithdrawn { .. }
                    | Event::ForecastAdopted { .. }
                    | Event::PromptShown { .. }
                    | Event::ClockMarked {}
                    | Event::WordsSaid { .. }
                    | Event::OrdersUnanswered { .. }
            )
        };
        let log = &self.engine.state().log;
        let mut count = 0;
        for record in new {
            let (Event::OrderGiven { instead, .. } | Event::TaskGiven { instead, .. }) =
                &record.event
            else {
                continue;
            };
            let Some(before) = instead.first() else {
                continue;
            };
            let given = log.iter().rev().find(|it| match &it.event {
                Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. } => {
                    it.seq < record.seq && *posting == before.posting
                }
                _ => false,
            });
            // What was reported since the numbers from which that order came is a reason too.
            let given = given.map_or(0, |it| it.seq);
            let mut numbers = log.iter().rev().filter(|it| it.seq <= given);
            let numbers = numbers.find(|it| matches!(it.event, Event::ForecastAdopted { .. }));
            let since = numbers.map_or(0, |it| it.seq);
            let mut between = log
                .iter()
                .filter(|it| it.seq > since && it.seq < record.seq);
            count += u64::from(!between.any(|it| reason(it)));
        }
        count
    }
}

/// Where two differ first, with a little of what stands around it.
fn difference(one: &impl std::fmt::Debug, other: &impl std::fmt::Debug) -> String {
    let (one, other) = (format!("{one:?}"), format!("{other:?}"));
    let same = one.chars().zip(other.chars()).take_while(|it| it.0 == it.1);
    let from = same.count().saturating_sub(200);
    let around = |text: &str| text.chars().skip(from).take(400).collect::<String>();
    format!("…{}… against …{}…", around(&one), around(&other))
}

fn is_fall(record: &Record) -> bool {
    matches!(record.event, Event::FallTimeSet { .. })
}

/// True where a text is there and every argument found its place. Arguments are written by people and may hold anything.
fn is_whole(message: &Message, language: Language) -> bool {
    let plain = Message {
        id: message.id,
        args: message.args.iter().map(|_| "x".to_owned()).collect(),
    };
    let text = plain.text(language);
    !text.trim().is_empty() && !text.contains(['{', '}'])
}

/// No text is missing in any language, and a prompt has at most nine words in each.
fn check_words(asked: &Prompt, state: &State) {
    assert!(
        Id::PROMPTS.contains(&asked.message.id),
        "{:?}",
        asked.message.id
    );
    for language in Language::ALL_SPOKEN {
        let text = asked.message.text(language);
        assert!(is_whole(&asked.message, language), "{text}");
        let words = text.split_whitespace().count();
        assert!(words <= 9 || is_wordy(state), "`{text}` is too long");
        let lines = asked.lines.iter().chain(&asked.caution);
        for line in lines.chain(asked.choices().map(|it| &it.label)) {
            assert!(is_whole(line, language), "{line:?}");
        }
    }
}

/// The built-in prompts have room for names of so many words.
const NAME_WORDS_MAX: usize = 3;

/// True where the plan's own words make prompts longer than nine words, of which its author was warned.
fn is_wordy(state: &State) -> bool {
    let Some(Event::Opened(opening)) = state.log.first().map(|it| &it.event) else {
        return false;
    };
    let reading = read_on("plan.toml", opening.plan.as_bytes(), day());
    let mut people = reading.plan.iter().flat_map(|it| &it.responders);
    let warned = reading.findings.iter().any(|it| it.id == "prompt-too-long");
    warned || people.any(|it| it.name.split_whitespace().count() > NAME_WORDS_MAX)
}

/// The first prompt makes safe; the call is among the first two unless something came between that goes before it.
fn check_first_prompts(state: &State, new: &[Arc<Record>]) {
    let early =
        |it: &Arc<Record>| matches!(it.event, Event::PromptShown { number, .. } if number <= 2);
    if !new.iter().any(early) {
        return;
    }
    let shown = state.log.iter().filter_map(|it| match &it.event {
        Event::PromptShown { message, .. } => Some(message.as_str()),
        _ => None,
    });
    let first: Vec<&str> = shown.take(2).collect();
    assert!(
        matches!(first.first(), Some(&"safe-to-go-near")),
        "{first:?}"
    );
    if let Some(second) = first.get(1) {
        assert!(
            second.starts_with("call-")
                || [
                    "danger",
                    "let-stand",
                    "let-stand-by",
                    "close-nobody-hanging",
                    "safe-to-go-near",
                    "care-safe-here",
                    "brief-title",
                    "who-commands",
                    "outside-leads",
                    "close-counted"
                ]
                .contains(second)
                || state.facts.call.confirmed.is_some()
                || state.facts.call.passed.is_some(),
            "the second prompt was {second}"
        );
    }
}

/// A living person in a drill: what they show is never played, they hang no longer than was said, their watcher does nothing
/// else; and what has become a rescue stays one.
fn check_drill(facts: &Facts, new: &[Arc<Record>], shown: &str) {
    if new.iter().any(|it| it.event == Event::RealCalled {}) {
        assert!(!facts.is_drill());
        assert!(facts.call.confirmed.is_none() && !facts.call.ordered.is_empty());
    }
    assert!(!(facts.played.real.is_some() && facts.is_drill()));
    let Some(guards) = facts.guards() else {
        return;
    };
    let first = &facts.casualties[0];
    assert!(
        first
            .condition
            .is_none_or(|it| it.0 != Condition::NotAnswering)
    );
    let since = facts
        .line
        .reached_at()
        .max(facts.line.reached_at().saturating_sub(first.fell));
    let over = since >= guards.limit && first.off.is_none() && facts.played.stands.is_none();
    if over {
        assert!(
            facts.played.let_stand.is_some(),
            "{since:?} and nobody is told"
        );
        assert!(
            ["let-stand", "let-stand-by", "danger"].contains(&shown),
            "{shown}"
        );
    }
    let on_orders = facts.orders.iter().map(|it| &it.posting.responder);
    for id in on_orders.chain(facts.caller()) {
        assert_ne!(Some(id), guards.watcher.as_ref(), "the watcher is ordered");
    }
}

/// The rules of a rescue.
fn check_rules(facts: &Facts, asked: &Prompt, new: &[Arc<Record>]) {
    let case = facts.case();
    let text = || asked.message.text(Language::English);
    let shown = facts.shown.as_ref().map_or("", |it| &it.message);
    // Rule 6: danger stands before everything.
    assert_eq!(facts.danger.is_some(), shown == "danger");
    check_drill(facts, new, shown);
    // Rule 7: no prompt asks to change while committed, and none offers a third minute.
    assert!(!(shown == "change-to" && facts.committed()));
    assert!(facts.running().as_ref().is_none_or(|it| it.more <= 2));
    // Rule 11: nobody who hangs, may hang or cannot is on an order, calls, or is named by a prompt; nobody is on two.
    let hang = facts.may_hang();
    let on_orders = facts.orders.iter().map(|it| &it.posting.responder);
    for id in on_orders.clone().chain(facts.caller()) {
        assert!(
            !hang.contains(id),
            "{id} may hang and is ordered; `{}`",
            text()
        );
        assert!(!facts.cannot.contains(id), "{id} cannot and is ordered");
    }
    let mut once: Vec<&String> = on_orders.collect();
    once.sort();
    once.dedup();
    assert_eq!(once.len(), facts.orders.len(), "somebody is on two orders");
    let by_name = [
        Id::StepBy,
        Id::HazardTaskBy,
        Id::CallBy,
        Id::TieBy,
        Id::AskCasualtyBy,
        Id::CareLayFlatBy,
    ];
    if by_name.contains(&asked.message.id) {
        let named = |id: &String| facts.name(id) == asked.message.args[0];
        let opened = facts.opened.as_ref().expect("it is open");
        let mut people =
            opened.plan.responders.iter().filter(|it| {
                opened.roll_call.contains(&it.id) && !opened.visitors.contains(&it.id)
            });
        let may = people.any(|it| named(&it.id) && !hang.contains(&it.id));
        assert!(
            may,
            "`{}` orders somebody who may hang or is not on shift",
            text()
        );
    }
    check_step(facts, asked);
    // Rule 8: what cannot work is not begun.
    let started = new.iter().rev().find_map(|it| match &it.event {
        Event::MethodStarted { method, .. } => Some((it.casualty, method)),
        _ => None,
    });
    if let Some((number, method)) = started {
        let case = facts.case_of(number);
        let running = case.casualty.running.as_ref();
        let runs = running.is_some_and(|it| it.method == *method);
        if let (true, Some(method)) = (runs, case.method(method)) {
            assert!(!case.verdict(method).is_out(), "{} was begun", method.id);
        }
    }
    // Rule 5: the worst stays the worst. Rule 10: the one worked on exists, and the clock of each stands still off the
    // harness and nowhere else.
    assert!(facts.focus < facts.casualties.len().max(1));
    let (now, later) = (Millis(1_000_000_000_000), Millis(1_000_000_060_000));
    for case in facts.cases() {
        let condition = case.casualty.condition.map(|it| it.0);
        assert!(case.casualty.worst >= condition);
        let counts = case.hanging(later) > case.hanging(now);
        assert_eq!(counts, case.casualty.off.is_none());
    }
    // What is to be said is short enough, and about orders that stand.
    if let Some(words) = to_say(facts) {
        let opened = facts.opened.as_ref().expect("it is open");
        let said = words.text(opened.language);
        let long = said.split_whitespace().count() > 20 && opened.language != Language::Pseudo;
        let parts = words.parts.iter();
        assert!(parts.clone().all(|it| is_whole(it, opened.language)));
        assert!(
            !long || words.orders.len() <= 1,
            "`{said}` has more than twenty words"
        );
    }
    let _ = case;
}

/// Rules 2 and 9: a step near or exposed only when it is safe, tied off and checked; an entry only with its conditions.
fn check_step(facts: &Facts, asked: &Prompt) {
    let case = facts.case();
    let text = || asked.message.text(Language::English);
    let asks = |act: &Act| asked.main.as_ref().is_some_and(|it| it.act == *act);
    let hangs = case.casualty.off.is_none();
    if asks(&Act::TiedOff) && hangs {
        assert!(facts.may_go_near(), "`{}` before it is safe", text());
    }
    let (true, Some((running, method, step))) = (asks(&Act::StepDone), case.step()) else {
        return;
    };
    let near = step.near || step.exposed || step.committed || step.milestone.is_some();
    if hangs {
        assert!(
            !near
                || facts.may_go_near()
                || step.milestone == Some(groundward::plan::Milestone::Landing),
            "`{}` goes near before it is safe",
            text()
        );
    }
    let role = case.role(running, method, step);
    let fallback = running.fallback.and_then(|it| step.fallback.get(it));
    if step.exposed && fallback.is_none() {
        let tied = running.tied.is_some_and(|(at, _)| at == running.step);
        assert!(tied, "`{}` exposes somebody who is not tied off", text());
    }
    if let Some(space) = case.position().and_then(|it| it.confined_space.as_ref())
        && role.is_some_and(|it| it.enters)
        && (step.near || step.committed)
    {
        assert_eq!(running.entry.len(), space.conditions.len(), "`{}`", text());
    }
    assert!(!running.held, "`{}` although something stopped it", text());
    assert!(
        facts.outside.leads.is_none() || !hangs,
        "`{}` while outside leads",
        text()
    );
    assert!(
        running.securing.is_none(),
        "`{}` before it is secured",
        text()
    );
}
