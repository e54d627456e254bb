//! Says what each record adds to the story, in the past tense and for somebody who never saw the program.
//!
//! Prompts, clock marks and forecasts add nothing: they are the program's own. Names are those of the plan. Everybody is told of
//! alike, and nobody is praised or blamed. Times count from the alarm, because a fall may be set later and the alarm stays.

use super::measures::named;
use super::read::{Entry, Read, Walker};
use super::story::{Book, Key, Part, listed, time};
use super::{care, closing, conditions, note, order, reported, teller};
use crate::drill::Played;
use crate::incident::{Aftercare, CareTaker, Case, Due, Event, Facts, PlanStanding, Stop, Why};
use crate::plan::Step;
use crate::units::{Millis, Speed};
use crate::words::{Id, Phrase, date_and_time, wall_time, wind};

/// Tells a record at a time.
pub(super) struct Narrator<'r> {
    read: &'r Read,
    book: Book,
    /// The cause in which a method was said not to work, where nothing came of it yet.
    failed: Option<u64>,
    /// The cause in which a method was left, and its name.
    left: Option<(u64, String)>,
}

impl Walker for Narrator<'_> {
    fn after(&mut self, facts: &Facts, entry: &Entry) {
        let told = self.beginning(facts, entry)
            || self.scene(facts, entry)
            || self.help(facts, entry)
            || self.casualty(facts, entry)
            || self.people(facts, entry)
            || self.work(facts, entry)
            || self.command(facts, entry);
        if !told {
            self.end(facts, entry);
        }
    }
}

impl<'r> Narrator<'r> {
    pub(super) fn new(read: &'r Read) -> Narrator<'r> {
        Narrator {
            read,
            book: Book::default(),
            failed: None,
            left: None,
        }
    }

    pub(super) fn close(self) -> Book {
        self.book
    }

    /// What is known at the end, for what was set later.
    fn at_the_end(&self, number: u16) -> Case<'_> {
        self.read.state.facts.case_of(number)
    }

    /// The casualty, by number where there are several.
    fn who(&self, number: u16) -> Phrase {
        match self.several() {
            true => Phrase::with(Id::StoryCasualtyOf, [number.to_string().into()]),
            false => Phrase::of(Id::StoryCasualty),
        }
    }

    fn several(&self) -> bool {
        self.read.state.facts.casualties.len() > 1
    }

    fn say<const N: usize>(&mut self, part: Part, entry: &Entry, id: Id, with: [Phrase; N]) {
        let at = [time(entry.at)];
        let with: Vec<Phrase> = at.into_iter().chain(with).collect();
        let text = Phrase::Said {
            say: id.as_str().to_owned(),
            with,
        };
        self.book.say(part, entry, text);
    }

    /// What was opened, the alarm, the place, the fall, who hangs.
    fn beginning(&mut self, facts: &Facts, entry: &Entry) -> bool {
        let number = entry.record.casualty;
        let part = Part::Began;
        match &entry.record.event {
            Event::Opened(_) => self.opened(facts, entry),
            Event::Activated { position } => {
                let now = &entry.record.now;
                let at = Phrase::from(wall_time(now.wall_ms, now.offset_min));
                let text = match position {
                    Some(id) => Phrase::with(Id::StoryAlarm, [at, position_name(facts, id)]),
                    None => Phrase::with(Id::StoryAlarmOnly, [at]),
                };
                self.book.say(part, entry, text);
            }
            Event::PositionChosen { position: Some(id) } => {
                self.say(part, entry, Id::StoryPlace, [position_name(facts, id)]);
            }
            Event::PositionChosen { position: None } => {
                self.say(part, entry, Id::StoryPlaceNotListed, []);
            }
            Event::FallTimeSet { at_least, .. } => {
                let fell = facts.case_of(number).casualty.fell;
                let before = time(Millis(fell.0.saturating_neg()));
                let table = facts.exercise().is_some_and(|it| it.table_top);
                match (at_least, table) {
                    (true, _) => self.say(part, entry, Id::StoryFellAtLeast, [before]),
                    (false, true) => {
                        let text = Phrase::with(Id::StoryFellTable, [before]);
                        self.book.say(part, entry, text);
                    }
                    (false, false) if fell > Millis::ZERO => {
                        self.say(part, entry, Id::StoryFellAfter, [time(fell)]);
                    }
                    (false, false) => self.say(part, entry, Id::StoryFellBefore, [before]),
                }
            }
            Event::CasualtyNamed { responder } => {
                let who = person(facts, responder.as_ref());
                self.say(part, entry, Id::StoryNamed, [who]);
            }
            Event::CasualtyAdded {
                responder, rescuer, ..
            } => {
                let id = match rescuer {
                    true => Id::StoryRescuer,
                    false => Id::StoryAdded,
                };
                let who = person(facts, responder.as_ref());
                self.say(part, entry, id, [number.to_string().into(), who]);
            }
            _ => return false,
        }
        true
    }

