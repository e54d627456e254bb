//! Says which sheet can be open, what its head says, what a touched choice asks for, and which sheet it was opened from.
//!
//! The sheets of a running incident are made in `casualty_sheets`, `crew_sheets` and `method_sheets`, those of a shift in
//! `shift_sheets` and `change_sheets`, those of the tablet in `tablet_sheets`; each entry is made together with what it
//! asks for. A sheet may be about something: a person, a position and who allows work there, a station and its item.

use super::entry::{Entry, Next};
use super::sight::Sight;
use super::ui::{Choice, Icon, Sheet, SheetKind};
use super::view::View;
use super::{
    casualty_sheets, change_sheets, crew_sheets, drill, drill_scenario, log, method_sheets, people,
    remarks, shift, shift_sheets, tablet_sheets, tasks, writing,
};
use crate::incident::{call_card, handover};
use crate::words::{Id, Message};
use slint::SharedString;

/// Which sheet can be open in this state.
pub(super) fn applies(kind: SheetKind, sight: Sight<'_>) -> bool {
    match kind {
        SheetKind::None | SheetKind::Language => true,
        SheetKind::Command | SheetKind::Plan | SheetKind::Tablet => sight.facts().opened.is_none(),
        kind if of_shift(kind) => sight.facts().opened.is_none(),
        _ => sight.facts().is_open(),
    }
}

/// True for a sheet that lies over the screen of the shift.
pub(super) fn of_shift(kind: SheetKind) -> bool {
    title(kind).is_some()
}

/// The sheet that another one was opened from, and how much of what that one is about it keeps.
pub(super) fn above(kind: SheetKind, about: &[String]) -> Option<(SheetKind, usize)> {
    Some(match kind {
        SheetKind::Write => return writing::above(about),
        SheetKind::Remark | SheetKind::FindingNature => (SheetKind::Remarks, 1),
        SheetKind::RemarkAbout => (SheetKind::RemarkWho, 2),
        SheetKind::PlaceInUse => (SheetKind::Places, 0),
        SheetKind::Permit | SheetKind::Workers | SheetKind::Watcher => (SheetKind::PlaceInUse, 1),
        SheetKind::Letters => (SheetKind::Permit, 1),
        SheetKind::WindMean | SheetKind::Gusts => (SheetKind::Weather, 0),
        SheetKind::Holder => (SheetKind::Crew, 0),
        SheetKind::Station => (SheetKind::Kit, 0),
        SheetKind::Count => (SheetKind::Station, 1),
        SheetKind::AllowWho => (SheetKind::Allow, 0),
        SheetKind::AllowWhy => (SheetKind::AllowWho, 1),
        SheetKind::Left | SheetKind::Moved | SheetKind::WindNow => (SheetKind::Changed, 0),
        SheetKind::Visitor => (SheetKind::Shift, 0),
        SheetKind::DrillWatcher | SheetKind::DrillLimit => (SheetKind::DrillGuards, 0),
        SheetKind::DrillWind => (SheetKind::DrillAround, 0),
        SheetKind::DrillInject => (SheetKind::DrillSurprises, 0),
        SheetKind::DrillInjectWhat | SheetKind::DrillInjectWhen => (SheetKind::DrillInject, 0),
        SheetKind::TaskWhen => (SheetKind::TaskWho, 2),
        SheetKind::Person => (SheetKind::People, 0),
        SheetKind::Blocked => (SheetKind::Person, 1),
        SheetKind::HelpTime => (SheetKind::Call, 0),
        SheetKind::HelpSaid => (SheetKind::HelpTime, 0),
        _ => return None,
    })
}

