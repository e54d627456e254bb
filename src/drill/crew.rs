//! Plays a crew: says what is touched next and when, from what is known and from times drawn by a seed.
//!
//! It reads the prompts and answers them, says and reads back orders, walks, works, fails and goes on, as the plan's times
//! and chances have it. It decides nothing that the person in command would be advised against. Whoever drives it, a table
//! or a tablet, asks for the next move and says whether it was taken. Limits: one crew pace; nobody errs; a radio that is
//! lost makes orders slower and loses none. Orders are spoken and read back one broadcast after the other, as `spoken` says,
//! and whoever reads back sets out with that. The fall is said with the alarm, as long before it as the plan's `alarm_time`,
//! because a forecast for a place where nobody hangs yet counts from such a fall too.

use std::collections::BTreeMap;

use super::pace::{Luck, Pace};
use super::spoken::Words;
use super::surprises::{self, Broken};
use crate::incident::{
    Act, Aftercare, Case, Choice, Command, Condition, Facts, Order, Pick, Prompt, Report, Running,
    Shown, Teller, prompt,
};
use crate::plan::{Method, Milestone, Policy, Step};
use crate::readiness::needed_at;
use crate::units::Millis;

/// A touch on the tablet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Touch {
    /// An answer to the prompt with this number.
    Answer {
        /// Number of the prompt as shown.
        prompt: u64,
        /// Which answer.
        pick: Pick,
    },
    /// Something beside the prompt.
    Do(Act),
}

impl Touch {
    /// What it asks the incident for.
    pub fn command(&self) -> Command {
        match self {
            Touch::Answer { prompt, pick } => Command::Answer {
                prompt: *prompt,
                pick: *pick,
            },
            Touch::Do(act) => Command::Do(act.clone()),
        }
    }
}

/// What a crew does next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Move {
    /// When, since activation; never before the last record.
    pub at: Millis,
    /// What is touched.
    pub touch: Touch,
    /// Index of the surprise that it answers, where it answers one.
    pub surprise: Option<usize>,
}

/// A prompt that came by itself takes no answer sooner than this.
const SOONEST: Millis = Millis(600);
/// Whoever has no order for a step after this is not coming.
const NOT_COMING: Millis = Millis::from_seconds(180);
/// A casualty who is cared for is handed over after this at the latest where nobody says when help comes.
const CARED_FOR: Millis = Millis::from_seconds(1_200);
/// A method is begun so often at most.
const ATTEMPTS_MAX: u64 = 3;

/// A simulated crew.
#[derive(Clone, Debug)]
pub struct Crew {
    pub(super) luck: Luck,
    /// When the fallback of a step was first seen to be tried: casualty, method, attempt, step, fallback.
    fallbacks: BTreeMap<(u16, String, u64, usize, usize), Millis>,
    words: Words,
    /// Since when one may go near a casualty, by their number.
    near: BTreeMap<u16, Millis>,
    /// What a surprise broke, by its index.
    pub(super) broken: BTreeMap<usize, Broken>,
    /// Surprises that were reacted to, by their index, and when.
    pub(super) met: BTreeMap<usize, Millis>,
    refused: Vec<Touch>,
}

/// Whether those who are needed for a step are there.
enum There {
    /// From this time on.
    Since(Millis),
    /// Somebody is still on the way, and will say so.
    Coming,
    /// Nobody holds a role of it.
    Missing,
}

impl Crew {
    /// A crew of this pace, for a place in this light. The same seed draws the same times.
    pub fn new(policy: &Policy, dark: bool, seed: u64, pace: Pace) -> Crew {
        Crew {
            luck: Luck::new(policy, dark, seed, pace),
            fallbacks: BTreeMap::new(),
            words: Words::default(),
            near: BTreeMap::new(),
            broken: BTreeMap::new(),
            met: BTreeMap::new(),
            refused: Vec::new(),
        }
    }

    /// When it reacted to each surprise, by index.
    pub fn met(&self) -> &BTreeMap<usize, Millis> {
        &self.met
    }

