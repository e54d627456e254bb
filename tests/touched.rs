//! Plays the scenarios of `scenarios.txt` on the real screen by touch: every answer and every sheet, nothing called directly.
//!
//! The times of the table are not waited for, so what only time brings is left out. The default run plays a few;
//! `GROUNDWARD_SCENARIOS=all cargo test touched::` plays all, and with `GROUNDWARD_PICTURES=look` keeps a picture of every prompt.

use crate::drive::{Drill, language};
use crate::scenarios::{Scenario, scenarios};
use groundward::cli::script::{Action, Check, touch};
use groundward::incident::{Act, Condition, Facts, Report, State};
use groundward::words::{Id, Message, wind};
use std::time::{Duration, Instant};

/// Played in every run: one of each way of touching.
const ALWAYS: [&str; 3] = [
    "two on one line",
    "casualty refuses care",
    "fire service takes over",
];
/// What two minutes of real time bring is played on the desk only.
const TIMED: [&str; 1] = ["nobody looks for two minutes"];
/// What the table expects comes within this; the others' question comes 45 s after activation.
const PATIENCE: Duration = Duration::from_secs(60);

/// The touches beside the prompt that ask for this, each by the beginning of what it says.
fn touches(act: &Act, facts: &Facts) -> Vec<String> {
    let say = |id| Message::of(id).text(language(facts));
    let with = |id, arg: &str| Message::with(id, [arg]).text(language(facts));
    let name = |id: &String| facts.name(id).to_owned();
    let method = |id: &String| {
        let name = facts.method(id).map_or(id.clone(), |m| m.name.clone());
        let mut letters = name.chars();
        let first = letters.next().map(|c| c.to_uppercase().to_string());
        first.unwrap_or_default() + letters.as_str()
    };
    let tile = condition_tile(facts);
    let other = || vec![say(Id::TileOther)];
    let more = || vec![say(Id::TileOther), say(Id::MoreTile)];
    let call = || {
        vec![
            say(if facts.call.confirmed.is_some() {
                Id::TileCallMade
            } else {
                Id::TileCall
            })
            .replace(" {0}", "")
            .trim()
            .to_owned(),
        ]
    };
    let person = |id: &String, what| vec![say(Id::CrewTile), name(id), say(what)];
    let then = |mut path: Vec<String>, last: String| {
        path.push(last);
        path
    };
    match act {
        Act::Report(Condition::Talking) => vec![tile, say(Id::PickTalking)],
        Act::Report(Condition::Stuck) => vec![tile, say(Id::PickStuck)],
        Act::Report(Condition::Unwell) => vec![tile, say(Id::PickUnwell)],
        Act::Report(Condition::NotAnswering) => vec![tile, say(Id::PickNotAnswering)],
        Act::InDanger(true) => vec![tile, say(Id::InDanger)],
        Act::AddCasualty => vec![tile, say(Id::OneMore)],
        Act::NameCasualty(Some(id)) => vec![tile, say(Id::WhoHangs), name(id)],
        Act::WorkOn(number) => vec![
            tile,
            with(Id::Casualties, &facts.casualties.len().to_string()),
            with(Id::CasualtyNumber, &number.to_string()),
        ],
        Act::CallMade => then(call(), say(Id::CallMadeTile)),
        Act::OutsideLeads => then(then(call(), say(Id::HelpTileOutside)), say(Id::OutsideTake)),
        Act::Danger => vec![say(Id::TileDanger)],
        Act::DangerOver(Some(id)) => vec![with(Id::DangerOverBy, &name(id))],
        Act::TakeCommand => vec![say(Id::LeadTile)],
        Act::CrewLeads => vec![say(Id::CrewLeads)],
        Act::GoStraight(id) | Act::PutBack(id) => then(other(), method(id)),
        Act::OffHarness => then(other(), say(Id::OffHarness)),
        Act::StillHanging => then(other(), say(Id::StillHanging)),
        Act::RefuseCare => then(other(), say(Id::RefuseTile)),
        Act::Note(note) => then(
            then(more(), say(Id::NoteTile)),
            say(groundward::review::note(*note)),
        ),
        Act::Wind(speed) => then(then(more(), say(Id::WindTile)), wind(*speed)),
        Act::SetFall { ago, at_least } => {
            let minutes = (ago.0 / 60_000).to_string();
            let last = match (at_least, ago.0) {
                (true, 0) => say(Id::FallUnknown),
                (true, _) => with(Id::FallAtLeastAgo, &minutes),
                (false, _) => with(Id::FallAgo, &minutes),
            };
            then(then(more(), say(Id::FallTile)), last)
        }
        Act::RescuerDown(id) => person(id, Id::RescuerDown),
        Act::Responder(id, Report::Cannot) => person(id, Id::ReportCannot),
        other => panic!("no way to touch {other:?} is known here"),
    }
}