/// What the head of a sheet of the shift says.
fn title(kind: SheetKind) -> Option<Id> {
    Some(match kind {
        SheetKind::Shift => Id::PartPeople,
        SheetKind::Places | SheetKind::PlaceInUse => Id::SheetPlaces,
        SheetKind::Permit | SheetKind::Letters => Id::SheetPermit,
        SheetKind::Workers => Id::SheetWorkers,
        SheetKind::Watcher => Id::SheetWatcher,
        SheetKind::Weather => Id::SheetWeather,
        SheetKind::WindMean => Id::SheetWindMean,
        SheetKind::Gusts => Id::SheetGusts,
        SheetKind::Crew => Id::SheetCrew,
        SheetKind::Holder => Id::SheetHolder,
        SheetKind::Kit | SheetKind::Station => Id::SheetKit,
        SheetKind::Count => Id::SheetCount,
        SheetKind::Radio => Id::SheetRadio,
        SheetKind::Battery => Id::SheetBattery,
        SheetKind::Briefing => Id::SheetBriefing,
        SheetKind::Allow => Id::SheetAllow,
        SheetKind::AllowWho => Id::SheetAllowWho,
        SheetKind::AllowWhy => Id::SheetAllowWhy,
        SheetKind::Changed => Id::SheetChanged,
        SheetKind::Left => Id::SheetLeft,
        SheetKind::Moved => Id::SheetMoved,
        SheetKind::WindNow => Id::SheetWind,
        SheetKind::Visitor => Id::SheetVisitor,
        SheetKind::Sign => Id::SheetSign,
        SheetKind::DrillWho => Id::SheetDrillWho,
        SheetKind::DrillGuards => Id::SheetDrillGuards,
        SheetKind::DrillWatcher => Id::SheetDrillWatcher,
        SheetKind::DrillLimit => Id::SheetDrillLimit,
        SheetKind::DrillOthers => Id::SheetDrillOthers,
        SheetKind::DrillPlace => Id::SheetDrillPlace,
        SheetKind::DrillScenario => Id::SheetDrillScenario,
        SheetKind::DrillCrew => Id::DrillCrew,
        SheetKind::DrillAround => Id::DrillAround,
        SheetKind::DrillWind => Id::SheetWind,
        SheetKind::DrillSurprises => Id::DrillSurprisesTile,
        SheetKind::DrillInject => Id::DrillSurpriseWhat,
        SheetKind::DrillInjectWhat => Id::DrillSurpriseWhich,
        SheetKind::DrillInjectWhen => Id::DrillSurpriseWhen,
        SheetKind::DrillDue => Id::DrillDueTile,
        SheetKind::TaskWho => Id::TaskWho,
        SheetKind::TaskWhen => Id::TaskWhen,
        SheetKind::Task => Id::TasksKey,
        SheetKind::Remarks | SheetKind::Remark => Id::RemarksTile,
        SheetKind::FindingNature => Id::FindingNature,
        SheetKind::RemarkWho => Id::RemarkWho,
        SheetKind::RemarkAbout => Id::RemarkAbout,
        SheetKind::Write => Id::WriteRemark,
        SheetKind::LogFilter => Id::FindTitle,
        _ => return None,
    })
}

pub(super) fn fill(view: &mut View, sight: Sight<'_>, kind: SheetKind, about: &[String]) {
    view.sheet = match kind {
        SheetKind::None
        | SheetKind::Command
        | SheetKind::Parts
        | SheetKind::DrillParts
        | SheetKind::TaskParts => return,
        SheetKind::Plan => tablet_sheets::plan_head(sight),
        kind if of_shift(kind) => shift_head(sight, kind, about),
        kind => Sheet {
            kind,
            title: head(sight, kind, about),
            hint: hint(sight, kind),
            page: is_page(kind),
            ..Sheet::default()
        },
    };
    view.sheet_lines = lines(sight, kind, about);
    if kind == SheetKind::Write {
        writing::fill(view, sight);
    }
    if kind == SheetKind::People {
        people::fill(view, sight, about);
        return;
    }
    view.sheet_choices = choices(entries(sight, kind, about));
}

/// True for a sheet that takes the place of the whole screen.
fn is_page(kind: SheetKind) -> bool {
    matches!(
        kind,
        SheetKind::Condition
            | SheetKind::Level
            | SheetKind::People
            | SheetKind::Person
            | SheetKind::Call
            | SheetKind::Handover
            | SheetKind::Talker
    )
}

/// What is read over or beside the choices.
fn lines(sight: Sight<'_>, kind: SheetKind, about: &[String]) -> Vec<SharedString> {
    let facts = sight.facts();
    let said = |lines: Vec<Message>| lines.iter().map(|it| sight.say(it)).collect();
    match kind {
        SheetKind::Call => said(call_card(facts, sight.at())),
        SheetKind::Handover => said(handover(facts.case())),
        SheetKind::Remark => remarks::lines(sight, about),
        SheetKind::Talker => TALK.iter().map(|id| sight.label(*id)).collect(),
        SheetKind::Person => {
            let id = about.first();
            id.map(|id| people::lines(sight, id)).unwrap_or_default()
        }
        _ => Vec::new(),
    }
}