    /// Says that a move was made; one that had no effect is not tried again.
    pub fn took(&mut self, done: &Move, had_effect: bool) {
        match done.surprise {
            Some(index) if had_effect => _ = self.met.entry(index).or_insert(done.at),
            _ => {}
        }
        if had_effect && matches!(done.touch, Touch::Do(Act::Said(_))) {
            self.words.ended(done.at);
        }
        if !had_effect && !self.refused.contains(&done.touch) {
            self.refused.push(done.touch.clone());
        }
    }

    /// What is touched next and when; none where nothing is left but to wait for what the time brings.
    pub fn next(&mut self, facts: &Facts) -> Option<Move> {
        if !facts.is_open() {
            return None;
        }
        let now = facts.line.reached_at();
        self.see_fallback(facts, now);
        for case in facts.cases() {
            match case.may_go_near() {
                true => _ = self.near.entry(case.number).or_insert(now),
                false => _ = self.near.remove(&case.number),
            }
        }
        self.words.see(&self.luck, facts);
        surprises::see_broken(self, facts, now);
        let mut moves = surprises::moves(self, facts);
        moves.extend(self.beside(facts));
        moves.extend(self.to_the_prompt(facts, now));
        moves.retain(|it| !self.refused.contains(&it.touch));
        for it in &mut moves {
            it.at = it.at.max(now);
        }
        // Of several at one time the first of the list goes first.
        moves.into_iter().min_by_key(|it| it.at)
    }

    fn see_fallback(&mut self, facts: &Facts, now: Millis) {
        let case = facts.case();
        if let Some((running, method, _)) = case.step()
            && let Some(fallback) = running.fallback
        {
            let attempt = attempt(case, &method.id);
            let key = (
                case.number,
                method.id.clone(),
                attempt,
                running.step,
                fallback,
            );
            self.fallbacks.entry(key).or_insert(now);
        }
    }

    /// When an order is read back, and whoever has it sets out; none as long as it was not said.
    pub(super) fn understood(&self, facts: &Facts, order: &Order) -> Option<Millis> {
        self.words.understood(&self.luck, facts, order)
    }

    /// What is touched beside the prompt.
    fn beside(&self, facts: &Facts) -> Vec<Move> {
        let mut moves = Vec::new();
        let mut add = |at: Millis, act: Act| {
            moves.push(Move {
                at,
                touch: Touch::Do(act),
                surprise: None,
            });
        };
        let case = facts.case();
        let casualty = case.casualty;
        let hangs = casualty.off.is_none();
        let alarm = facts.policy().alarm_time;
        if !casualty.fell_corrected && hangs && facts.casualties.len() == 1 && alarm > Millis::ZERO
        {
            let at = facts.line.reached_at();
            let ago = at.saturating_add(alarm);
            add(
                at,
                Act::SetFall {
                    ago,
                    at_least: false,
                },
            );
        }
        if let Some((at, orders)) = self.words.next(&self.luck, facts) {
            add(at, Act::Said(orders));
        }
        for order in &facts.orders {
            let who = || order.posting.responder.clone();
            let Some(understood) = self.understood(facts, order) else {
                continue;
            };
            if order.heard.is_none() && order.there.is_none() {
                add(understood, Act::Responder(who(), Report::Heard));
            }
            if order.there.is_none() && !order.empty_handed {
                let (way, _) = self.luck.way(facts, order);
                add(
                    understood.saturating_add(way),
                    Act::Responder(who(), Report::There),
                );
            }
        }
        let call = &facts.call;
        match (call.confirmed, call.ordered.last()) {
            (None, Some((_, ordered))) => {
                let number = call.ordered.len() as u64;
                let told = self.luck.passing(facts, number.wrapping_neg());
                let time = self.luck.time("call", number, &self.luck.pace.call);
                add(
                    ordered.saturating_add(told).saturating_add(time),
                    Act::CallMade,
                );
            }
            (Some(made), _) if facts.outside.expected.is_none() => {
                let time = self.luck.time("help", 0, &self.luck.pace.help);
                let at = made.saturating_add(time);
                add(at, Act::HelpIn(usual_help(facts), Teller::Dispatcher));
            }
            _ => {}
        }
        if let Some((_, since)) = casualty.condition.filter(|_| hangs) {
            let every = facts.policy().check_every;
            let at = since.saturating_add(Millis(every.0 / 4 * 3));
            add(at, Act::Report(self.condition(facts, case)));
        }
        let held = casualty.running.as_ref().is_none_or(|it| it.held);
        if held
            && hangs
            && facts.outside.leads.is_none()
            && let Some(comes) = self.outside_comes(facts, case)
        {
            add(comes, Act::OutsideLeads);
        }
        moves
    }