    fn opened(&mut self, facts: &Facts, entry: &Entry) {
        let opening = &self.read.opening;
        let now = &entry.record.now;
        let day = Phrase::from(date_and_time(now.wall_ms, now.offset_min));
        let site = facts.opened.as_ref().map(|it| &it.plan.site.name);
        let site = match site.filter(|_| self.read.planned()) {
            None => Phrase::of(Id::StorySomewhere),
            Some(name) => name.as_str().into(),
        };
        let text = match (self.read.turned_real, self.read.played()) {
            (Some((at, _)), _) => Phrase::with(Id::StoryTurned, [site, day, time(at)]),
            (None, Played::Rescue) => Phrase::with(Id::StoryRescue, [site, day]),
            (None, Played::Drill) => Phrase::with(Id::StoryDrillHere, [site, day]),
            (None, Played::TableTop) => Phrase::with(Id::StoryAtTable, [site, day]),
        };
        self.book.say(Part::Began, entry, text);
        let plan = || Phrase::from(opening.plan_name.as_str());
        let text = match opening.plan_standing {
            PlanStanding::Fit => Phrase::with(Id::StoryPlan, [plan()]),
            PlanStanding::LastFit => Phrase::with(Id::StoryPlanLast, [plan()]),
            PlanStanding::None => Phrase::of(Id::StoryPlanNone),
        };
        self.book.say(Part::Began, entry, text);
        let people = Phrase::from(opening.roll_call.len().to_string());
        let text = match &opening.in_command {
            Some(by) => Phrase::with(Id::StoryShift, [facts.name(by).into(), people]),
            None => Phrase::with(Id::StoryShiftNobody, [people]),
        };
        self.book.say(Part::Began, entry, text);
        let conditions = conditions(opening);
        if !conditions.is_empty() {
            let text = Phrase::with(Id::StoryPlayed, [listed(conditions)]);
            self.book.say(Part::Drill, entry, text);
        }
    }

    /// Whether one may go near, and what else can hurt somebody.
    fn scene(&mut self, facts: &Facts, entry: &Entry) -> bool {
        let part = Part::Safe;
        let case = facts.case_of(entry.record.casualty);
        let nothing = || Phrase::from("");
        let again = |book: &mut Book, id, with| {
            book.add(part, Key::Times(id, with), entry, nothing());
        };
        match &entry.record.event {
            Event::SafeConfirmed {} => self.say(part, entry, Id::StorySafeAt, []),
            Event::NotSafeYet {} => again(&mut self.book, Id::StoryNotSafe, Vec::new()),
            Event::OthersStopped {} => self.say(part, entry, Id::StoryOthersStopped, []),
            Event::OthersNotYet {} => again(&mut self.book, Id::StoryOthersNotYet, Vec::new()),
            Event::HazardMadeSafe { hazard } => {
                let [name, done] = hazard_words(case, hazard);
                self.say(part, entry, Id::StoryHazardSafe, [name, done]);
            }
            Event::HazardNotSafeYet { hazard } => {
                let [name, _] = hazard_words(case, hazard);
                again(&mut self.book, Id::StoryHazardNot, vec![name]);
            }
            Event::DangerCalled {} => self.say(part, entry, Id::StoryDanger, []),
            Event::DangerCleared { by: Some(by) } => {
                self.say(part, entry, Id::StoryDangerOver, [facts.name(by).into()]);
            }
            Event::DangerCleared { by: None } => {
                self.say(part, entry, Id::StoryDangerOverOutside, []);
            }
            Event::WindReported { mm_s } => {
                self.say(part, entry, Id::StoryWind, [wind(Speed(*mm_s)).into()]);
            }
            Event::WayBlocked { link } => {
                self.say(part, entry, Id::StoryWayBlocked, ends(facts, link));
            }
            Event::WayOpened { link } => {
                self.say(part, entry, Id::StoryWayOpened, ends(facts, link));
            }
            _ => return false,
        }
        true
    }

