//! Says the one thing to do now, with its answers, from what is known and the time.
//!
//! The order of the questions below is the order of a rescue; whatever holds people back from danger stands before
//! whatever hurries them. Prompts are message ids with arguments; every prompt has a way forward.

use super::event::{Aftercare, Closing, Condition};
use super::state::{Facts, MORE_TIME_MAX, Running, Whereabouts};
use crate::plan::{HazardKind, Method, Milestone, Step};
use crate::units::Millis;
use crate::words::{Id, Message, clock};

/// What a touch asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// It is safe to go near.
    SaySafe,
    /// It is not safe yet.
    SayNotYet,
    /// A hazard is safe.
    HazardSafe(String),
    /// A hazard is not safe yet.
    HazardNotYet(String),
    /// The caller was told.
    CallPassed,
    /// The call was made.
    CallMade,
    /// The casualty hangs here; none means a place the plan does not list.
    ChoosePosition(Option<String>),
    /// The fall was this long ago, or at least this long.
    SetFall {
        /// How long before the touch.
        ago: Millis,
        /// True where nobody saw the fall.
        at_least: bool,
    },
    /// The step, or its fallback, is done.
    StepDone,
    /// It does not work.
    NotWorking,
    /// Both are connected and the weight is held.
    Secured,
    /// Change to the next method.
    Change,
    /// One more minute.
    MoreTime,
    /// Go straight to this method.
    GoStraight(String),
    /// The casualty is like this.
    Report(Condition),
    /// A responder can touch the casualty.
    Contact,
    /// The weight no longer hangs.
    OffHarness,
    /// It still hangs: the mark was a mistake.
    StillHanging,
    /// The casualty is at the landing place.
    AtLanding,
    /// An aftercare answer.
    Care(Aftercare, bool),
    /// Everybody stop.
    Danger,
    /// The danger is over, decided by this responder, or by somebody from outside.
    DangerOver(Option<String>),
    /// Begin the closing questions.
    BeginClosing,
    /// Leave them.
    LeaveClosing,
    /// A closing answer.
    Close(Closing),
    /// End the incident.
    StandDown,
    /// Leave the ended incident.
    Leave,
}

/// An answer on the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What it says.
    pub label: Message,
    /// A smaller line below.
    pub sub: Option<Message>,
    /// What it asks for.
    pub act: Act,
    /// True where it must be held.
    pub held: bool,
}

/// The one thing to do now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Prompt {
    /// What to do.
    pub message: Message,
    /// One line of caution.
    pub caution: Option<Message>,
    /// Further lines.
    pub lines: Vec<Message>,
    /// The big answer.
    pub main: Option<Choice>,
    /// The small answer beside it.
    pub small: Option<Choice>,
    /// The answer that stands apart.
    pub other: Option<Choice>,
    /// A list to choose from, instead of the big answer.
    pub options: Vec<Choice>,
}

/// Which answer was touched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pick {
    /// The big one.
    Main,
    /// The small one beside it.
    Small,
    /// The one that stands apart.
    Other,
    /// One of the list.
    Option(usize),
}

impl Prompt {
    /// The choice behind a touch, where it is there.
    pub fn choice(&self, pick: Pick) -> Option<&Choice> {
        match pick {
            Pick::Main => self.main.as_ref(),
            Pick::Small => self.small.as_ref(),
            Pick::Other => self.other.as_ref(),
            Pick::Option(index) => self.options.get(index),
        }
    }

    /// Every answer.
    pub fn choices(&self) -> impl Iterator<Item = &Choice> {
        self.main
            .iter()
            .chain(&self.small)
            .chain(&self.other)
            .chain(&self.options)
    }

    fn ask(message: Message) -> Prompt {
        Prompt {
            message,
            caution: None,
            lines: Vec::new(),
            main: None,
            small: None,
            other: None,
            options: Vec::new(),
        }
    }

    fn caution(mut self, id: Id) -> Prompt {
        self.caution = Some(Message::of(id));
        self
    }

    fn line(mut self, message: Message) -> Prompt {
        self.lines.push(message);
        self
    }

    fn main(mut self, choice: Choice) -> Prompt {
        self.main = Some(choice);
        self
    }

    fn other(mut self, choice: Choice) -> Prompt {
        self.other = Some(choice);
        self
    }
}