fn condition_tile(facts: &Facts) -> String {
    let casualty = facts.casualty();
    let id = match casualty.condition {
        Some((Condition::NotAnswering, _)) => Id::TileNotAnswering,
        Some(_) if casualty.lapsed > 0 => Id::TileNotChecked,
        Some((Condition::Talking, _)) => Id::TileTalking,
        Some((Condition::Stuck, _)) => Id::TileStuck,
        Some((Condition::Unwell, _)) => Id::TileUnwell,
        None => Id::TileNotChecked,
    };
    Message::of(id).text(language(facts))
}

/// Plays one scenario; what it expects may take its time.
fn play(scenario: &Scenario) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut drill = match scenario.plan.as_str() {
        "bare" => Drill::without_a_plan(folder.path()),
        _ => Drill::start(groundward::plan::DEMO, folder.path(), 0),
    };
    for line in &scenario.lines {
        if line.refused {
            continue;
        }
        let place = format!("{} line {}", scenario.name, scenario.before + line.number);
        match &line.action {
            Action::Hang(position) => {
                let plan = groundward::plan::fit("demo", groundward::plan::DEMO);
                let plan = plan.expect("the demo is fit");
                let name = position.as_ref().and_then(|id| plan.position(id));
                drill.hang_at(&name.map_or("START THE DRILL".to_owned(), |p| p.name.clone()));
            }
            Action::Check(Check::Clock(..)) => {}
            // Nor is a time in a line what the table says.
            Action::Check(Check::Line(text)) if text.chars().any(|c| c.is_ascii_digit()) => {}
            Action::Check(Check::Prompt(text)) if text.starts_with("Have all others") => {}
            Action::Check(_) => wait_until(&place, || {
                let state = drill.state().ok_or("nothing is saved yet")?;
                let facts = &state.facts;
                touch(&line.action, facts, facts.line.reached_at()).map(|_| ())
            }),
            // The prompt for it comes 45 s after the fall; whoever knows it earlier says it on a sheet.
            Action::Choose(label) if label == "All have stopped" => {
                let path = ["OTHER WAY", "Report something", "All at height stopped"];
                drill.path(&path, |s| s.facts.others.stopped.is_some());
            }
            Action::Choose(label) => {
                let before = records(&drill.wait_for("an incident", |_| true));
                drill.says(label, |s| records(s) > before);
            }
            Action::Touch(pick) => {
                let state = drill.wait_for("an incident", |_| true);
                let before = records(&state);
                let facts = &state.facts;
                let asked = groundward::incident::prompt(facts, facts.line.reached_at());
                let asked = asked.expect("an incident has a prompt");
                let label = asked.choice(*pick).map(|c| c.label.text(language(facts)));
                drill.says(&label.expect("it has that answer"), |s| records(s) > before);
            }
            Action::Said => {
                drill.say_everything();
            }
            Action::Undo | Action::Speak(_) => panic!("{place}: nobody has shown how to touch it"),
            Action::Do(Act::NameCommand(Some(id))) => {
                drill.path(&["I TAKE COMMAND"], |s| s.facts.command.handing.is_some());
                let name = drill.state().expect("it runs").facts.name(id).to_owned();
                drill.says("I have it", |s| s.facts.command.taken.is_some());
                drill.says(&name, |s| s.facts.command.handing.is_none());
            }
            Action::Do(act) => {
                let state = drill.wait_for("an incident", |_| true);
                let before = records(&state);
                let path = touches(act, &state.facts);
                let path: Vec<&str> = path.iter().map(String::as_str).collect();
                eprintln!("{place}: {path:?}");
                drill.path(&path, |s| records(s) > before);
            }
        }
    }
}

/// Records that somebody or something brought about; the clock is written down all the time.
fn records(state: &State) -> usize {
    use groundward::incident::Event;
    let own = state.log.iter().filter(|r| {
        !matches!(
            r.event,
            Event::ClockMarked {}
                | Event::PromptShown { .. }
                | Event::CameDue { .. }
                | Event::ForecastAdopted { .. }
                | Event::OrderGiven { .. }
                | Event::TaskGiven { .. }
                | Event::OrderWithdrawn { .. }
                | Event::OrdersUnanswered { .. }
        )
    });
    own.count()
}

#[track_caller]
fn wait_until(place: &str, holds: impl Fn() -> Result<(), String>) {
    let patience = Instant::now() + PATIENCE;
    loop {
        match holds() {
            Ok(()) => return,
            Err(why) => assert!(Instant::now() < patience, "{place}: {why}"),
        }
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn scenarios_are_played_by_touch_alone() {
    let all = std::env::var("GROUNDWARD_SCENARIOS").unwrap_or_default();
    let mut played = 0;
    for scenario in scenarios(include_str!("scenarios.txt")) {
        let name = scenario.name.as_str();
        let wanted = match all.as_str() {
            "" => ALWAYS.contains(&name),
            "all" => !TIMED.contains(&name),
            one => name.contains(one),
        };
        if wanted {
            eprintln!("== {name}");
            play(&scenario);
            played += 1;
        }
    }
    assert!(played > 0, "a scenario was played");
}