    /// The emergency call and the help from outside.
    fn help(&mut self, facts: &Facts, entry: &Entry) -> bool {
        let part = Part::Call;
        match &entry.record.event {
            Event::CallOrdered { to: Some(to) } => {
                self.say(part, entry, Id::StoryCallGiven, [facts.name(to).into()]);
            }
            Event::CallOrdered { to: None } => self.say(part, entry, Id::StoryCallAlone, []),
            Event::CallPassed {} => {
                let caller = facts.call.ordered.last().and_then(|it| it.0.as_deref());
                match caller {
                    Some(id) => {
                        self.say(part, entry, Id::StoryCallToldOne, [facts.name(id).into()])
                    }
                    None => self.say(part, entry, Id::StoryCallTold, []),
                }
            }
            Event::CallConfirmed { by: Some(by) } => {
                self.say(part, entry, Id::StoryCallMadeBy, [facts.name(by).into()]);
            }
            Event::CallConfirmed { by: None } => self.say(part, entry, Id::StoryCallMade, []),
            Event::CallFailed {} => self.say(part, entry, Id::StoryCallFailed, []),
            Event::HelpExpected { in_ms, said_by } => {
                let in_time = time(Millis(*in_ms));
                match said_by {
                    None => self.say(part, entry, Id::StoryHelp, [in_time]),
                    Some(by) => {
                        let by = Phrase::of(teller(*by));
                        self.say(part, entry, Id::StoryHelpBy, [in_time, by]);
                    }
                }
            }
            Event::OutsideAsked {} => self.say(part, entry, Id::StoryOutsideAsked, []),
            Event::OutsideTookOver {} => self.say(part, entry, Id::StoryOutsideLeads, []),
            Event::OutsideLeft {} => self.say(part, entry, Id::StoryOutsideLeft, []),
            _ => return false,
        }
        true
    }

    /// How the casualty is, the contact, the release and what comes after it.
    fn casualty(&mut self, facts: &Facts, entry: &Entry) -> bool {
        let number = entry.record.casualty;
        let who = self.who(number);
        match &entry.record.event {
            Event::ConditionReported { condition } => {
                let key = Key::Was(who, *condition);
                self.book.add(Part::Condition, key, entry, "".into());
            }
            Event::CameDue {
                what: Due::CheckLost,
            } => self.say(Part::Condition, entry, Id::StoryNotChecked, [who]),
            Event::InDangerSaid { danger: true } => {
                self.say(Part::Condition, entry, Id::StoryInDanger, [who]);
            }
            Event::InDangerSaid { danger: false } => {
                self.say(Part::Condition, entry, Id::StoryInDangerOver, [who]);
            }
            Event::Noted { note: it } => {
                let noted = Phrase::of(note(*it));
                self.say(Part::Condition, entry, Id::StoryNote, [noted]);
            }
            Event::FirstContactMade {} => {
                let after = self.after_fall(entry);
                self.say(Part::Release, entry, Id::StoryContact, [who, after]);
            }
            Event::OffHarness {} => self.off(facts, entry, who),
            Event::AtLandingPlace {} => {
                let after = self.after_fall(entry);
                self.say(Part::Release, entry, Id::StoryLanded, [who, after]);
            }
            Event::StuckAloft {} => self.say(Part::Release, entry, Id::StoryAloft, [who]),
            Event::AftercareAnswered { item, well } => self.cared(entry, *item, *well, who),
            Event::CareRefused {} => self.say(Part::Care, entry, Id::StoryRefused, [who]),
            Event::HandedOver { to } => {
                let to = Phrase::of(match to {
                    CareTaker::Ambulance => Id::HandAmbulance,
                    CareTaker::FireService => Id::HandFireService,
                    CareTaker::Doctor => Id::HandDoctor,
                    CareTaker::Refused => Id::HandRefused,
                });
                self.say(Part::Care, entry, Id::StoryHanded, [who, to]);
            }
            _ => return false,
        }
        true
    }