impl Choice {
    fn new(id: Id, act: Act) -> Choice {
        Choice {
            label: Message::of(id),
            sub: None,
            act,
            held: false,
        }
    }

    fn saying(label: Message, act: Act) -> Choice {
        Choice {
            label,
            sub: None,
            act,
            held: false,
        }
    }

    fn held(mut self) -> Choice {
        self.held = true;
        self
    }

    fn sub(mut self, sub: Message) -> Choice {
        self.sub = Some(sub);
        self
    }
}

/// The one prompt at this time; none on standby.
pub fn prompt(facts: &Facts, at: Millis) -> Option<Prompt> {
    let opened = facts.opened.as_ref()?;
    Some(if facts.stood_down.is_some() {
        Prompt::ask(Message::of(Id::Closed)).main(Choice::new(Id::ClosedDone, Act::Leave))
    } else if facts.danger.is_some() {
        danger(facts)
    } else if let Some(answered) = &facts.closing {
        closing(facts, answered)
    } else if facts.casualty().off.is_some() {
        after_release(facts, at)
    } else if facts.scene.safe.is_none() && facts.scene.not_yet.is_none() {
        safe_question(facts, Id::SafeToGoNear)
    } else if call_is_prompted(facts, at) {
        call(facts)
    } else if facts.place == Whereabouts::Unknown {
        whereabouts(&opened.plan.positions)
    } else if facts.running.as_ref().is_some_and(|r| r.securing.is_some()) {
        Prompt::ask(Message::of(Id::MakeSafeBoth))
            .caution(Id::MakeSafeCaution)
            .main(Choice::new(Id::BothHeld, Act::Secured))
    } else if make_safe_is_prompted(facts, at) {
        make_safe(facts)
    } else if facts.change_is_due(at) {
        change(facts, at)
    } else {
        work(facts)
    })
}

/// True while the call stands before the rescue. It gives way after a few seconds and stays on its tile; when it goes to
/// the next person that is said by the tile and a cue, because a prompt that comes up under a finger gets a wrong answer.
fn call_is_prompted(facts: &Facts, at: Millis) -> bool {
    let call = &facts.call;
    let waited = call
        .prompted
        .map_or(0, |since| at.0.saturating_sub(since.0));
    !call.ordered.is_empty()
        && call.passed.is_none()
        && call.confirmed.is_none()
        && waited < facts.policy().call_gives_way.0
}

/// True where making safe stands before the work: always when the work would go near, else unless it was just put off.
fn make_safe_is_prompted(facts: &Facts, at: Millis) -> bool {
    if facts.may_go_near() {
        return false;
    }
    let put_off = facts
        .scene
        .not_yet
        .is_some_and(|t| at.0.saturating_sub(t.0) < facts.policy().ask_again.0);
    !put_off
        || facts
            .step()
            .is_none_or(|(_, _, step)| held_back(facts, step))
}

/// True where a step must wait until it is safe: it takes somebody past the approach point or to the casualty, or a
/// supply is not confirmed off, which bars every touch.
pub(super) fn held_back(facts: &Facts, step: &Step) -> bool {
    !facts.may_go_near() && (goes_near(step) || facts.touch_nothing())
}

fn goes_near(step: &Step) -> bool {
    step.near
        || step.exposed
        || step.committed
        || matches!(
            step.milestone,
            Some(Milestone::FirstContact | Milestone::OffHarness)
        )
}

fn danger(facts: &Facts) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(Id::Danger))
        .caution(Id::DangerCaution)
        .line(Message::of(Id::DangerGoesOn));
    prompt = prompt.line(Message::of(Id::DangerOverWho));
    let command = facts.opened.as_ref().and_then(|o| o.in_command.clone());
    let mut deciders: Vec<String> = command.into_iter().collect();
    for id in facts.free_people() {
        if !deciders.contains(&id) {
            deciders.push(id);
        }
    }
    deciders.truncate(3);
    prompt.options = deciders
        .into_iter()
        .map(|id| {
            let label = Message::with(Id::DangerOverBy, [facts.name(&id)]);
            Choice::saying(label, Act::DangerOver(Some(id))).held()
        })
        .collect();
    prompt
        .options
        .push(Choice::new(Id::DangerOverOutside, Act::DangerOver(None)).held());
    prompt
}

