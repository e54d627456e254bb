//! Tries the approval of a plan: who may sign, that a changed plan is unsigned again, that a swap touches no incident.

use groundward::incident::{Event, PlanApproval};
use groundward::journal::approvals::{add, read};
use groundward::signal::{Effect, Input, LoadedPlan, Tap};

use crate::desk::Desk;
use crate::support::day;

/// A small plan in which Ada alone is a competent person.
const SOUND: &str = include_str!("plan/sound.toml");

fn loaded(text: &str) -> LoadedPlan {
    LoadedPlan::choose(Some(("site.toml", text.as_bytes())), None, None, day())
}

fn sign(desk: &mut Desk, responder: &str) -> Option<PlanApproval> {
    let effects = desk.tap(Tap::ApprovePlan {
        responder: responder.to_owned(),
    });
    // The first touch of a day also has every position looked at, and says to the sound that this tablet is kept for drills.
    let asked = effects.iter();
    let asked: Vec<_> = asked
        .filter(|it| !matches!(it, Effect::Standings { .. } | Effect::Drill(_)))
        .collect();
    match asked[..] {
        [Effect::KeepApproval(approval)] => Some(approval.clone()),
        [] => None,
        _ => panic!("{asked:?}"),
    }
}

#[test]
fn a_competent_person_on_shift_signs_and_nobody_else() {
    let mut desk = Desk::loaded(loaded(SOUND));
    assert_eq!(sign(&mut desk, "ben"), None, "not named as competent");
    assert_eq!(sign(&mut desk, "nobody"), None, "not in the plan");
    let approval = sign(&mut desk, "ada").expect("Ada may sign");
    assert_eq!(
        (&*approval.name, &*approval.revision, approval.wall_ms),
        ("Ada", "3", desk.now.wall_ms)
    );
    desk.tap(Tap::SwapPresent {
        responder: "ada".to_owned(),
    });
    assert_eq!(sign(&mut desk, "ada"), None, "not on shift");

    let mut none = Desk::loaded(LoadedPlan::choose(None, None, None, day()));
    assert_eq!(sign(&mut none, "ada"), None, "there is no plan to sign");
}

#[test]
fn a_changed_plan_is_not_approved_until_it_is_signed() {
    let mut desk = Desk::loaded(loaded(SOUND));
    let shown = |desk: &Desk| desk.engine.snapshot(&desk.now).approval;
    assert_eq!(shown(&desk), None);
    let approval = sign(&mut desk, "ada").expect("Ada may sign");
    assert_eq!(shown(&desk), None, "an approval counts once it is kept");
    desk.take(Input::Approvals(Ok(vec![approval.clone()])));
    assert_eq!(shown(&desk), Some(approval.clone()));

    let changed = loaded(&SOUND.replace("count = 2", "count = 3"));
    desk.take(Input::Plan(Box::new(changed)));
    assert_eq!(shown(&desk), None, "one digit has changed");
    desk.take(Input::Plan(Box::new(loaded(SOUND))));
    assert_eq!(shown(&desk), Some(approval.clone()), "the same bytes again");

    desk.hang(Some("edge"));
    let Event::Opened(opening) = &desk.records[0].event else {
        panic!("the first record opens the incident");
    };
    let said = "the record says who approved the plan it was opened with";
    assert_eq!(opening.approval, Some(approval), "{said}");
}

#[test]
fn an_approval_that_cannot_be_kept_is_said_and_counts_for_nothing() {
    let mut desk = Desk::loaded(loaded(SOUND));
    desk.take(Input::Approvals(Err("the disk is full".to_owned())));
    let snapshot = desk.engine.snapshot(&desk.now);
    assert_eq!(snapshot.approval, None);
    assert!(
        snapshot
            .notices
            .iter()
            .any(|it| it.grave && it.message.args == ["the disk is full"])
    );
}

#[test]
fn swapping_the_plan_never_touches_an_open_incident() {
    let mut desk = Desk::loaded(loaded(SOUND));
    desk.hang(Some("edge"));
    desk.answer();
    let (before, records) = (desk.facts().clone(), desk.records.len());
    let other = SOUND
        .replace("Roof, edge", "Roof, ridge")
        .replace("9 min", "12 min");
    desk.take(Input::Plan(Box::new(loaded(&other))));
    assert_eq!(*desk.facts(), before);
    assert_eq!(desk.records.len(), records, "nothing is written");
    desk.assert_replays();
    desk.answer();
    let opened = desk.facts().opened.as_ref().expect("it is still open");
    assert_eq!(opened.plan.positions[0].name, "Roof, edge");
    let next = desk.engine.snapshot(&desk.now).plan;
    assert_eq!(
        next.plan.positions[0].name, "Roof, ridge",
        "the next one gets it"
    );
}

fn approval(revision: &str) -> PlanApproval {
    PlanApproval {
        plan_sha: "0".repeat(64),
        plan_name: "site.toml".to_owned(),
        site: "Pellow works (invented)".to_owned(),
        revision: revision.to_owned(),
        by: "ada".to_owned(),
        name: "Ada".to_owned(),
        wall_ms: 1_790_000_000_000,
        offset_min: 60,
    }
}

#[test]
fn approvals_are_kept_in_a_chain_that_shows_an_alteration() {
    let folder = tempfile::tempdir().expect("a folder can be made");
    assert_eq!(read(folder.path()).expect("no file is no fault").all, []);
    for revision in ["1", "2", "3"] {
        add(folder.path(), &approval(revision)).expect("it can be written");
    }
    let kept = read(folder.path()).expect("it can be read");
    assert_eq!(kept.all, ["1", "2", "3"].map(approval));
    assert_eq!(kept.broken_line, None);

    let file = folder.path().join("approvals.jsonl");
    let text = std::fs::read_to_string(&file).expect("it is text");
    let second = text.lines().nth(1).expect("there are three lines");
    std::fs::write(
        &file,
        text.replace(second, &second.replace("\"Ada\"", "\"Eve\"")),
    )
    .expect("it can be written");
    let altered = read(folder.path()).expect("it can be read");
    assert_eq!((altered.all.len(), altered.broken_line), (1, Some(2)));
    let refused = add(folder.path(), &approval("4")).expect_err("nothing is added to it");
    assert!(refused.to_string().contains("line 2"), "{refused}");

    std::fs::write(&file, text.lines().skip(1).collect::<Vec<_>>().join("\n"))
        .expect("it can be written");
    let cut = read(folder.path()).expect("it can be read");
    assert_eq!(
        (cut.all.len(), cut.broken_line),
        (0, Some(1)),
        "the first line is gone"
    );
}

#[test]
fn an_approval_on_a_folder_that_cannot_be_written_is_an_error() {
    let folder = tempfile::tempdir().expect("a folder can be made");
    let file = folder.path().join("not-a-folder");
    std::fs::write(&file, "x").expect("it can be written");
    add(&file, &approval("1")).expect_err("a file is no folder");
}