    /// How long after the fall, as it is known at the end.
    fn after_fall(&self, entry: &Entry) -> Phrase {
        let case = self.at_the_end(entry.record.casualty);
        let after = time(case.since_fall(entry.at));
        match case.casualty.fell_at_least || entry.at_least {
            true => Phrase::with(Id::StoryAtLeast, [after]),
            false => after,
        }
    }

    fn off(&mut self, facts: &Facts, entry: &Entry, who: Phrase) {
        let target = facts.policy().target;
        let hung = self.at_the_end(entry.record.casualty).since_fall(entry.at);
        let past = hung.saturating_sub(target);
        let after = self.after_fall(entry);
        match past > Millis::ZERO {
            true => {
                let with = [who, after, time(target), time(past)];
                self.say(Part::Release, entry, Id::StoryOffPast, with);
            }
            false => {
                let with = [who, after, time(target)];
                self.say(Part::Release, entry, Id::StoryOffTarget, with);
            }
        }
    }

    fn cared(&mut self, entry: &Entry, item: Aftercare, well: bool, who: Phrase) {
        let again = matches!(item, Aftercare::Watch | Aftercare::LookAgain) && well;
        let (key, said) = match again {
            true => (Key::Times(Id::StoryChecked, vec![who]), "".into()),
            false => {
                let said = match care(item, well) {
                    Id::NotYet => Phrase::with(
                        Id::StoryWhen,
                        [Phrase::of(asked(item)), Phrase::of(Id::NotYet)],
                    ),
                    id => Phrase::of(id),
                };
                (Key::Items(Id::StoryCared, vec![who]), said)
            }
        };
        self.book.add(Part::Care, key, entry, said);
    }

    /// Orders, answers, kit.
    fn people(&mut self, facts: &Facts, entry: &Entry) -> bool {
        let part = Part::Orders;
        let cause = entry.record.cause;
        let orders = Key::Moment(Id::StoryOrdersGiven, Vec::new(), cause);
        let radio = Key::Items(Id::StoryReports, Vec::new());
        match &entry.record.event {
            Event::OrderGiven {
                method, posting, ..
            } => {
                let said = order(facts, method, posting).into();
                let case = facts.case_of(entry.record.casualty);
                let method = named(case, method).name;
                let said = Phrase::with(Id::StoryFor, [said, method.into()]);
                self.book.add(part, orders, entry, said);
            }
            Event::TaskGiven { posting, .. } => {
                let said = order(facts, "", posting).into();
                self.book.add(part, orders, entry, said);
            }
            Event::WordsSaid { .. } => {
                self.book
                    .add(part, radio, entry, Phrase::of(Id::StoryRadio));
            }
            Event::ResponderReported { responder, report } => {
                let said = Phrase::with(reported(*report), [facts.name(responder).into()]);
                self.book.add(part, radio, entry, said);
            }
            Event::OrderWithdrawn { responder } => {
                let key = Key::Moment(Id::StoryWithdrawn, Vec::new(), cause);
                let name = facts.name(responder).into();
                self.book.add(part, key, entry, name);
            }
            Event::OrdersUnanswered { orders } => {
                let on = facts.orders.iter().filter(|it| orders.contains(&it.number));
                let names: Vec<&str> = on.map(|it| facts.name(&it.posting.responder)).collect();
                self.say(part, entry, Id::StoryUnanswered, [names.join(", ").into()]);
            }
            Event::KitGone { kit, station, .. } => {
                let plan = facts.opened.as_ref().map(|it| &it.plan);
                let at = plan.and_then(|plan| plan.station(station));
                let at = at.map_or(station.as_str(), |it| &it.name);
                let with = [at.into(), kit.as_str().into()];
                self.say(part, entry, Id::StoryKitGone, with);
            }
            _ => return false,
        }
        true
    }