fn safe_question(facts: &Facts, id: Id) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(id))
        .main(Choice::new(Id::IsSafe, Act::SaySafe))
        .other(Choice::new(Id::NotYet, Act::SayNotYet).sub(Message::of(Id::NotYetSub)));
    let hazards = facts.position().map_or(&[][..], |p| &p.hazards);
    for hazard in hazards
        .iter()
        .filter(|h| !facts.scene.made_safe.contains(&h.id))
    {
        let who = hazard.by.as_deref().map(|id| facts.name(id));
        prompt.lines.push(match who {
            Some(who) => Message::with(Id::HazardBy, [who, &hazard.task]),
            None => Message::with(Id::Step, [&hazard.task]),
        });
    }
    if hazards.is_empty() {
        prompt.lines.push(Message::of(Id::LookFor));
    }
    if id == Id::SafeToGoNear {
        prompt.lines.push(Message::of(Id::OthersStop));
    }
    prompt
}

/// Asks for the next thing that keeps people from going near.
fn make_safe(facts: &Facts) -> Prompt {
    let Some(hazard) = facts.open_hazard() else {
        return safe_question(facts, Id::SafeToGoNearAgain);
    };
    // Somebody who may be the one hanging is not ordered; the person in command asks for it instead.
    let by = hazard
        .by
        .as_ref()
        .filter(|id| facts.free_people().contains(id));
    let message = match by {
        Some(id) => Message::with(Id::HazardTaskBy, [facts.name(id), &hazard.task]),
        None => Message::with(Id::HazardTask, [&hazard.task]),
    };
    let caution = if hazard.kind == HazardKind::Electric {
        Id::ElectricKeepOff
    } else {
        Id::KeepAway
    };
    Prompt::ask(message)
        .caution(caution)
        .main(Choice::saying(
            Message::written(&hazard.done),
            Act::HazardSafe(hazard.id.clone()),
        ))
        .other(
            Choice::new(Id::NotYet, Act::HazardNotYet(hazard.id.clone()))
                .sub(Message::of(Id::NotYetSub)),
        )
}

fn call(facts: &Facts) -> Prompt {
    let site = facts.opened.as_ref().map(|o| &o.plan.site);
    let number = site.map_or("", |s| s.emergency_number.as_str());
    let mut prompt = match facts.call.ordered.last() {
        Some((Some(id), _)) => Prompt::ask(Message::with(Id::CallBy, [facts.name(id), number]))
            .main(Choice::saying(
                Message::with(Id::CallPassedBy, [facts.name(id)]),
                Act::CallPassed,
            )),
        _ => Prompt::ask(Message::with(Id::CallAlone, [number]))
            .main(Choice::new(Id::CallPassedAlone, Act::CallPassed)),
    };
    if facts.opened.as_ref().is_some_and(|o| o.drill) {
        prompt = prompt.caution(Id::CallDrill);
    }
    prompt = prompt.line(Message::of(Id::CallSay));
    match site {
        Some(site) if !site.meeting_point.is_empty() => {
            prompt.line(Message::with(Id::CallMeet, [&site.meeting_point]))
        }
        _ => prompt,
    }
}

fn whereabouts(positions: &[crate::plan::Position]) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(Id::WhereHanging));
    prompt.options = positions
        .iter()
        .map(|p| {
            Choice::saying(
                Message::written(&p.name),
                Act::ChoosePosition(Some(p.id.clone())),
            )
        })
        .collect();
    prompt.options.push(
        Choice::new(Id::NotListed, Act::ChoosePosition(None)).sub(Message::of(Id::NotListedSub)),
    );
    prompt
}

fn change(facts: &Facts, at: Millis) -> Prompt {
    let running = facts.running.as_ref();
    let now = running.and_then(|r| facts.method(&r.method));
    let next = facts.next_method().map_or("", |m| m.name.as_str());
    let ruled_out = now.is_some_and(|m| facts.ruled_out(m));
    let mut prompt = Prompt::ask(Message::with(Id::ChangeTo, [next])).main(Choice::saying(
        Message::with(Id::ChangeAnswer, [next]),
        Act::Change,
    ));
    prompt.caution = Some(match now {
        Some(_) if ruled_out => Message::of(Id::ConditionRulesOut),
        Some(method) => Message::with(Id::ChangeByPassed, [&method.name]),
        None => Message::of(Id::PastTarget),
    });
    if !ruled_out && running.is_some_and(|r| r.more < MORE_TIME_MAX && at >= r.change_by) {
        prompt.small = Some(Choice::new(Id::MoreTime, Act::MoreTime));
    }
    prompt
}