/// What whoever talks with the casualty asks and says, in this order.
const TALK: [Id; 12] = [
    Id::TalkNames,
    Id::TalkHelp,
    Id::TalkStraps,
    Id::TalkPump,
    Id::TalkHurt,
    Id::TalkBreathe,
    Id::TalkFaint,
    Id::TalkSick,
    Id::TalkNumb,
    Id::TalkBleed,
    Id::TalkStuck,
    Id::TalkClip,
];

fn hint(sight: Sight<'_>, kind: SheetKind) -> SharedString {
    match kind {
        SheetKind::People => people::nobody_for(sight),
        SheetKind::Call => crew_sheets::call_hint(sight),
        _ => SharedString::default(),
    }
}

fn head(sight: Sight<'_>, kind: SheetKind, about: &[String]) -> SharedString {
    let id = match kind {
        SheetKind::Level => return super::level::head(sight, super::level::Looking::of(about)),
        SheetKind::Call => return sight.say(&crew_sheets::call_head(sight)),
        SheetKind::Person => {
            let person = about.first();
            return person.map_or_else(SharedString::default, |id| sight.facts().name(id).into());
        }
        SheetKind::HelpSaid => {
            let minutes = about.first().map_or("", String::as_str);
            return sight.with(Id::SheetHelpSaid, [minutes]);
        }
        SheetKind::HelpTime => Id::SheetHelp,
        SheetKind::Blocked => Id::SheetBlocked,
        SheetKind::Handover => Id::SheetHandover,
        SheetKind::Talker => Id::SheetTalk,
        SheetKind::Condition => Id::SheetCondition,
        SheetKind::Ways => Id::SheetOther,
        SheetKind::FallTime => Id::SheetFall,
        SheetKind::Place => Id::SheetWhere,
        SheetKind::Tablet => Id::SheetTablet,
        SheetKind::People => Id::SheetPeople,
        SheetKind::Casualties => Id::SheetCasualties,
        SheetKind::Naming => Id::SheetNaming,
        SheetKind::Stop => Id::SheetStop,
        SheetKind::Wind => Id::SheetWind,
        SheetKind::Note => Id::SheetNote,
        SheetKind::More => Id::SheetMore,
        SheetKind::Language => Id::SheetLanguage,
        _ => return SharedString::default(),
    };
    sight.label(id)
}

