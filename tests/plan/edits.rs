//! Edits plan files and looks at every byte that was not meant.
//!
//! Random edits are made of a number that is printed when one fails; what they must come to is found on another way, by
//! the same change on the values of the file. The commands are tried as somebody types them.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output};

use groundward::plan::{Area, Change, DEMO, Edit, Level, Refusal, What, diff, edit, edit_on, read};
use proptest::prelude::*;

use super::by_values::{
    AWKWARD, accepted, accepted_of, apply, done, files, ids, in_service, item, out_of_service,
    remove, rename, set, table, values, without_empty,
};
use crate::support::day;

#[track_caller]
fn refused(text: &str, edits: &[Edit]) -> Refusal {
    match edit("site.toml", text, edits) {
        Ok(edited) => panic!("{edits:?} is done: {:?}", edited.changes),
        Err(refusal) => refusal,
    }
}

/// The text after one replacement that must be possible.
#[track_caller]
fn replaced(text: &str, from: &str, to: &str) -> String {
    assert_eq!(text.matches(from).count(), 1, "{from:?}");
    text.replacen(from, to, 1)
}

#[track_caller]
fn becomes(text: &str, edit: Edit, from: &str, to: &str) {
    let expected = replaced(text, from, to);
    let edited = done(text, &[edit]).text;
    assert!(
        edited == expected,
        "not as expected:\n{}",
        differing(&expected, &edited)
    );
}

/// The lines that differ, for a message.
fn differing(a: &str, b: &str) -> String {
    let (a_lines, b_lines): (Vec<&str>, Vec<&str>) =
        (a.split('\n').collect(), b.split('\n').collect());
    let head = a_lines
        .iter()
        .zip(&b_lines)
        .take_while(|(a, b)| a == b)
        .count();
    let end = |lines: &[&str]| {
        lines[head..]
            .iter()
            .take(12)
            .map(|line| format!("{line:?}\n"))
            .collect::<String>()
    };
    format!(
        "line {}, wanted\n{}got\n{}",
        head + 1,
        end(&a_lines),
        end(&b_lines)
    )
}

/// What differs, between what both have at their beginning and at their end.
fn middle<'t>(old: &'t str, new: &'t str) -> (&'t str, &'t str) {
    let head = old
        .char_indices()
        .zip(new.chars())
        .find(|((_, a), b)| a != b)
        .map_or(old.len().min(new.len()), |((at, _), _)| at);
    let (old, new) = (&old[head..], &new[head..]);
    let mut tail = old.len().min(new.len());
    while !old.is_char_boundary(old.len() - tail)
        || !new.is_char_boundary(new.len() - tail)
        || old[old.len() - tail..] != new[new.len() - tail..]
    {
        tail -= 1;
    }
    (&old[..old.len() - tail], &new[..new.len() - tail])
}

fn has_in_order<T: PartialEq>(all: &[T], some: &[T]) -> bool {
    let mut all = all.iter();
    some.iter().all(|wanted| all.any(|it| it == wanted))
}