fn work(facts: &Facts) -> Prompt {
    let Some((running, method, step)) = facts.step() else {
        return if facts.running.is_some() {
            weight_off(facts)
        } else {
            nothing_left(facts)
        };
    };
    let mut prompt = step_prompt(facts, running, method, step);
    prompt.caution = match &step.caution {
        Some(text) => Some(Message::written(text)),
        None if step.exposed => Some(Message::of(Id::TiesOff)),
        None => None,
    };
    let releases = step.milestone == Some(Milestone::OffHarness);
    prompt.main = prompt
        .main
        .map(|answer| if releases { answer.held() } else { answer });
    prompt.other(
        Choice::new(Id::NotWorking, Act::NotWorking).sub(what_is_next(
            facts,
            step,
            running.fallback,
        )),
    )
}

/// Who does what, and the answer that repeats it; a fallback in place of the step while one is tried, and no name where
/// nobody holds the role.
fn step_prompt(facts: &Facts, running: &Running, method: &Method, step: &Step) -> Prompt {
    let fallback = running.fallback.and_then(|f| step.fallback.get(f));
    let (role, say, done) = match fallback {
        Some(f) => (f.role.as_ref().or(step.role.as_ref()), &f.say, &f.done),
        None => (step.role.as_ref(), &step.say, &step.done),
    };
    let posting = role.and_then(|role| facts.posting(&method.id, role));
    let order = match posting {
        Some(posting) => Message::with(Id::StepBy, [facts.name(&posting.responder), say]),
        None => Message::with(Id::Step, [say]),
    };
    Prompt::ask(order).main(Choice::saying(Message::written(done), Act::StepDone))
}

/// Names what "not working" leads to.
fn what_is_next(facts: &Facts, step: &Step, fallback: Option<usize>) -> Message {
    let next = fallback.map_or(0, |f| f + 1);
    match (step.fallback.get(next), facts.next_method()) {
        (Some(fallback), _) => Message::with(Id::NextIs, [&fallback.say]),
        (None, Some(method)) => Message::with(Id::NextIs, [&method.name]),
        (None, None) => Message::of(Id::NextNone),
    }
}

fn weight_off(facts: &Facts) -> Prompt {
    Prompt::ask(Message::of(Id::WeightOff))
        .caution(Id::WeightOffCaution)
        .main(Choice::new(Id::OffHarness, Act::OffHarness).held())
        .other(
            Choice::new(Id::NotWorking, Act::NotWorking).sub(match facts.next_method() {
                Some(method) => Message::with(Id::NextIs, [&method.name]),
                None => Message::of(Id::NextNone),
            }),
        )
}

/// At most this many methods are offered again at once.
const TRY_AGAIN_MAX: usize = 5;

fn nothing_left(facts: &Facts) -> Prompt {
    let mut prompt = Prompt::ask(Message::of(Id::NothingLeft)).caution(Id::NothingLeftCaution);
    prompt.options = facts
        .methods()
        .iter()
        .filter(|m| !facts.ruled_out(m))
        .take(TRY_AGAIN_MAX)
        .map(|m| {
            Choice::saying(
                Message::with(Id::TryMethod, [&m.name]),
                Act::GoStraight(m.id.clone()),
            )
        })
        .collect();
    prompt
        .options
        .push(Choice::new(Id::OffHarness, Act::OffHarness).held());
    prompt
}

/// From off the harness to the closing questions: down to the landing place, then care.
fn after_release(facts: &Facts, at: Millis) -> Prompt {
    let still = Choice::new(Id::StillHanging, Act::StillHanging)
        .sub(Message::of(Id::StillHangingSub))
        .held();
    if call_is_prompted(facts, at) {
        return call(facts);
    }
    if let Some((running, method, step)) = facts.step() {
        let mut prompt = step_prompt(facts, running, method, step).caution(Id::KeepFlat);
        if let Some(text) = &step.caution {
            prompt = prompt.line(Message::written(text));
        }
        let next = running.fallback.map_or(0, |f| f + 1);
        prompt.other = Some(match step.fallback.get(next) {
            Some(f) => Choice::new(Id::NotWorking, Act::NotWorking)
                .sub(Message::with(Id::NextIs, [&f.say])),
            None => still,
        });
        return prompt;
    }
    let item = next_care(facts, at);
    let landed = facts.casualty().landed.is_some();
    if !landed && item > Aftercare::Resuscitate {
        return landing(facts).other(still);
    }
    care(facts, item).other_if_none(still)
}