    /// The methods, their steps, and what turned them.
    fn work(&mut self, facts: &Facts, entry: &Entry) -> bool {
        let part = Part::Work;
        let case = facts.case_of(entry.record.casualty);
        let name = |id: &str| Phrase::from(named(case, id).name);
        let who = self.who(entry.record.casualty);
        match &entry.record.event {
            Event::MethodStarted { method, why } => {
                let reason = case.why_not_in_order().map(Phrase::from);
                self.began(entry, *why, name(method), who, reason);
            }
            Event::StraightWanted { method } => {
                self.say(part, entry, Id::StoryStraightWanted, [name(method)]);
            }
            Event::NotWorkingReported { method, .. } => {
                self.failed = Some(entry.record.cause);
                self.say(part, entry, Id::StoryNotWorking, [name(method)]);
            }
            Event::MethodChanged { from, to } => self.changed(entry, case, from, to.as_deref()),
            Event::FallbackStarted {
                method,
                step,
                fallback,
            } => {
                let step = case.method(method).and_then(|it| it.steps.get(*step));
                let fallback = step.and_then(|it| it.fallback.get(*fallback));
                let say = fallback.map_or("-", |it| it.say.as_str());
                self.say(part, entry, Id::StoryFallback, [say.into()]);
            }
            Event::MoreTimeTaken {
                method,
                change_by_ms,
            } => {
                let with = [name(method), time(Millis(*change_by_ms))];
                self.say(part, entry, Id::StoryMoreTime, with);
            }
            Event::StopCalled { method, what } => {
                let line = match what {
                    Stop::Wind => None,
                    Stop::Line(index) => case.method(method).and_then(|m| m.stop_if.get(*index)),
                };
                let why = line.map_or_else(|| Phrase::of(Id::StopWind), |it| it.as_str().into());
                self.say(part, entry, Id::StoryStop, [name(method), why]);
            }
            Event::WentOn { method } => self.say(part, entry, Id::StoryWentOn, [name(method)]),
            Event::MethodPutBack { method } => {
                self.say(part, entry, Id::StoryPutBack, [name(method)]);
            }
            Event::CameDue {
                what: Due::PastTarget,
            } => {
                let target = time(facts.policy().target);
                self.say(part, entry, Id::StoryPast, [target, who]);
            }
            Event::CasualtyChosen {} | Event::WorkedOn {} => {
                let key = Key::Items(Id::StoryWorkedOn, Vec::new());
                self.book.add(Part::Turns, key, entry, who);
            }
            _ => return self.step(case, entry, who),
        }
        true
    }

    fn began(
        &mut self,
        entry: &Entry,
        why: Why,
        method: Phrase,
        who: Phrase,
        reason: Option<Phrase>,
    ) {
        let left = self.left.as_ref();
        let left = left.is_some_and(|it| it.0 == entry.record.cause);
        let id = match why {
            // What it was left for is said already.
            Why::Change if left => {
                return self.book.belongs(Part::Work, entry);
            }
            Why::Straight if left => {
                let from = self.left.take().map_or_else(String::new, |it| it.1);
                let with = [time(entry.at), from.into(), method];
                let text = Phrase::with(Id::StoryStraightFrom, with);
                return self.book.instead(Part::Work, entry, text);
            }
            Why::Ladder | Why::Change => Id::StoryBegin,
            Why::Straight => Id::StoryStraight,
        };
        match reason.filter(|_| why == Why::Ladder) {
            Some(reason) => {
                let with = [method, who, reason];
                self.say(Part::Work, entry, Id::StoryBeginWhy, with);
            }
            None => self.say(Part::Work, entry, id, [method, who]),
        }
    }

