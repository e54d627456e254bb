//! Tries whether a position counts as ready: papers, people and kit of a day, and that none of it stops an activation.

use groundward::plan::{DEMO, Plan, read_on};
use groundward::readiness::{Conditions, standings};
use groundward::words::{Id, Language};

use crate::desk::Desk;
use crate::support::day;

/// A small plan whose only position is ready.
const SOUND: &str = include_str!("plan/sound.toml");

fn plan(text: &str) -> Plan {
    let reading = read_on("site.toml", text.as_bytes(), day());
    let findings = reading.findings;
    reading.plan.unwrap_or_else(|| panic!("{findings:#?}"))
}

/// Why the position of the small plan is not ready after some changes, in the words of the screen.
fn why_not(changes: &[(&str, &str)], absent: &[&str]) -> Option<String> {
    let text = changes.iter().fold(SOUND.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    });
    let plan = plan(&text);
    let ids = plan.responders.iter().map(|it| it.id.clone());
    let present: Vec<String> = ids.filter(|id| !absent.contains(&id.as_str())).collect();
    let conditions = Conditions {
        present,
        ..Conditions::everybody(&plan, day())
    };
    let all = standings(&plan, &conditions);
    assert_eq!(all.len(), 1);
    let why = all[0].why_not.as_ref();
    why.map(|why| why.text(Language::English))
}

/// Leaves only the method with roles, and lets it ask nothing of the casualty.
const ONE_METHOD: [(&str, &str); 2] = [
    ("needs = [\"answering\", \"climbing\"]", "needs = []"),
    (
        "name = \"pick-off\"\n",
        "name = \"pick-off\"\nneeds = [\"answering\"]\n",
    ),
];

fn with(changes: &[(&'static str, &'static str)], absent: &[&str]) -> Option<String> {
    let all: Vec<(&str, &str)> = ONE_METHOD
        .into_iter()
        .chain(changes.iter().copied())
        .collect();
    why_not(&all, absent)
}

#[test]
fn a_sound_plan_is_ready() {
    assert_eq!(why_not(&[], &[]), None);
    assert_eq!(with(&[], &[]), None);
}

#[test]
fn a_method_that_asks_something_of_the_casualty_makes_nothing_ready() {
    let needy = (
        "name = \"pick-off\"\n",
        "name = \"pick-off\"\nneeds = [\"answering\"]\n",
    );
    assert_eq!(
        why_not(&[needy], &[]).as_deref(),
        Some("no method for the helpless")
    );
}

#[test]
fn papers_that_ran_out_make_a_position_not_ready() {
    let overdue = ("review_by = \"2027-03-02\"", "review_by = \"2026-11-24\"");
    assert_eq!(
        why_not(&[overdue], &[]).as_deref(),
        Some("plan review overdue since 2026-11-24")
    );
    let today = ("review_by = \"2027-03-02\"", "review_by = \"2026-11-25\"");
    assert_eq!(why_not(&[today], &[]), None, "the day itself still counts");
    let kit = (
        "inspected = \"2026-02-01\"\ninspection_due = \"2027-02-01\"",
        "inspection_due = \"2026-11-24\"",
    );
    assert_eq!(with(&[kit], &[]).as_deref(), Some("ladder 1 overdue"));
    let unrated = ("rated_mass = \"150 kg\"\n", "");
    assert_eq!(with(&[unrated], &[]).as_deref(), Some("ladder 1 unrated"));
    let ended = ("until = \"2027-04-01\"", "until = \"2026-11-24\"");
    assert_eq!(with(&[ended], &[]).as_deref(), Some("rope expired"));
}

#[test]
fn people_and_kit_that_are_not_there_make_a_position_not_ready() {
    // Ben works there and may be the one who hangs, so without Ada nobody is left for the rope.
    assert_eq!(with(&[], &["ada"]).as_deref(), Some("nobody for rope"));
    assert_eq!(with(&[], &["cay"]).as_deref(), Some("too few people"));
    let out = ("count = 2\n", "out_of_service = \"rung bent\"\n");
    assert_eq!(with(&[out], &[]).as_deref(), Some("no ladder"));
}

#[test]
fn the_screen_says_which_positions_are_not_ready_and_activation_goes_on_anyway() {
    let mut desk = Desk::demo();
    assert!(!desk.engine.new_day(&desk.now).is_empty());
    let standings = desk.engine.snapshot(&desk.now).standings;
    let plan = plan(DEMO);
    assert_eq!(standings.len(), plan.positions.len());
    let without: Vec<&str> = plan
        .positions
        .iter()
        .filter(|it| it.methods.is_empty())
        .map(|it| it.id.as_str())
        .collect();
    let not_ready: Vec<(&str, Id)> = standings
        .iter()
        .filter_map(|it| Some((it.position.as_str(), it.why_not.as_ref()?.id)))
        .collect();
    let expected: Vec<_> = without
        .iter()
        .map(|id| (*id, Id::NotReadyNoMethod))
        .collect();
    assert_eq!(not_ready, expected);
    assert_eq!(without.len(), 1);
    desk.hang(Some(without[0]));
    assert_eq!(
        desk.facts().methods().len(),
        4,
        "the generic rungs serve there"
    );
}