impl Prompt {
    fn other_if_none(mut self, choice: Choice) -> Prompt {
        self.other.get_or_insert(choice);
        self
    }
}

fn landing(facts: &Facts) -> Prompt {
    // Off the harness by this method: it may bring the casualty to another place than the position's.
    let running = facts.running.as_ref().and_then(|r| facts.method(&r.method));
    let own = running.and_then(|m| m.landing.as_ref());
    let place = facts
        .position()
        .and_then(|p| facts.opened.as_ref()?.plan.place(own.unwrap_or(&p.landing)));
    let message = match place {
        Some(place) => Message::with(Id::ToLanding, [&place.name]),
        None => Message::of(Id::ToLandingGeneric),
    };
    Prompt::ask(message)
        .caution(Id::KeepFlat)
        .main(Choice::new(Id::AtLanding, Act::AtLanding))
}

/// Aftercare in its order. Resuscitation is asked only of a casualty who does not breathe.
const CARE: [Aftercare; 9] = [
    Aftercare::SafeHere,
    Aftercare::LayFlat,
    Aftercare::Bleeding,
    Aftercare::Airway,
    Aftercare::Breathing,
    Aftercare::Resuscitate,
    Aftercare::LoosenWarm,
    Aftercare::NeverAlone,
    Aftercare::Doctor,
];

/// The aftercare question to ask now. "Worse" begins again at the airway; what was put off is asked again.
fn next_care(facts: &Facts, at: Millis) -> Aftercare {
    let worse = facts
        .aftercare
        .iter()
        .rposition(|(item, well, _)| *item == Aftercare::Watch && !well);
    let answers = &facts.aftercare[worse.map_or(0, |i| i + 1)..];
    let last = |item: Aftercare| answers.iter().rev().find(|(i, _, _)| *i == item);
    let asked = CARE.into_iter().filter(|item| match item {
        Aftercare::Resuscitate => last(Aftercare::Breathing).is_some_and(|(_, well, _)| !well),
        item => worse.is_none() || *item >= Aftercare::Airway,
    });
    let asked: Vec<_> = asked.collect();
    if let Some(item) = asked.iter().find(|item| last(**item).is_none()) {
        return *item;
    }
    let again = facts.policy().ask_again.0;
    let put_off = asked
        .into_iter()
        .filter(|i| !matches!(i, Aftercare::Breathing | Aftercare::Resuscitate))
        .find(|item| {
            last(*item).is_some_and(|(_, well, t)| !well && at.0.saturating_sub(t.0) >= again)
        });
    put_off.unwrap_or(Aftercare::Watch)
}

/// When a question that was put off comes back.
pub(super) fn care_comes_back(facts: &Facts) -> impl Iterator<Item = Millis> + '_ {
    let again = facts.policy().ask_again;
    facts
        .aftercare
        .iter()
        .filter(|(_, well, _)| !well)
        .map(move |(_, _, t)| t.saturating_add(again))
}