    fn changed(&mut self, entry: &Entry, case: Case<'_>, from: &str, to: Option<&str>) {
        let name = |id: &str| Phrase::from(named(case, id).name);
        let cause = entry.record.cause;
        self.left = Some((cause, named(case, from).name));
        let failed = self.failed.take() == Some(cause);
        match to {
            Some(to) if failed => {
                let with = [time(entry.at), name(from), name(to)];
                let text = Phrase::with(Id::StoryFailed, with);
                self.book.instead(Part::Work, entry, text);
            }
            Some(to) => self.say(Part::Work, entry, Id::StoryChanged, [name(from), name(to)]),
            None => self.say(Part::Work, entry, Id::StoryGivenUp, [name(from)]),
        }
    }

    /// What is done in a method, one after the other.
    fn step(&mut self, case: Case<'_>, entry: &Entry, who: Phrase) -> bool {
        let said: Phrase = match &entry.record.event {
            Event::StepDone { method, step } => {
                let step = case.method(method).and_then(|it| it.steps.get(*step));
                let done = step.map_or("-", |it| it.done.as_str()).into();
                by_role(case, method, step, done)
            }
            Event::Secured {} => Phrase::of(Id::EvSecured),
            Event::TiedOff { method, step, .. } => {
                let step = case.method(method).and_then(|it| it.steps.get(*step));
                by_role(case, method, step, Phrase::of(Id::EvTied))
            }
            Event::EntryConditionMet { index } => {
                let space = case.position().and_then(|it| it.confined_space.as_ref());
                let line = space.and_then(|it| it.conditions.get(*index));
                let line = line.map_or("-", String::as_str);
                Phrase::with(Id::EvEntry, [line.into()])
            }
            Event::GroundHeld {} => {
                let control = case.position().and_then(|it| it.ground_control.as_deref());
                Phrase::with(Id::EvGround, [control.unwrap_or("-").into()])
            }
            _ => return false,
        };
        let running = case.casualty.running.as_ref();
        let method = running.map_or_else(|| "-".to_owned(), |it| named(case, &it.method).name);
        let key = match self.several() {
            true => Key::Items(Id::StoryStepsFor, vec![method.into(), who]),
            false => Key::Items(Id::StorySteps, vec![method.into()]),
        };
        self.book.add(Part::Work, key, entry, said);
        true
    }

    /// Who commands, and in which language.
    fn command(&mut self, facts: &Facts, entry: &Entry) -> bool {
        let part = Part::Command;
        match &entry.record.event {
            Event::CommandTaken {} => self.say(part, entry, Id::StoryCommandTaken, []),
            Event::BriefHeard {} => self.book.belongs(part, entry),
            Event::CommandNamed { by: Some(by) } => {
                self.say(part, entry, Id::StoryCommandNamed, [facts.name(by).into()]);
            }
            Event::CommandNamed { by: None } => self.say(part, entry, Id::StoryCommandOther, []),
            Event::LanguageChosen { language } => {
                let key = Key::Items(Id::StoryLanguage, Vec::new());
                self.book.add(part, key, entry, language.name().into());
            }
            _ => return false,
        }
        true
    }