/// Every byte that the edit did not mean is as it was.
fn untouched(old: &str, new: &str, edit: &Edit) {
    let lines = |text: &str| {
        text.split_inclusive('\n')
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    let (before, after) = (lines(old), lines(new));
    let (gone, come) = middle(old, new);
    match edit {
        Edit::Rename { path, to } => {
            let from = path.rsplit('.').next().expect("a path has a part");
            assert!(!old.contains(to.as_str()), "the new id is nowhere yet");
            assert_eq!(new.replace(to.as_str(), from), old);
        }
        Edit::Set { value, .. } if before.len() == after.len() => {
            let is_new = gone.is_empty() && come.contains(value.as_str());
            assert!(
                !gone.contains('\n') && (is_new || value.contains(come)),
                "{gone:?} became {come:?}"
            );
        }
        Edit::Set { .. } if before.len() > after.len() => {
            assert!(
                gone.matches('\n').count() == before.len() - after.len(),
                "a value on several lines is now on one: {gone:?}"
            );
        }
        Edit::InService { .. } | Edit::Remove { .. } if has_in_order(&before, &after) => {}
        Edit::InService { .. } | Edit::Remove { .. } if old.starts_with(new) => {
            assert!(
                !new.ends_with('\n') && !old.ends_with('\n'),
                "a file without a line end still has none"
            );
        }
        Edit::InService { .. } | Edit::Remove { .. } => {
            assert!(
                come.is_empty() && !gone.contains('\n'),
                "{gone:?} became {come:?}"
            );
        }
        Edit::Set { .. } | Edit::Add { .. } | Edit::OutOfService { .. } => {
            let only_new = has_in_order(&after, &before);
            let in_one_line = before.len() == after.len() && gone.is_empty();
            let after_a_comma = after.len() == before.len() + 1
                && !gone.contains('\n')
                && has_in_order(come.as_bytes(), gone.as_bytes());
            let at_the_end = gone.is_empty()
                && old.len() + come.len() == new.len()
                && !old.ends_with('\n')
                && new.starts_with(old);
            assert!(
                only_new || in_one_line || after_a_comma || at_the_end,
                "{gone:?} became {come:?}"
            );
        }
    }
    if new.contains("\r\n") {
        assert_eq!(
            new.matches("\r\n").count(),
            new.matches('\n').count(),
            "all line ends are alike"
        );
    }
    assert_eq!(
        old.ends_with('\n'),
        new.ends_with('\n'),
        "the end of the file is as it was"
    );
    assert_eq!(old.starts_with('\u{feff}'), new.starts_with('\u{feff}'));
}

#[test]
fn the_files_to_edit_are_fit() {
    for (what, text) in files() {
        let errors: Vec<_> = read("site.toml", text.as_bytes())
            .findings
            .into_iter()
            .filter(|it| it.level == Level::Error)
            .collect();
        assert_eq!(errors, [], "{what}");
    }
}

#[test]
fn random_edits_leave_every_other_byte_and_read_as_the_same_change_on_values() {
    for (what, text) in files() {
        let seeds = if what.contains("awkward") {
            0..250
        } else {
            0..60
        };
        let edits = accepted(&text, seeds);
        assert!(
            edits.len() > 25,
            "{what}: only {} edits were done",
            edits.len()
        );
        let kinds: BTreeSet<_> = edits
            .iter()
            .map(|(_, edit, _)| std::mem::discriminant(edit))
            .map(|it| format!("{it:?}"))
            .collect();
        assert!(
            kinds.len() == 6 || what.contains("demo"),
            "{what}: every kind of edit is done"
        );
        for (seed, edit, edited) in edits {
            println!("{what}, {seed}: {edit:?}");
            let mut expected = values(&text);
            apply(&mut expected, &edit);
            assert_eq!(
                without_empty(&values(&edited.text)),
                without_empty(&expected)
            );
            if edited.text != text {
                untouched(&text, &edited.text, &edit);
            }
        }
    }
}

/// Where a change stands, in either plan.
fn stands(change: &Change) -> Vec<&str> {
    [&change.was_at, &change.at]
        .into_iter()
        .flatten()
        .map(String::as_str)
        .collect()
}

#[test]
fn three_hundred_edits_of_the_demo_change_what_was_named_and_nothing_else() {
    let edits = accepted_of(DEMO, 1_000..3_000, 300, |_| true);
    assert_eq!(edits.len(), 300);
    for (seed, edit, edited) in edits {
        println!("{seed}: {edit:?}");
        let changes = &edited.changes;
        let all_at = |path: &str| {
            // A point is one value, whichever of its two lengths was set.
            let within = |at: &str| {
                at == path
                    || at.starts_with(&format!("{path}."))
                    || at.ends_with(".at") && path.starts_with(at)
            };
            assert!(
                changes.iter().all(|it| stands(it).into_iter().any(within)),
                "{changes:#?}"
            );
        };
        match &edit {
            Edit::Set { path, .. } => {
                all_at(path);
                assert!(changes.len() <= 3, "{changes:#?}");
            }
            Edit::Add { path, .. } => {
                all_at(path);
                assert!(
                    matches!(
                        changes[..],
                        [Change {
                            what: What::Added(_),
                            ..
                        }]
                    ),
                    "{changes:#?}"
                );
            }
            Edit::Remove { path } => {
                all_at(path);
                let is_gone =
                    |it: &Change| matches!(it.what, What::Removed(_) | What::Changed { .. });
                assert!(changes.iter().all(is_gone), "{changes:#?}");
            }
            Edit::Rename { path, to } => {
                let [
                    Change {
                        was_at,
                        what: What::Renamed { now, .. },
                        ..
                    },
                ] = &changes[..]
                else {
                    panic!("{changes:#?}");
                };
                assert_eq!((was_at.as_ref(), now), (Some(path), to));
            }
            Edit::OutOfService { path, .. } | Edit::InService { path } => all_at(path),
        }
        assert!(edited.text != DEMO || changes.is_empty(), "{edit:?}");
    }
}

#[test]
fn an_edit_that_is_done_twice_changes_nothing_the_second_time() {
    for (what, text) in files() {
        let repeats = |edit: &Edit| {
            let once = matches!(
                edit,
                Edit::Add { .. } | Edit::Remove { .. } | Edit::Rename { .. }
            );
            !once
        };
        for (seed, edit, edited) in accepted_of(&text, 3_000..4_000, 12, repeats) {
            let again = done(&edited.text, &[edit]);
            assert_eq!(
                (again.text, again.changes, again.findings),
                (edited.text, vec![], vec![]),
                "{what}, {seed}"
            );
        }
    }
}

#[test]
fn whatever_is_renamed_and_renamed_back_has_the_same_bytes() {
    for (what, text) in files() {
        let every = if text.len() > 50_000 { 23 } else { 1 };
        for path in ids(&text).iter().step_by(every) {
            let there = done(&text, &[rename(path, "zz-new")]);
            assert!(
                matches!(
                    &there.changes[..],
                    [Change {
                        what: What::Renamed { .. },
                        ..
                    }]
                ),
                "{path}: {:#?}",
                there.changes
            );
            assert_eq!(there.findings, [], "{what}: {path}");
            untouched(&text, &there.text, &rename(path, "zz-new"));
            let (above, id) = path.rsplit_once('.').expect("an id is below something");
            let back = done(&there.text, &[rename(&format!("{above}.zz-new"), id)]);
            assert!(back.text == text, "{what}: {path}");
        }
    }
}

#[test]
fn what_is_added_and_removed_again_leaves_no_trace() {
    for (what, text) in files() {
        let adds = |edit: &Edit| matches!(edit, Edit::Add { .. });
        for (seed, edit, edited) in accepted_of(&text, 5_000..6_000, 16, adds) {
            if let Edit::Add { path, .. } = &edit {
                // A list or table that was made for it stays, empty.
                let back = done(&edited.text, &[remove(path)]);
                assert_eq!(
                    back.changes
                        .iter()
                        .filter(|it| !matches!(it.what, What::Removed(_)))
                        .count(),
                    0
                );
                let same = back.text == text
                    || without_empty(&values(&back.text)) == without_empty(&values(&text))
                        && back.text.contains("[]");
                assert!(
                    same,
                    "{what}, {seed}: {path}\n{}",
                    differing(&text, &back.text)
                );
            }
        }
    }
}

#[test]
fn a_value_changes_and_what_stands_around_it_does_not() {
    becomes(
        AWKWARD,
        set("place.gate.level", "'1'"),
        "level = \"0\" # dotted",
        "level = '1' # dotted",
    );
    becomes(
        AWKWARD,
        set("position.roof.workers.1", "'cid'"),
        "\"abe\", # the first",
        "'cid', # the first",
    );
    becomes(
        AWKWARD,
        set("position.roof.method.ladder.step.2.time.2", "\"12 s\""),
        "\"10 s\", # likeliest",
        "\"12 s\", # likeliest",
    );
    becomes(
        AWKWARD,
        set("position.roof.hazard.fan.by", "\"dee\""),
        "by = \"cid\" }",
        "by = \"dee\" }",
    );
    becomes(
        AWKWARD,
        set("position.roof.method.lift.role.watch.place", "'roof'"),
        "watch.place = \"gate\"",
        "watch.place = 'roof'",
    );
    becomes(
        AWKWARD,
        set("responder.abe.qualifications.2.until", "\"2037-01-01\""),
        "\"2036-05-31\"",
        "\"2037-01-01\"",
    );
}

#[test]
fn a_new_key_goes_below_its_siblings_in_their_form() {
    becomes(
        AWKWARD,
        set("place.gate.name", "\"the gate\""),
        "'the gate'",
        "\"the gate\"",
    );
    becomes(
        AWKWARD,
        set("site.gate", "\"west\""),
        "invented = true\n",
        "invented = true\ngate = \"west\"\n",
    );
    becomes(
        AWKWARD,
        set("position.roof.anchorage.persons", "2"),
        "strength = \"5000 lbf\"\n",
        "strength = \"5000 lbf\"\nanchorage.persons = 2\n",
    );
    becomes(
        AWKWARD,
        set("station.a.kit.ladder.length", "\"6 m\""),
        "kind = \"ladder\" }",
        "kind = \"ladder\", length = \"6 m\" }",
    );
    becomes(
        AWKWARD,
        set("station.a.kit.lift.reach", "\"20 m\""),
        "kit.lift.kind = \"boom lift\"\n",
        "kit.lift.kind = \"boom lift\"\nkit.lift.reach = \"20 m\"\n",
    );
    let indented = "    milestone = \"first-contact\"\n";
    becomes(
        AWKWARD,
        set("position.roof.method.ladder.step.2.caution", "\"Slowly.\""),
        indented,
        &format!("{indented}    caution = \"Slowly.\"\n"),
    );
    // A table with a fixed name is made for its first key.
    becomes(
        AWKWARD,
        set("policy.target", "\"8 min\""),
        "invented = true\n",
        "invented = true\n\n[policy]\ntarget = \"8 min\"\n",
    );
    // A method that has only tables below it so far has no header, and none above the comment of the first.
    let bare = AWKWARD.replace(
        "# Awkward on purpose: an invented site.\nformat = 1 # the only one\n",
        "# Comment.\n\n",
    );
    let bare = format!("{bare}\n# About it.\n[station.b.kit.x]\nname = \"x\"\nkind = \"x\"\n");
    let edits = [
        set("station.b.name", "\"station B\""),
        set("station.b.place", "'gate'"),
        set("format", "1"),
    ];
    let edited = done(&bare, &edits).text;
    assert!(edited.ends_with("\n\n[station.b]\nname = \"station B\"\nplace = 'gate'\n\n# About it.\n[station.b.kit.x]\nname = \"x\"\nkind = \"x\"\n"), "{edited}");
    assert!(edited.starts_with("# Comment.\n\nplace.gate.name = 'the gate'\n"));
    assert!(
        edited.contains("# inline\nformat = 1\n\n[[position"),
        "{edited}"
    );
}

#[test]
fn a_new_table_goes_where_its_siblings_are() {
    let thing = [("name", "\"rope 1\""), ("kind", "\"rope\"")];
    becomes(
        AWKWARD,
        table("station.a.kit.rope", &thing),
        "name = \"station A\"\n",
        "name = \"station A\"\n\n[station.a.kit.rope]\nname = \"rope 1\"\nkind = \"rope\"\n",
    );
    let hazard = [
        ("name", "\"dust\""),
        ("kind", "\"air\""),
        ("task", "\"stop it\""),
        ("done", "\"Stopped\""),
    ];
    becomes(
        AWKWARD,
        table("position.roof.hazard.dust", &hazard),
        "by = \"cid\" } }",
        "by = \"cid\" }, dust = { name = \"dust\", kind = \"air\", task = \"stop it\", done = \"Stopped\" } }",
    );
    let person = [("name", "\"Eve\""), ("place", "\"gate\"")];
    let last = "qualifications = [\"boom lift\"]\n";
    becomes(
        AWKWARD,
        table("responder.eve", &person),
        last,
        &format!("{last}\n[responder.eve]\nname = \"Eve\"\nplace = \"gate\"\n"),
    );
    let arrest = [("kind", "\"lanyard\"")];
    let body = "by = \"cid\" } }\n";
    becomes(
        AWKWARD,
        table("position.roof.arrest", &arrest),
        body,
        &format!("{body}\n[position.roof.arrest]\nkind = \"lanyard\"\n"),
    );
    let end = done(
        AWKWARD.trim_end(),
        &[table(
            "station.b",
            &[("name", "\"station B\""), ("place", "\"gate\"")],
        )],
    );
    assert_eq!(
        end.text,
        format!(
            "{}\n\n[station.b]\nname = \"station B\"\nplace = \"gate\"",
            AWKWARD.trim_end()
        )
    );
}

#[test]
fn an_item_goes_before_the_one_that_has_its_number() {
    becomes(
        AWKWARD,
        item("position.roof.workers.1", "\"dee\""),
        "    \"abe\", # the first",
        "    \"dee\",\n    \"abe\", # the first",
    );
    becomes(
        AWKWARD,
        item("position.roof.workers", "\"dee\""),
        "    \"bea\"\n]",
        "    \"bea\",\n    \"dee\"\n]",
    );
    becomes(
        AWKWARD,
        item("position.roof.watched_by.3", "\"abe\""),
        "[\"cid\", \"dee\",]",
        "[\"cid\", \"dee\", \"abe\",]",
    );
    becomes(
        AWKWARD,
        item("responder.cid.languages", "\"en\""),
        "languages = []",
        "languages = [\"en\"]",
    );
    becomes(
        AWKWARD,
        item("responder.bea.languages", "\"en\""),
        "name = \"Bea\"\nplace = \"gate\"\n",
        "name = \"Bea\"\nplace = \"gate\"\nlanguages = [\"en\"]\n",
    );
    let step = [
        ("say", "\"wait\""),
        ("done", "\"Waited\""),
        ("time", "[\"1 s\", \"2 s\", \"3 s\"]"),
    ];
    let third =
        "[[position.roof.method.ladder.step]]\nwho = \"first\"\nsay = \"bring the casualty over";
    let block = "[[position.roof.method.ladder.step]]\nsay = \"wait\"\ndone = \"Waited\"\ntime = [\"1 s\", \"2 s\", \"3 s\"]\n";
    becomes(
        AWKWARD,
        table("position.roof.method.ladder.step.3", &step),
        third,
        &format!("{block}\n{third}"),
    );
    becomes(
        AWKWARD,
        table("position.roof.method.ladder.step", &step),
        "committed = true\n\n",
        &format!("committed = true\n\n{block}\n"),
    );
    let inline = "{ say = \"wait\", done = \"Waited\", time = [\"1 s\", \"2 s\", \"3 s\"] }";
    let last = "{ say = \"come down\", done = \"At the gate\", time = [\"20 s\", \"40 s\", \"90 s\"], milestone = \"landing\" }";
    becomes(
        AWKWARD,
        table("position.roof.method.lift.step.4", &step),
        last,
        &format!("{last},\n    {inline}"),
    );
    becomes(
        AWKWARD,
        table("position.roof.method.lift.step.3", &step),
        last,
        &format!("{inline},\n    {last}"),
    );
    let fallback = [("say", "\"shout\""), ("done", "\"Heard\"")];
    let time = "time = [\"20 s\", \"40 s\", \"80 s\"]\n\n";
    becomes(
        AWKWARD,
        table("position.roof.method.ladder.step.1.fallback.1", &fallback),
        time,
        &format!(
            "{}fallback = [{{ say = \"shout\", done = \"Heard\" }}]\n\n",
            time.trim_end_matches('\n').to_owned() + "\n"
        ),
    );
    let second = "        [[position.roof.method.ladder.step.fallback]]\n        who = \"first\"";
    becomes(
        AWKWARD,
        table("position.roof.method.ladder.step.2.fallback.2", &fallback),
        second,
        &format!(
            "[[position.roof.method.ladder.step.fallback]]\nsay = \"shout\"\ndone = \"Heard\"\n\n{second}"
        ),
    );
}

#[test]
fn what_is_removed_takes_its_own_comments_with_it() {
    becomes(
        AWKWARD,
        remove("position.roof.workers.2"),
        "\n    # the second\n    \"bea\"\n",
        "\n",
    );
    becomes(
        AWKWARD,
        remove("position.roof.workers.1"),
        "    \"abe\", # the first\n",
        "",
    );
    becomes(
        AWKWARD,
        remove("responder.abe.qualifications.2"),
        ", { name = \"first aid\", until = \"2036-05-31\" }",
        "",
    );
    becomes(
        AWKWARD,
        remove("responder.abe.qualifications.2.until"),
        ", until = \"2036-05-31\" }",
        " }",
    );
    becomes(
        AWKWARD,
        remove("place.gate.at"),
        "place.gate.at = [\"0 m\", \"-2 m\"]\n",
        "",
    );
    becomes(
        AWKWARD,
        remove("outside_rescue.brigade"),
        "{ brigade = { name = \"fire service\", height_capable = true } }",
        "{}",
    );
    becomes(
        AWKWARD,
        remove("position.roof.method.lift.step.3"),
        "    { say = \"come down\", done = \"At the gate\", time = [\"20 s\", \"40 s\", \"90 s\"], milestone = \"landing\" }\n",
        "",
    );
    becomes(
        AWKWARD,
        remove("position.roof.watched_by.1"),
        "[\"cid\", \"dee\",]",
        "[\"dee\",]",
    );
    becomes(
        AWKWARD,
        remove("position.roof.anchorage"),
        "anchorage.name = \"roof anchor 1\"\nanchorage . strength = \"5000 lbf\"\n",
        "",
    );
    let kit = DEMO
        .find("[station.c.kit.ladder-e2]")
        .expect("the piece is there");
    let comments = done(DEMO, &[remove("station.c.kit.ladder-e2")]).comments;
    assert_eq!(
        comments.is_empty(),
        !DEMO[..kit]
            .lines()
            .last()
            .unwrap_or_default()
            .starts_with('#')
    );
    // A table in pieces goes as a whole.
    let lift = done(AWKWARD, &[remove("position.roof.method.lift")]).text;
    assert!(
        !lift.contains("lift.") || !lift.contains("basket"),
        "{lift}"
    );
    let position = done(AWKWARD, &[remove("position.roof")]).text;
    assert!(
        !position.contains("roof anchor")
            && !position.contains("Indented")
            && position.contains("The end of the method"),
        "{position}"
    );
}

#[test]
fn a_reference_follows_and_keeps_its_quotes() {
    let text = done(AWKWARD, &[rename("place.stair-head", "landing")]).text;
    assert!(
        text.contains("approach = 'landing'")
            && text.contains("to = \"landing\", kind")
            && text.contains("walk . from = \"landing\""),
        "{text}"
    );
    assert!(
        text.contains("landing = { name = \"the stair head\"")
            && text.contains("landing = \"gate\""),
        "{text}"
    );
    // A role is known in its method only.
    let text = done(
        AWKWARD,
        &[rename("position.roof.method.ladder.role.first", "second")],
    )
    .text;
    assert_eq!(
        (
            text.matches("who = \"second\"").count(),
            text.matches("who = 'second'").count()
        ),
        (3, 1)
    );
    // Headers below follow, whatever they hold.
    let text = done(AWKWARD, &[rename("position.roof", "edge")]).text;
    assert!(
        !text.contains("position.roof")
            && text.contains("[position.\"edge\"]   # a quoted key")
            && text.contains("place = \"roof\"")
    );
    // An id that none may have is mended in the same way.
    let bad = AWKWARD
        .replace("stair-head", "stair.head")
        .replace("stair.head = {", "\"stair.head\" = {");
    let edited = done(&bad, &[rename("place.stair.head", "stair-head")]);
    assert!(
        edited.reading.plan.is_some() && edited.text.contains("\"stair-head\" = {"),
        "{:#?}",
        edited.reading.findings
    );
}

#[test]
fn a_piece_is_taken_out_of_service_and_put_back() {
    let out = done(
        AWKWARD,
        &[out_of_service("station.a.kit.lift", "arm \"creaks\"")],
    );
    assert!(
        out.text
            .contains("kit.lift.out_of_service = \"arm \\\"creaks\\\"\"\n")
    );
    assert_eq!(out.changes.len(), 1);
    assert_eq!(
        (out.changes[0].area, out.changes[0].to_string().as_str()),
        (
            Area::Station,
            "station A: boom lift 1: out of service \"arm \"creaks\"\", was left out"
        )
    );
    assert!(
        out.findings.iter().all(|it| it.id == "kit-out-of-service") && !out.findings.is_empty(),
        "{:#?}",
        out.findings
    );
    assert!(done(&out.text, &[in_service("station.a.kit.lift")]).text == AWKWARD);
    assert!(done(AWKWARD, &[in_service("station.a.kit.lift")]).text == AWKWARD);
}

#[test]
fn what_is_still_named_is_not_removed_alone() {
    let refusal = refused(AWKWARD, &[remove("responder.cid")]);
    let Refusal::StillNamed { path, places } = &refusal else {
        panic!("{refusal}")
    };
    let line = |of: &str| {
        let line = AWKWARD.lines().position(|line| line.contains(of));
        Some(1 + line.expect("the line is there"))
    };
    assert_eq!(path, "responder.cid");
    // Lines are those of the file as it is, wherever the thing stands that is to go.
    let expected = [
        ("position.roof.watched_by.1".to_owned(), line("watched_by")),
        ("position.roof.hazard.fan.by".to_owned(), line("hazard =")),
    ];
    let found: BTreeSet<_> = places.iter().cloned().collect();
    assert_eq!(found, BTreeSet::from(expected));
    assert!(
        refusal
            .to_string()
            .contains("position.roof.watched_by.1 (line "),
        "{refusal}"
    );
    let Refusal::StillNamed { places, .. } = refused(AWKWARD, &[remove("place.roof")]) else {
        panic!("it is named")
    };
    assert!(
        places.contains(&("link.walk.to".to_owned(), line("walk . to"))),
        "{places:?}"
    );
    // A worker who cannot be sent is only a warning elsewhere; here it is no accident.
    assert!(matches!(
        refused(AWKWARD, &[remove("responder.bea")]),
        Refusal::StillNamed { .. }
    ));
    let together = [
        remove("responder.cid"),
        remove("position.roof.watched_by.1"),
        remove("position.roof.hazard.fan.by"),
    ];
    assert!(done(AWKWARD, &together).reading.plan.is_some());
    let otherwise = [
        remove("responder.bea"),
        set("position.roof.workers.2", "\"dee\""),
    ];
    assert!(done(AWKWARD, &otherwise).reading.plan.is_some());
    assert!(
        matches!(refused(AWKWARD, &[remove("position.roof.method.ladder.role.first")]), Refusal::StillNamed { places, .. } if places.len() == 4)
    );
    // A whole group, and what is added anew.
    assert!(matches!(
        refused(AWKWARD, &[remove("place")]),
        Refusal::StillNamed { .. }
    ));
    let anew = table(
        "responder.cid",
        &[("name", "\"Cid\""), ("place", "\"gate\"")],
    );
    assert!(
        done(AWKWARD, &[remove("responder.cid"), anew])
            .reading
            .plan
            .is_some()
    );
}

#[test]
fn what_would_bring_an_error_is_refused_with_it() {
    let cases = [
        (
            set("position.roof.landing", "\"moon\""),
            "dangling-reference",
        ),
        (set("position.roof.name", "12"), "wrong-type"),
        (
            set("position.roof.method.ladder.change_after", "\"3 m\""),
            "unknown-unit",
        ),
        (
            set("position.roof.method.ladder.rung", "\"rescue\""),
            "unknown-word",
        ),
        (set("position.roof.nmae", "\"x\""), "unknown-key"),
        (set("site.name", "\" \""), "bad-text"),
        (set("format", "2"), "format-unknown"),
        (remove("site.name"), "missing-key"),
        (remove("format"), "format-unknown"),
        (remove("site"), "missing-key"),
        (
            remove("position.roof.method.lift.step.2"),
            "method-without-release",
        ),
        (
            item("position.roof.method.ladder.needs", "\"flying\""),
            "unknown-word",
        ),
        (table("station.b", &[("name", "\"B\"")]), "missing-key"),
        (
            table(
                "station.b",
                &[("name", "\"B\""), ("name", "\"C\""), ("place", "\"gate\"")],
            ),
            "duplicate-id",
        ),
        (out_of_service("station.a.kit.lift", " "), "bad-text"),
    ];
    for (edit, id) in cases {
        let refusal = refused(AWKWARD, std::slice::from_ref(&edit));
        let Refusal::BringsError { findings } = &refusal else {
            panic!("{edit:?}: {refusal}")
        };
        assert!(
            findings.iter().any(|it| it.id == id),
            "{edit:?}: {findings:#?}"
        );
        assert!(
            findings
                .iter()
                .all(|it| it.level == Level::Error && refusal.to_string().contains(&it.message)),
            "{refusal}"
        );
    }
}

#[test]
fn a_warning_is_told_and_refuses_nothing() {
    let edited = done(AWKWARD, &[set("responder.abe.name", "\"Bea\"")]);
    assert_eq!(
        edited.findings.iter().map(|it| it.id).collect::<Vec<_>>(),
        ["same-name"]
    );
    // Those that were there before are not new, even where an item before them moved them.
    let edited = done(
        AWKWARD,
        &[table(
            "position.roof.method.lift.step.1",
            &[
                ("say", "\"wait\""),
                ("done", "\"Waited\""),
                ("time", "[\"1 s\", \"2 s\", \"3 s\"]"),
            ],
        )],
    );
    assert_eq!(edited.findings, []);
    let dated = [set("station.a.kit.ladder.inspection_due", "\"2026-01-01\"")];
    assert_eq!(done(AWKWARD, &dated).findings, []);
    let found = edit_on("site.toml", AWKWARD, &dated, day())
        .expect("it is done")
        .findings;
    assert_eq!(
        found.iter().map(|it| it.id).collect::<Vec<_>>(),
        ["inspection-overdue"]
    );
}

#[test]
fn a_plan_with_errors_is_mended_step_by_step() {
    let broken = replaced(AWKWARD, "landing = \"gate\"", "landing = \"gaet\"");
    let broken = replaced(&broken, "done = \"Casualty lies on the roof\"\n", "");
    let broken = replaced(
        &broken,
        "milestone = \"off-harness\"\ncommitted",
        "committed",
    );
    assert!(read("site.toml", broken.as_bytes()).plan.is_none());
    // What an error hid may show now; that is no harm done.
    let one = done(
        &broken,
        &[set(
            "position.roof.method.ladder.step.3.done",
            "\"Casualty lies on the roof\"",
        )],
    );
    assert!(
        one.reading
            .findings
            .iter()
            .any(|it| it.id == "method-without-release"),
        "{:#?}",
        one.reading.findings
    );
    assert!(
        one.findings.iter().all(|it| it.level == Level::Notice),
        "{:#?}",
        one.findings
    );
    let two = done(
        &one.text,
        &[set(
            "position.roof.method.ladder.step.3.milestone",
            "\"off-harness\"",
        )],
    );
    let three = done(&two.text, &[set("position.roof.landing", "\"gate\"")]);
    assert!(three.reading.plan.is_some());
    // One more is one too many.
    assert!(
        matches!(refused(&broken, &[set("position.roof.approach", "\"moon\"")]), Refusal::BringsError { findings } if findings.len() == 1)
    );
    // Errors stay theirs when what they are about is renamed, moved or removed.
    let renamed = done(
        &broken,
        &[
            rename("position.roof", "edge"),
            rename("position.edge.method.ladder", "steps"),
        ],
    );
    assert_eq!(renamed.findings, []);
    let step = table(
        "position.roof.method.ladder.step.1",
        &[
            ("say", "\"wait\""),
            ("done", "\"Waited\""),
            ("time", "[\"1 s\", \"2 s\", \"3 s\"]"),
        ],
    );
    assert_eq!(done(&broken, &[step]).findings, []);
    assert_eq!(
        done(&broken, &[remove("position.roof.method.ladder.step.1")]).findings,
        []
    );
}

#[test]
fn every_refusal_says_where_and_what_to_do() {
    let is_misplaced = |refusal: &Refusal| matches!(refusal, Refusal::Misplaced { .. });
    for (edit, part) in [
        (set("position.roof", "1"), "set one of its keys"),
        (set("station", "{}"), "set one of its keys"),
        (
            set("position.roof.method.ladder.step", "[]"),
            "set one of its keys",
        ),
        (
            set("position.roof.workers.3", "\"cid\""),
            "has the items 1 to 2: name one of them, or add number 3",
        ),
        (set("position.roof.name.first", "\"x\""), "single value"),
        (
            item("position.roof.workers.9", "\"cid\""),
            "has the items 1 to 2",
        ),
        (
            item("responder.bea.languages.2", "\"en\""),
            "add the first as number 1",
        ),
        (
            item("position.roof.workers.x", "\"cid\""),
            "has the items 1 to 2",
        ),
        (
            item("position.roof.method.ladder.step", "\"x\""),
            "give its keys",
        ),
        (item("responder.eve", "\"Eve\""), "give its keys"),
        (item("site.name", "\"x\""), "set it"),
        (table("responder", &[("name", "\"x\"")]), "responder.north"),
        (
            table("position.roof.workers.1", &[("name", "\"x\"")]),
            "without a key",
        ),
        (table("position.roof.name", &[("name", "\"x\"")]), "set it"),
        (rename("site", "place"), "no id of its own"),
        (rename("site.name", "title"), "no id of its own"),
        (
            rename("position.roof.method.ladder.step.1", "one"),
            "no id of its own",
        ),
        (out_of_service("link.stair", "wet"), "not a piece of kit"),
        (in_service("position.roof"), "not a piece of kit"),
    ] {
        let refusal = refused(AWKWARD, std::slice::from_ref(&edit));
        assert!(
            is_misplaced(&refusal) && refusal.to_string().contains(part),
            "{edit:?}: {refusal}"
        );
    }
    for (edit, near) in [
        (
            set("position.rooff.name", "\"x\""),
            Some("position.roof.name"),
        ),
        (remove("station.a.kit.lader"), Some("station.a.kit.ladder")),
        (rename("place.rof", "x"), Some("place.roof")),
        (
            out_of_service("station.a.kit.lfit", "x"),
            Some("station.a.kit.lift"),
        ),
        (
            table("station.q.kit.x", &[("name", "\"x\"")]),
            Some("station.a.kit.x"),
        ),
        (table("station.yard.kit.x", &[("name", "\"x\"")]), None),
        (
            item("position.roof.method.winch.needs", "\"climbing\""),
            None,
        ),
        (table("nowhere.x", &[("name", "\"x\"")]), None),
        (remove("position.roof.moves"), None),
        (set("nowhere.x", "1"), None),
    ] {
        let refusal = refused(AWKWARD, std::slice::from_ref(&edit));
        let Refusal::NotThere { near: found, .. } = &refusal else {
            panic!("{edit:?}: {refusal}")
        };
        assert_eq!(found.as_deref(), near, "{edit:?}");
        let advice = if near.is_some() {
            "is meant"
        } else {
            "groundward schema"
        };
        assert!(refusal.to_string().contains(advice), "{refusal}");
    }
    for edit in [
        rename("place.gate", "roof"),
        table("place.gate", &[("name", "\"x\""), ("level", "\"1\"")]),
        table("site", &[("name", "\"x\"")]),
    ] {
        let refusal = refused(AWKWARD, std::slice::from_ref(&edit));
        assert!(
            matches!(refusal, Refusal::IsThere { .. })
                && refusal.to_string().contains("another id"),
            "{refusal}"
        );
    }
    for edit in [
        rename("place.gate", "the gate"),
        rename("place.gate", ""),
        table("place.a/b", &[("name", "\"x\""), ("level", "\"1\"")]),
        rename("place.gate", &"x".repeat(65)),
    ] {
        let refusal = refused(AWKWARD, std::slice::from_ref(&edit));
        assert!(
            matches!(refusal, Refusal::BadId { .. }) && refusal.to_string().contains("64 letters"),
            "{refusal}"
        );
    }
    for value in [
        "gate",
        "",
        "\"a",
        "1 # one",
        "[1, 2",
        "1 2",
        "\"a\"\nb = 1",
        "{ a = 1",
        " 1",
        "\"\"\"a\nb\"\"\"",
    ] {
        for edit in [
            set("site.gate", value),
            item("position.roof.workers", value),
            table("place.x", &[("name", value)]),
        ] {
            let refusal = refused(AWKWARD, std::slice::from_ref(&edit));
            assert!(
                matches!(refusal, Refusal::BadValue { .. })
                    && refusal.to_string().contains("in quotes"),
                "{value:?}: {refusal}"
            );
        }
    }
    for path in ["", ".", "site.", ".name", "site..name"] {
        let refusal = refused(AWKWARD, &[set(path, "1")]);
        assert!(
            matches!(refusal, Refusal::BadPath { .. })
                && refusal.to_string().contains("with dots between"),
            "{path:?}: {refusal}"
        );
    }
    for (text, id) in [
        ("a = [", "syntax"),
        ("[a]\n[a]\n", "duplicate-id"),
        (&"[".repeat(100), "too-deep"),
        (&"#".repeat(9 * 1024 * 1024), "too-large"),
    ] {
        let refusal = refused(text, &[set("format", "1")]);
        assert!(
            matches!(&refusal, Refusal::Unreadable { finding } if finding.id == id),
            "{id}: {refusal}"
        );
        assert!(
            refusal.to_string().contains("line 1: ") || id == "duplicate-id",
            "{refusal}"
        );
    }
}

#[test]
fn of_several_edits_all_are_done_or_none_each_on_what_the_others_left() {
    let edits = [
        rename("position.roof", "edge"),
        set("position.edge.name", "\"Edge\""),
        remove("position.edge.workers.1"),
        remove("position.edge.workers.1"),
    ];
    let edited = done(AWKWARD, &edits);
    let plan = edited.reading.plan.expect("it is fit");
    assert_eq!(
        (
            plan.positions[0].id.as_str(),
            plan.positions[0].name.as_str(),
            plan.positions[0].workers.len()
        ),
        ("edge", "Edge", 0)
    );
    assert!(matches!(
        refused(AWKWARD, &[set("site.gate", "\"w\""), remove("station.z")]),
        Refusal::NotThere { .. }
    ));
    assert!(done(AWKWARD, &[]).text == AWKWARD);
    let broken = [
        table("place.x", &[("name", "\"x\""), ("name", "\"x\"")]),
        set("site.gate", "\"w\""),
    ];
    assert!(
        matches!(refused(AWKWARD, &broken), Refusal::BringsError { findings } if findings.iter().any(|it| it.id == "duplicate-id"))
    );
}

#[test]
fn what_is_typed_needs_no_quotes_where_a_text_belongs() {
    let typed = |path: &str, value: &str| match Edit::set(path, value) {
        Edit::Set { value, .. } => value,
        other => panic!("{other:?}"),
    };
    for (path, value, written) in [
        ("station.a.kit.lift.wind_max", "12 m/s", "\"12 m/s\""),
        ("station.a.kit.lift.wind_max", "\"12 m/s\"", "\"12 m/s\""),
        ("site.revision", "2", "\"2\""),
        (
            "site.name",
            "the \"yard\" \\ gate",
            "\"the \\\"yard\\\" \\\\ gate\"",
        ),
        ("site.name", "\"half", "\"\\\"half\""),
        ("site.name", "[old] yard", "\"[old] yard\""),
        ("site.invented", "true", "true"),
        ("position.roof.people", "3", "3"),
        ("position.roof.workers", "[\"abe\"]", "[\"abe\"]"),
        ("position.roof.workers.1", "abe", "\"abe\""),
        (
            "position.roof.method.m.step.1.time",
            "[\"1 s\", \"2 s\", \"3 s\"]",
            "[\"1 s\", \"2 s\", \"3 s\"]",
        ),
        ("position.roof.method.m.step.1.time.2", "25 s", "\"25 s\""),
        ("link.stair.rise", "-6 m", "\"-6 m\""),
        ("policy.free_fall", "6 ft", "\"6 ft\""),
        (
            "policy.free_fall",
            "[\"6 ft\", \"1.8 m\"]",
            "[\"6 ft\", \"1.8 m\"]",
        ),
        ("site.date", "2026-11-25", "\"2026-11-25\""),
        ("nowhere.x", "12", "12"),
    ] {
        assert_eq!(typed(path, value), written, "{path}");
    }
    let added = |path: &str, typed: &[&str]| {
        let typed: Vec<String> = typed.iter().map(|it| (*it).to_owned()).collect();
        Edit::add(path, &typed).map_err(|refusal| refusal.to_string())
    };
    assert_eq!(
        added("place.x", &["name=the x", "level=2"]),
        Ok(table(
            "place.x",
            &[("name", "\"the x\""), ("level", "\"2\"")]
        ))
    );
    assert_eq!(
        added("position.roof.workers", &["cid"]),
        Ok(item("position.roof.workers", "\"cid\""))
    );
    assert_eq!(
        added("position.roof.method.m.stop_if.1", &["wind=9"]),
        Ok(item("position.roof.method.m.stop_if.1", "\"wind=9\""))
    );
    assert_eq!(
        added("responder.abe.qualifications", &["winch"]),
        Ok(item("responder.abe.qualifications", "\"winch\""))
    );
    let dated = &[("name", "\"winch\""), ("until", "\"2037-01-01\"")];
    assert_eq!(
        added(
            "responder.abe.qualifications",
            &["name=winch", "until=2037-01-01"]
        ),
        Ok(table("responder.abe.qualifications", dated))
    );
    let step = added(
        "position.roof.method.m.step.1",
        &["say=go", "near=true", "time=[\"1 s\", \"2 s\", \"3 s\"]"],
    );
    assert_eq!(
        step,
        Ok(table(
            "position.roof.method.m.step.1",
            &[
                ("say", "\"go\""),
                ("near", "true"),
                ("time", "[\"1 s\", \"2 s\", \"3 s\"]")
            ]
        ))
    );
    assert!(added("place.x", &["the x"]).is_err_and(|why| why.contains("the x")));
    assert!(added("position.roof.workers", &["cid", "dee"]).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    /// Whatever the file and the edit are, there is an answer, and what is done is TOML and brings no error.
    #[test]
    fn odd_files_and_odd_edits_have_an_answer(
        start in 0..AWKWARD.len(), length in 0..30_usize, with in "\\PC{0,8}|[\\[\\]{}\"'=.,#\\r\\n]{0,6}",
        path in "[a-z0-9.\"é-]{0,20}|(position|place|station|site)(\\.(roof|method|ladder|step|a|kit|1|2|name)){0,5}",
        value in "\\PC{0,8}|[\\[\\]{}\"'=,#]{0,6}|[0-9]{1,3}|\"[a-z ]{1,9}\"", kind in 0..7_u8,
    ) {
        let end = AWKWARD.ceil_char_boundary((start + length).min(AWKWARD.len()));
        let start = AWKWARD.floor_char_boundary(start);
        let text = format!("{}{with}{}", &AWKWARD[..start], &AWKWARD[end..]);
        let edit_of = |path: &str| match kind {
            0 => set(path, &value),
            1 => item(path, &value),
            2 => table(path, &[("name", &value), (&value, "1")]),
            3 => remove(path),
            4 => rename(path, &value),
            5 => out_of_service(path, &value),
            _ => in_service(path),
        };
        for path in [path.as_str(), "position.roof.workers.1", "station.a.kit.ladder"] {
            if let Ok(edited) = edit("site.toml", &text, &[edit_of(path)]) {
                let is_fit = |text: &str| read("site.toml", text.as_bytes()).plan.is_some();
                prop_assert!(!is_fit(&text) || is_fit(&edited.text));
                let table: Result<toml::Table, _> = toml::from_str(&edited.text);
                prop_assert!(table.is_ok());
            }
        }
        let _ = diff(AWKWARD, &text);
    }
}

// The commands, as somebody types them.

fn plan(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_groundward"));
    command
        .arg("plan")
        .args(arguments)
        .output()
        .expect("the program starts")
}

#[track_caller]
fn says(arguments: &[&str], code: i32, parts: &[&str]) {
    let output = plan(arguments);
    let said = format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
    for part in parts {
        assert!(
            said.contains(part),
            "{arguments:?} does not say {part:?}: {said}"
        );
    }
}

fn names_in(folder: &Path) -> Vec<String> {
    let names = std::fs::read_dir(folder)
        .expect("the folder is there")
        .map(|it| it.expect("an entry").file_name());
    let mut names: Vec<String> = names.map(|it| it.to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn the_commands_change_the_file_in_place_and_say_what_changed() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = tempfile::tempdir().expect("a folder");
    let [file, link, other] =
        ["site.toml", "link.toml", "other.toml"].map(|name| folder.path().join(name));
    std::fs::write(&file, AWKWARD).expect("written");
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o640)).expect("set");
    symlink("site.toml", &link).expect("linked");
    let [at, link, other] = [&file, &link, &other].map(|it| it.to_str().expect("a plain path"));
    let text = || std::fs::read_to_string(&file).expect("read");

    says(
        &[
            "set",
            at,
            "station.a.kit.lift.wind_max",
            "12 m/s",
            "--dry-run",
        ],
        0,
        &["wind max 12 m/s, was left out", "would be changed"],
    );
    assert!(text() == AWKWARD);
    says(
        &["set", link, "station.a.kit.lift.wind_max", "12 m/s"],
        0,
        &[
            "Stations\n  station A: boom lift 1: wind max 12 m/s, was left out\n",
            "link.toml is changed.",
        ],
    );
    assert!(text().contains("kit.lift.wind_max = \"12 m/s\"\n"));
    assert!(std::fs::symlink_metadata(link).expect("there").is_symlink());
    assert_eq!(
        std::fs::metadata(&file)
            .expect("there")
            .permissions()
            .mode()
            & 0o777,
        0o640
    );
    assert_eq!(names_in(folder.path()), ["link.toml", "site.toml"]);
    says(
        &["set", at, "station.a.kit.lift.wind_max", "12 m/s"],
        0,
        &["says that already"],
    );
    says(
        &["set", at, "link.walk.rise", "-6 m"],
        0,
        &["rise -6 m, was 0 m (left out)"],
    );
    says(
        &["add", at, "position.roof.workers", "cid"],
        0,
        &["Roof edge: workers: \"cid\" added"],
    );
    says(
        &["add", at, "place.pit", "name=the pit", "level=-1"],
        0,
        &["Site\n  the pit: added"],
    );
    says(
        &["rename", at, "place.pit", "hole"],
        0,
        &["the pit: id hole, was pit"],
    );
    says(
        &["out-of-service", at, "station.a.kit.lift", "arm bent"],
        0,
        &["out of service \"arm bent\"", "warning[kit-out-of-service]"],
    );
    says(
        &["in-service", at, "station.a.kit.lift"],
        0,
        &["out of service left out, was \"arm bent\""],
    );
    says(
        &[
            "remove",
            at,
            "position.roof.method.ladder.step.1",
            "position.roof.method.ladder.step.2.fallback.1",
            "place.hole",
        ],
        0,
        &[
            "step 1 \"bring the ladder to the edge\": removed",
            "\"call through the loudhailer\": removed",
            "the pit: removed",
        ],
    );
    says(
        &["set", at, "link.walk.rise", "0 m", "--format", "json"],
        0,
        &["\"written\":true", "\"was\":\"-6 m\""],
    );

    let before = text();
    says(
        &["remove", at, "place.roof"],
        1,
        &[
            "site.toml is not changed",
            "still named in",
            "link.walk.to (line ",
        ],
    );
    says(&["set", at, "site.name", " "], 1, &["would bring an error"]);
    says(
        &["set", at, "site.nmae", "x", "--format", "json"],
        1,
        &["\"refused\":"],
    );
    assert!(text() == before);
    says(&["set", other, "site.name", "x"], 2, &["cannot be read"]);
    std::fs::write(other, "a = [").expect("written");
    says(
        &["set", other, "site.name", "x"],
        2,
        &["is not changed", "not TOML"],
    );
    std::fs::write(other, b"\xFF").expect("written");
    says(&["set", other, "site.name", "x"], 2, &["not UTF-8"]);
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o440)).expect("set");
    says(
        &["set", at, "site.name", "Other"],
        2,
        &["cannot be written: it is write-protected"],
    );
    assert!(text() == before);
    assert_eq!(
        names_in(folder.path()),
        ["link.toml", "other.toml", "site.toml"]
    );
    says(&["set", at], 2, &["Usage"]);
}