    /// How a casualty is, as far as the surprises say.
    fn condition(&self, facts: &Facts, case: Case<'_>) -> Condition {
        let first = case.number == 1;
        match facts.exercise().filter(|_| first) {
            Some(exercise) => surprises::condition(self, exercise),
            None => Condition::Talking,
        }
    }

    /// When rescuers from outside who can reach somebody who hangs are here, once they were asked.
    fn outside_comes(&self, facts: &Facts, case: Case<'_>) -> Option<Millis> {
        let asked = facts.outside.asked?;
        let plan = &facts.opened.as_ref()?.plan;
        let relied = case.position().and_then(|it| it.relies_on.as_ref());
        let able = plan
            .outside_rescues
            .iter()
            .filter(|it| it.height_capable && relied.is_none_or(|id| *id == it.id));
        let arrivals = able.filter_map(|it| {
            let name = format!("outside/{}", it.id);
            Some(self.luck.time_of_others(&name, 0, it.arrival.as_ref()?))
        });
        arrivals.min().map(|it| asked.saturating_add(it))
    }

    /// The answer to the prompt.
    fn to_the_prompt(&self, facts: &Facts, now: Millis) -> Option<Move> {
        let asked = prompt(facts, now)?;
        let shown = facts.shown.as_ref()?;
        let (at, pick) = self.answer(facts, &asked, shown)?;
        let soonest = match shown.by_itself {
            true => shown.since.saturating_add(SOONEST),
            false => shown.since,
        };
        let surprise = match asked.choice(pick).map(|it| &it.act) {
            Some(Act::NotWorking) => surprises::broken_here(self, facts),
            _ => None,
        };
        Some(Move {
            at: at.max(soonest),
            touch: Touch::Answer {
                prompt: shown.number,
                pick,
            },
            surprise,
        })
    }

    /// When a question that was shown is answered where nothing but reading it takes time.
    fn read(&self, shown: &Shown) -> Millis {
        let time = self
            .luck
            .time("answer", shown.number, &self.luck.pace.answer);
        shown.since.saturating_add(time)
    }

    fn answer(&self, facts: &Facts, asked: &Prompt, shown: &Shown) -> Option<(Millis, Pick)> {
        let read = self.read(shown);
        let case = facts.case();
        let Some(main) = &asked.main else {
            return self.choose(facts, asked, read);
        };
        match &main.act {
            Act::HazardSafe(hazard) => {
                let told = case.casualty.scene.safe.unwrap_or(case.casualty.placed);
                let name = format!("hazard/{}/{hazard}", case.number);
                let done = told.saturating_add(self.luck.time(&name, 0, &self.luck.pace.hazard));
                // Asked again at once: nothing else can be done before it is safe.
                let again = case.casualty.scene.not_yet == Some(shown.since);
                match done <= read || again || asked.other.is_none() {
                    true => Some((done.max(read), Pick::Main)),
                    false => Some((read, Pick::Other)),
                }
            }
            Act::TiedOff | Act::EntryMet(_) | Act::GroundHeld => {
                let (running, method, _) = case.step()?;
                match self.there(facts, case, running, method) {
                    There::Since(there) => {
                        let time = self
                            .luck
                            .time("answer", shown.number, &self.luck.pace.answer);
                        let ready = there.max(shown.since);
                        Some((ready.saturating_add(time), Pick::Main))
                    }
                    There::Coming => self.gives_up(asked, running),
                    There::Missing => not_working(asked, read),
                }
            }
            Act::StepDone => self.work(facts, case, asked, read),
            Act::Secured => {
                let time = self
                    .luck
                    .time("secure", shown.number, &self.luck.pace.secure);
                Some((shown.since.saturating_add(time), Pick::Main))
            }
            Act::OffHarness if facts.outside.leads.is_some() => {
                let leads = facts.outside.leads.unwrap_or_default();
                let time = self
                    .luck
                    .time_of_others("outside", 0, &self.luck.pace.outside);
                Some((leads.saturating_add(time), Pick::Main))
            }
            Act::AtLanding => {
                let name = format!("carry/{}", case.number);
                let time = self.luck.time(&name, 0, &self.luck.pace.carry);
                Some((shown.since.saturating_add(time), Pick::Main))
            }
            Act::Care(Aftercare::Watch | Aftercare::LookAgain, _) => {
                let (off, _) = case.casualty.off?;
                let comes = facts.outside.expected;
                let help = comes
                    .unwrap_or_else(|| off.saturating_add(CARED_FOR))
                    .max(read);
                let every = Millis(facts.policy().check_every.0 / 4 * 3);
                let next = shown.since.saturating_add(every).max(read);
                match help <= next && !facts.anybody_hangs() && asked.small.is_some() {
                    true => Some((help, Pick::Small)),
                    false => Some((next, Pick::Main)),
                }
            }
            _ => Some((read, Pick::Main)),
        }
    }