    /// What a drill brings, and the stand-down.
    fn end(&mut self, facts: &Facts, entry: &Entry) {
        let surprise = |index: usize| {
            let opened = facts.opened.as_ref();
            let exercise = opened.and_then(|it| it.exercise.as_deref());
            let surprise = exercise.and_then(|it| it.surprises.get(index));
            let said = surprise.zip(opened);
            said.map_or_else(
                || Phrase::from("-"),
                |(it, opened)| it.inject.said(&opened.plan).into(),
            )
        };
        match &entry.record.event {
            Event::SurpriseGiven { index } => {
                self.say(Part::Drill, entry, Id::StorySurprise, [surprise(*index)]);
            }
            Event::SurpriseLeftOut { index } => {
                self.say(Part::Drill, entry, Id::StoryLeftOut, [surprise(*index)]);
            }
            Event::Stands {} => self.say(Part::Drill, entry, Id::StoryStands, []),
            Event::RealCalled {} => self.say(Part::Drill, entry, Id::StoryReal, []),
            Event::StandDownBegan {} => {
                self.say(Part::Close, entry, Id::StoryCloseBegan, []);
            }
            Event::StandDownLeft {} => self.say(Part::Close, entry, Id::StoryCloseLeft, []),
            Event::StandDownAnswered { item } => {
                let key = Key::Items(Id::StoryClosing, Vec::new());
                self.book
                    .add(Part::Close, key, entry, Phrase::of(closing(*item)));
            }
            Event::KitWithdrawn { pieces } => {
                let pieces = pieces.join(", ").into();
                self.say(Part::Close, entry, Id::StoryTagged, [pieces]);
            }
            Event::StoodDown {} => self.say(Part::Close, entry, Id::StoryStoodDown, []),
            _ => {}
        }
    }
}

/// What was said to be done, with who had the order for that role in front of it.
fn by_role(case: Case<'_>, method: &str, step: Option<&Step>, said: Phrase) -> Phrase {
    let role = step.and_then(|it| it.role.as_ref());
    let mut orders = case.facts.orders.iter();
    let order = orders.find(|it| {
        let here = it.casualty == case.number && it.method == method;
        here && Some(&it.posting.role) == role
    });
    match order {
        Some(order) => {
            let name = case.facts.name(&order.posting.responder);
            Phrase::with(Id::StoryBy, [name.into(), said])
        }
        None => said,
    }
}

fn position_name(facts: &Facts, id: &str) -> Phrase {
    let plan = facts.opened.as_ref().map(|it| &it.plan);
    let position = plan.and_then(|plan| plan.position(id));
    position.map_or(id, |it| &it.name).into()
}

fn person(facts: &Facts, id: Option<&String>) -> Phrase {
    match id {
        Some(id) => facts.name(id).into(),
        None => Phrase::of(Id::StoryNotNamed),
    }
}

fn hazard_words(case: Case<'_>, id: &str) -> [Phrase; 2] {
    let mut hazards = case.position().into_iter().flat_map(|it| &it.hazards);
    match hazards.find(|it| it.id == id) {
        Some(hazard) => [hazard.name.as_str().into(), hazard.done.as_str().into()],
        None => [id.into(), "-".into()],
    }
}

fn ends(facts: &Facts, link: &str) -> [Phrase; 2] {
    let plan = facts.opened.as_ref().map(|it| &it.plan);
    let ends = plan.and_then(|plan| {
        let link = plan.links.iter().find(|it| it.id == link)?;
        let name = |id: &str| Some(Phrase::from(plan.place(id)?.name.as_str()));
        Some([name(&link.from)?, name(&link.to)?])
    });
    ends.unwrap_or_else(|| [link.into(), "-".into()])
}

/// What a question of aftercare asks.
fn asked(item: Aftercare) -> Id {
    match item {
        Aftercare::SafeHere => Id::CareSafeHere,
        Aftercare::LayFlat => Id::CareLayFlat,
        Aftercare::Bleeding => Id::CareBleeding,
        Aftercare::Airway => Id::CareAirway,
        Aftercare::Breathing => Id::CareBreathing,
        Aftercare::Resuscitate => Id::CareResuscitate,
        Aftercare::LoosenWarm => Id::CareLoosenWarm,
        Aftercare::NeverAlone => Id::CareNeverAlone,
        Aftercare::Doctor => Id::CareDoctor,
        Aftercare::Watch => Id::CareWatch,
        Aftercare::LookAgain => Id::CareLookAgain,
    }
}