#[test]
fn the_diff_command_says_same_different_or_unreadable() {
    let folder = tempfile::tempdir().expect("a folder");
    let [old, new, odd] = ["old.toml", "new.toml", "odd.toml"].map(|name| folder.path().join(name));
    std::fs::write(&old, AWKWARD).expect("written");
    std::fs::write(
        &new,
        done(
            AWKWARD,
            &[set("position.roof.method.ladder.step.2.time.2", "\"12 s\"")],
        )
        .text,
    )
    .expect("written");
    std::fs::write(&odd, "a = ").expect("written");
    let [old, new, odd] = [&old, &new, &odd].map(|it| it.to_str().expect("a plain path"));
    says(&["diff", old, old], 0, &["Both plans mean the same."]);
    says(
        &["diff", old, new],
        1,
        &[
            "Positions\n  Roof edge: ladder: step 2 \"ask for a hand on the ladder\": likely time 12 s, was 10 s\n",
        ],
    );
    says(
        &["diff", old, new, "--format", "json"],
        1,
        &[
            "\"same\":false",
            "\"at\":\"position.roof.method.ladder.step.2.time.2\"",
        ],
    );
    says(
        &["diff", old, odd],
        2,
        &["the second plan cannot be read: line 1"],
    );
    says(&["diff", odd, old], 2, &["the first plan"]);
    says(
        &["diff", old, "nowhere.toml"],
        2,
        &["nowhere.toml cannot be read"],
    );
}