    /// One of a list.
    fn choose(&self, facts: &Facts, asked: &Prompt, read: Millis) -> Option<(Millis, Pick)> {
        let find = |wanted: &dyn Fn(&Choice) -> bool| {
            asked.options.iter().position(wanted).map(Pick::Option)
        };
        let case = facts.case();
        let voice = self.condition(facts, case);
        if let Some(pick) = find(&|it| it.act == Act::Report(voice)) {
            return Some((read, pick));
        }
        let left = |it: &Choice| match &it.act {
            Act::GoStraight(method) => {
                attempt(case, method) < ATTEMPTS_MAX && !surprises::breaks(self, method)
            }
            _ => false,
        };
        let asks = find(&|it| it.act == Act::AskOutside);
        let goes = find(&left);
        let is_end = asked.options.iter().any(|it| it.act == Act::OffHarness);
        let held = asked.options.iter().any(|it| it.act == Act::GoOn);
        match (is_end, held) {
            // Nothing is left: help first, and again what may work where none can come.
            (true, _) => {
                let alone = self.outside_comes(facts, case).is_none();
                asks.or(goes.filter(|_| alone)).map(|pick| (read, pick))
            }
            // Something stopped it: nobody goes on against that.
            (_, true) => goes.or(asks).map(|pick| (read, pick)),
            _ => find(&|_| true)
                .or(asked.other.as_ref().map(|_| Pick::Other))
                .map(|pick| (read, pick)),
        }
    }

    /// Does the step, or finds that it does not work.
    fn work(
        &self,
        facts: &Facts,
        case: Case<'_>,
        asked: &Prompt,
        read: Millis,
    ) -> Option<(Millis, Pick)> {
        let (running, method, step) = case.step()?;
        let there = match self.there(facts, case, running, method) {
            There::Since(there) => there,
            There::Coming => return self.gives_up(asked, running),
            There::Missing => return not_working(asked, read),
        };
        let attempt = attempt(case, &method.id);
        let place = case.position().map_or("", |it| it.id.as_str());
        let named = format!("{place}/{}/{}", case.number, method.id);
        // Nobody works near before one may go there.
        let near = self.near.get(&case.number).filter(|_| goes_near(step));
        let begun = running
            .step_since
            .max(there)
            .max(near.copied().unwrap_or_default());
        let surprise = self
            .broken
            .values()
            .find(|it| it.is(case, attempt, running));
        let fails = case.casualty.off.is_none()
            && self.fails_at(&named, method, facts, attempt) == Some(running.step);
        if let Some(fallback) = running.fallback {
            let key = (
                case.number,
                method.id.clone(),
                attempt,
                running.step,
                fallback,
            );
            let since = self.fallbacks.get(&key).copied().unwrap_or(read);
            let tried = step.fallback.get(fallback)?;
            let name = format!("{named}/step-{}-fallback-{fallback}", running.step);
            let time = self
                .luck
                .time(&name, attempt, &tried.time.unwrap_or(step.time));
            let at = since.max(there).saturating_add(time);
            // What broke may have another way round; what the plan's chance lets fail has none.
            let helps = surprise.is_some() && self.works(&name, method, facts, attempt);
            return match fails || (surprise.is_some() && !helps) {
                true => not_working(asked, at),
                false => Some((at, Pick::Main)),
            };
        }
        if let Some(broken) = surprise {
            return not_working(asked, broken.since.max(there).max(read));
        }
        if fails {
            let shows = match step.fails_after {
                Some(after) => after,
                None => self.luck.at_pace(step.time.long),
            };
            return not_working(asked, begun.saturating_add(shows));
        }
        let name = format!("{named}/step-{}", running.step);
        let time = self.luck.time(&name, attempt, &step.time);
        Some((begun.saturating_add(time), Pick::Main))
    }