/// The head of a sheet of the shift: its question, and under it what it is about or what is open.
fn shift_head(sight: Sight<'_>, kind: SheetKind, about: &[String]) -> Sheet {
    let snapshot = sight.snapshot;
    let plan = &snapshot.plan.plan;
    let first = about.first().map_or("", String::as_str);
    let position = || SharedString::from(plan.position(first).map_or(first, |it| &it.name));
    let station = || SharedString::from(plan.station(first).map_or(first, |it| &it.name));
    let none = |id, entries: Vec<Entry>| match entries.is_empty() {
        true => sight.label(id),
        false => SharedString::default(),
    };
    let arg: SharedString = match kind {
        SheetKind::Permit | SheetKind::Letters => {
            let mut used = snapshot.shift.in_use.iter();
            let used = used.find(|it| it.position == first);
            used.map_or_else(SharedString::default, |it| it.permit.as_str().into())
        }
        SheetKind::Holder => first.into(),
        SheetKind::AllowWhy => {
            let by = about.get(1).map_or("", String::as_str);
            snapshot.shift.name(by, plan).into()
        }
        _ => SharedString::default(),
    };
    let id = title(kind).unwrap_or(Id::PartPeople);
    let mut head = sight.with(id, [&*arg]);
    let hint = match kind {
        SheetKind::PlaceInUse => {
            head = position();
            shift_sheets::open_at(sight, first).unwrap_or_default()
        }
        SheetKind::Station => {
            head = super::sight::capital(&station());
            sight.label(Id::SheetKit)
        }
        SheetKind::Permit
        | SheetKind::Letters
        | SheetKind::Workers
        | SheetKind::Watcher
        | SheetKind::AllowWho
        | SheetKind::AllowWhy => position(),
        SheetKind::Count => {
            let item = about.get(1).map_or("", String::as_str);
            let kept = plan.station(first);
            let mut items = kept.into_iter().flat_map(|it| &it.kit);
            let item = items.find(|it| it.id == item);
            item.map_or_else(SharedString::default, |it| it.name.as_str().into())
        }
        SheetKind::Holder => none(Id::SheetHolderNobody, entries(sight, kind, about)),
        SheetKind::Crew | SheetKind::Kit => none(Id::SheetFirst, entries(sight, kind, about)),
        SheetKind::Allow => none(Id::SheetAllowNone, entries(sight, kind, about)),
        SheetKind::Radio => {
            let radio = plan.radio.as_ref();
            let said = radio.map(|it| sight.with(Id::RadioChannel, [&it.channel]));
            said.unwrap_or_default()
        }
        SheetKind::Battery => sight.label(Id::BatteryWhat),
        SheetKind::DrillCrew => sight.label(Id::DrillCrewHint),
        SheetKind::DrillAround | SheetKind::DrillWind => sight.label(Id::DrillAroundHint),
        SheetKind::DrillDue => sight.label(Id::DrillDueHint),
        SheetKind::DrillInjectWhen => drill_scenario::hint(sight, first),
        SheetKind::Task | SheetKind::TaskWho | SheetKind::TaskWhen => {
            tasks::hint(sight, kind, about)
        }
        SheetKind::Remarks
        | SheetKind::Remark
        | SheetKind::FindingNature
        | SheetKind::RemarkWho
        | SheetKind::RemarkAbout => remarks::hint(sight, kind, about),
        SheetKind::Write => {
            head = writing::head(sight, about);
            SharedString::default()
        }
        SheetKind::Changed => sight.label(Id::SheetChangedSub),
        SheetKind::Sign => match shift::open(sight).first() {
            Some(point) => sight.with(Id::ShiftNotSigned, [&*sight.say(point)]),
            None => none(Id::PlanApproveNobody, entries(sight, kind, about)),
        },
        _ => SharedString::default(),
    };
    Sheet {
        kind,
        title: head,
        hint,
        broad: matches!(
            kind,
            SheetKind::Places
                | SheetKind::PlaceInUse
                | SheetKind::Crew
                | SheetKind::Radio
                | SheetKind::Battery
                | SheetKind::Allow
                | SheetKind::Shift
                | SheetKind::AllowWhy
                | SheetKind::DrillSurprises
                | SheetKind::DrillInject
                | SheetKind::DrillInjectWhat
                | SheetKind::DrillScenario
                | SheetKind::DrillDue
                | SheetKind::Task
                | SheetKind::Remarks
                | SheetKind::Remark
                | SheetKind::FindingNature
                | SheetKind::RemarkAbout
        ),
        keys: matches!(kind, SheetKind::Permit | SheetKind::Letters),
        page: false,
    }
}

pub(super) fn choices(entries: Vec<Entry>) -> Vec<Choice> {
    let shown = |entry: Entry| {
        let mut choice = entry.choice;
        if choice.chosen {
            // The tick that says so needs the room.
            choice.icon = Icon::None;
        }
        choice
    };
    entries.into_iter().map(shown).collect()
}