fn care(facts: &Facts, item: Aftercare) -> Prompt {
    let yes = |id| Choice::new(id, Act::Care(item, true));
    let no = |id| Choice::new(id, Act::Care(item, false));
    let ask = |id| Prompt::ask(Message::of(id));
    match item {
        Aftercare::SafeHere => ask(Id::CareSafeHere).main(yes(Id::CareSafeHereDone)),
        Aftercare::LayFlat => match first_aider(facts) {
            Some(id) => Prompt::ask(Message::with(Id::CareLayFlatBy, [facts.name(&id)])),
            None => ask(Id::CareLayFlat),
        }
        .main(yes(Id::CareLayFlatDone)),
        Aftercare::Bleeding => ask(Id::CareBleeding)
            .main(yes(Id::CareBleedingDone))
            .other(no(Id::NotYet)),
        Aftercare::Airway => ask(Id::CareAirway)
            .caution(Id::CareAirwayCaution)
            .main(yes(Id::CareAirwayDone))
            .other(no(Id::NotYet)),
        Aftercare::Breathing => ask(Id::CareBreathing)
            .caution(Id::CareBreathingCaution)
            .main(yes(Id::CareBreathingDone))
            .other(no(Id::CareNotBreathing)),
        Aftercare::Resuscitate => ask(Id::CareResuscitate)
            .caution(Id::CareResuscitateCaution)
            .main(yes(Id::CareResuscitateDone))
            .other(no(Id::CareResuscitateTaken)),
        Aftercare::LoosenWarm => ask(Id::CareLoosenWarm)
            .main(yes(Id::CareLoosenWarmDone))
            .other(no(Id::NotYet)),
        Aftercare::NeverAlone => ask(Id::CareNeverAlone)
            .main(yes(Id::CareNeverAloneDone))
            .other(no(Id::NotYet)),
        Aftercare::Doctor => ask(Id::CareDoctor)
            .caution(Id::CareDoctorCaution)
            .main(yes(Id::CareDoctorDone))
            .other(no(Id::NotYet)),
        Aftercare::Watch => {
            let mut prompt = ask(Id::CareWatch)
                .caution(Id::CareWatchCaution)
                .main(yes(Id::CareWatchDone))
                .other(no(Id::CareWorse).sub(Message::of(Id::CareWorseSub)));
            prompt.small = Some(Choice::new(Id::HandedOver, Act::BeginClosing));
            prompt
        }
    }
}

/// Somebody free who is trained in first aid; the person in command last.
pub(super) fn first_aider(facts: &Facts) -> Option<String> {
    let opened = facts.opened.as_ref()?;
    let trained = |id: &String| {
        opened.plan.responder(id).is_some_and(|r| {
            r.qualifications
                .iter()
                .any(|q| q.name.to_lowercase().contains("first aid"))
        })
    };
    let mut people = facts.free_people();
    people.sort_by_key(|id| Some(id) == opened.in_command.as_ref());
    people.into_iter().find(trained)
}

const CLOSING: [Closing; 8] = [
    Closing::NobodyHanging,
    Closing::Counted,
    Closing::OffRope,
    Closing::HandedOver,
    Closing::KitWithdrawn,
    Closing::SceneLeft,
    Closing::WorkStopped,
    Closing::Welfare,
];

fn closing(facts: &Facts, answered: &[Closing]) -> Prompt {
    let off = facts.casualty().off.is_some();
    let asked =
        |item: &Closing| !answered.contains(item) && (*item != Closing::NobodyHanging || !off);
    let ask = |id| Prompt::ask(Message::of(id));
    let (prompt, done) = match CLOSING.into_iter().find(asked) {
        Some(item) => {
            let done = |id| Choice::new(id, Act::Close(item));
            match item {
                Closing::NobodyHanging => (
                    ask(Id::CloseNobodyHanging),
                    done(Id::CloseNobodyHangingDone).held(),
                ),
                Closing::Counted => (ask(Id::CloseCounted), done(Id::CloseCountedDone)),
                Closing::OffRope => (ask(Id::CloseOffRope), done(Id::CloseOffRopeDone)),
                Closing::HandedOver => (ask(Id::CloseHandedOver), done(Id::CloseHandedOverDone)),
                Closing::KitWithdrawn => {
                    (ask(Id::CloseKitWithdrawn), done(Id::CloseKitWithdrawnDone))
                }
                Closing::SceneLeft => (ask(Id::CloseSceneLeft), done(Id::CloseSceneLeftDone)),
                Closing::WorkStopped => (
                    ask(Id::CloseWorkStopped).caution(Id::CloseWorkStoppedCaution),
                    done(Id::CloseWorkStoppedDone),
                ),
                Closing::Welfare => (ask(Id::CloseWelfare), done(Id::CloseWelfareDone)),
            }
        }
        None => (
            ask(Id::CloseNow),
            Choice::new(Id::CloseNowDone, Act::StandDown).held(),
        ),
    };
    prompt
        .main(done)
        .other(Choice::new(Id::CloseBack, Act::LeaveClosing))
}

/// The line below the clock once the target has gone by; never a reason to stop.
pub fn past_target(facts: &Facts, at: Millis) -> Option<Message> {
    let target = facts.policy().target;
    (facts.is_open() && facts.casualty().off.is_none() && facts.hanging(at) > target)
        .then(|| Message::of(Id::PastTarget))
}

/// The mark of the target on the drop line.
pub fn target_mark(facts: &Facts) -> Message {
    Message::with(Id::TargetMark, [&clock(facts.policy().target)])
}