    fn works(&self, name: &str, method: &Method, facts: &Facts, attempt: u64) -> bool {
        let success = method.success.unwrap_or(facts.policy().assumed_success);
        let share = self.luck.share(&format!("{name}/works"), attempt);
        share < success.0 as f64 / 1_000_000.0
    }

    /// The step at which a method fails by the plan's own chance; none where it works.
    fn fails_at(&self, name: &str, method: &Method, facts: &Facts, attempt: u64) -> Option<usize> {
        if self.works(name, method, facts, attempt) {
            return None;
        }
        let release = release(method)?;
        let showing = method
            .steps
            .iter()
            .take(release.saturating_add(1))
            .enumerate();
        let showing: Vec<usize> = showing
            .filter(|(_, it)| it.fails_after.is_some())
            .map(|(index, _)| index)
            .collect();
        let chosen = self.luck.share(&format!("{name}/fails"), attempt) * showing.len() as f64;
        let last = showing.len().saturating_sub(1);
        Some(
            showing
                .get(crate::readiness::index(chosen).min(last))
                .copied()
                .unwrap_or(release),
        )
    }

    /// Nobody waits for ever for somebody who is not coming.
    fn gives_up(&self, asked: &Prompt, running: &Running) -> Option<(Millis, Pick)> {
        not_working(asked, running.step_since.saturating_add(NOT_COMING))
    }

    /// Whether everybody is there who is needed up to this step.
    fn there(&self, facts: &Facts, case: Case<'_>, running: &Running, method: &Method) -> There {
        let mut since = Millis::ZERO;
        for role in &method.roles {
            if needed_at(method, &role.id) > running.step {
                continue;
            }
            let Some(posting) = case.posting(&method.id, &role.id) else {
                return There::Missing;
            };
            let order = facts.order_of(&posting.responder);
            let own = |it: &&crate::incident::Order| {
                it.casualty == case.number && it.method == method.id && it.posting.role == role.id
            };
            let near = method.steps.get(running.step).is_some_and(goes_near);
            let Some(order) = order.filter(own) else {
                return There::Coming;
            };
            if near && order.posting.place != role.place || order.empty_handed {
                return There::Coming;
            }
            let comes = || {
                let understood = self.understood(facts, order)?;
                Some(understood.saturating_add(self.luck.way(facts, order).0))
            };
            match order.there.or_else(comes) {
                Some(there) => since = since.max(there),
                None => return There::Coming,
            }
        }
        There::Since(since)
    }
}

fn not_working(asked: &Prompt, at: Millis) -> Option<(Millis, Pick)> {
    let offered = asked.other.as_ref()?.act == Act::NotWorking;
    offered.then_some((at, Pick::Other))
}

/// How often a method was begun before for a casualty.
pub(super) fn attempt(case: Case<'_>, method: &str) -> u64 {
    let windows = case.casualty.windows.iter();
    windows.filter(|it| it.method == method).count() as u64
}

/// From the call to the first emergency crew at the gate, as the policy has it.
pub(super) fn usual_help(facts: &Facts) -> Millis {
    let policy = facts.policy();
    policy
        .ambulance_turnout
        .saturating_add(policy.ambulance_first_unit)
}

/// Index of the step that ends off the harness.
fn release(method: &Method) -> Option<usize> {
    let release = method
        .steps
        .iter()
        .position(|it| it.milestone == Some(Milestone::OffHarness));
    release.or(method.steps.len().checked_sub(1))
}

/// True for a step that takes somebody past the approach point.
fn goes_near(step: &Step) -> bool {
    step.near || step.exposed || step.committed
}