fn entries(sight: Sight<'_>, kind: SheetKind, about: &[String]) -> Vec<Entry> {
    let first = about.first().map_or("", String::as_str);
    let second = about.get(1).map_or("", String::as_str);
    match kind {
        SheetKind::None | SheetKind::Command | SheetKind::Level | SheetKind::Write => Vec::new(),
        SheetKind::Condition => casualty_sheets::condition(sight),
        SheetKind::Casualties => casualty_sheets::casualties(sight),
        SheetKind::Naming => casualty_sheets::naming(sight),
        SheetKind::FallTime => casualty_sheets::fall_time(sight),
        SheetKind::Place => casualty_sheets::places(sight),
        SheetKind::Note => casualty_sheets::notes(sight),
        SheetKind::Ways => method_sheets::ways(sight),
        SheetKind::More => method_sheets::more(sight),
        SheetKind::Stop => method_sheets::stops(sight),
        SheetKind::Wind => method_sheets::winds(sight),
        SheetKind::Call => crew_sheets::call(sight),
        SheetKind::People => people::entries(sight),
        SheetKind::Person => people::reports(sight, first),
        SheetKind::Blocked => people::ways(sight, first),
        SheetKind::HelpTime => crew_sheets::help(sight),
        SheetKind::HelpSaid => crew_sheets::tellers(sight, first),
        SheetKind::Handover => Vec::new(),
        SheetKind::Talker => casualty_sheets::report(sight),
        SheetKind::Plan => tablet_sheets::plan(sight),
        SheetKind::Tablet => tablet_sheets::tablet(sight),
        SheetKind::Language => tablet_sheets::languages(sight),
        SheetKind::Parts => shift::parts(sight),
        SheetKind::DrillParts => drill::parts(sight),
        SheetKind::DrillWho => drill::who(sight),
        SheetKind::DrillGuards => drill::guards(sight),
        SheetKind::DrillWatcher => drill::watchers(sight),
        SheetKind::DrillLimit => drill::limits(sight),
        SheetKind::DrillOthers => drill::others(sight),
        SheetKind::DrillPlace => drill::places(sight),
        SheetKind::DrillScenario => drill_scenario::scenarios(sight),
        SheetKind::DrillCrew => drill_scenario::crew(sight),
        SheetKind::DrillAround => drill_scenario::conditions(sight),
        SheetKind::DrillWind => drill_scenario::winds(sight),
        SheetKind::DrillSurprises => drill_scenario::surprises(sight),
        SheetKind::DrillInject => drill_scenario::kinds(sight),
        SheetKind::DrillInjectWhat => drill_scenario::which(sight, first),
        SheetKind::DrillInjectWhen => drill_scenario::when(sight, first),
        SheetKind::DrillDue => drill::due(sight),
        SheetKind::TaskParts => tasks::entries(sight, about.first().map(String::as_str)),
        SheetKind::TaskWho => tasks::who(sight, about),
        SheetKind::TaskWhen => tasks::when(sight, about),
        SheetKind::Task => tasks::one(sight, about),
        SheetKind::Remarks => remarks::list(sight, about),
        SheetKind::Remark => remarks::touches(sight, about),
        SheetKind::FindingNature => remarks::natures(sight, about),
        SheetKind::RemarkWho => remarks::who(sight, about),
        SheetKind::RemarkAbout => remarks::about_lines(sight, about),
        SheetKind::LogFilter => log::filters(sight),
        SheetKind::Places => shift_sheets::places(sight),
        SheetKind::PlaceInUse => shift_sheets::place_in_use(sight, first),
        SheetKind::Permit => shift_sheets::permit(sight, first),
        SheetKind::Letters => shift_sheets::letters(sight, first),
        SheetKind::Workers => shift_sheets::workers(sight, first),
        SheetKind::Watcher => shift_sheets::watcher(sight, first),
        SheetKind::Weather => shift_sheets::weather(sight),
        SheetKind::WindMean => shift_sheets::mean_winds(sight),
        SheetKind::Gusts => shift_sheets::gusts(sight),
        SheetKind::Crew => shift_sheets::crew(sight),
        SheetKind::Holder => shift_sheets::holders(sight, first),
        SheetKind::Kit => shift_sheets::kit(sight),
        SheetKind::Station => shift_sheets::station(sight, first),
        SheetKind::Count => shift_sheets::count(sight, first, second),
        SheetKind::Radio => shift_sheets::radio(sight),
        SheetKind::Battery => shift_sheets::battery(sight),
        SheetKind::Briefing => shift_sheets::briefing(sight),
        SheetKind::Allow => shift_sheets::not_ready(sight),
        SheetKind::AllowWho => shift_sheets::allow_who(sight, first),
        SheetKind::AllowWhy => shift_sheets::allow_why(sight, first, second),
        SheetKind::Shift => change_sheets::people(sight),
        SheetKind::Visitor => change_sheets::visitor(sight),
        SheetKind::Changed => change_sheets::what(sight),
        SheetKind::Left => change_sheets::left(sight),
        SheetKind::Moved => change_sheets::moved(sight),
        SheetKind::WindNow => change_sheets::wind_now(sight),
        SheetKind::Sign => change_sheets::sign(sight),
    }
}

/// What a touched choice asks for.
pub(super) fn chosen(sight: Sight<'_>, kind: SheetKind, about: &[String], id: &str) -> Next {
    let mut entries = entries(sight, kind, about).into_iter();
    entries
        .find(|entry| entry.choice.id == id && entry.choice.enabled)
        .map_or(Next::Nothing, |entry| entry.next)
}
