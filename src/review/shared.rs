//! Tells an incident without names and without anybody's health, for those who are to learn from it and know nobody.
//!
//! What is shown goes by the same allow-list as in the bundles that are passed on (`disclosed`). A person has a pseudonym, in
//! texts too; what tells of somebody's health is left out, so numbers are missing between the records. The plan is written
//! anew without its comments, its roster without what is known of each person.
//!
//! Limits: it is made to be read, not to be proved; a shared bundle proves itself. Texts that the plan's author wrote stay,
//! but for the names of the roster.

use super::disclosed::{Class, class, is_told, leaves};
use super::people::People;
use crate::incident::{Event, Owner, PlanStanding, Record, Task};
use crate::plan::nameless;
use crate::words::{Id, Phrase};
use serde_json::Value;

/// The same incident with pseudonyms and without health.
pub fn shared(records: &[Record]) -> Vec<Record> {
    let read = |it: &Record| serde_json::from_str(&it.to_json()).unwrap_or(Value::Null);
    let values: Vec<Value> = records.iter().map(read).collect();
    let people = People::of(&values);
    let told = values.into_iter().filter(is_told);
    told.filter_map(|it| nameless_record(it, &people)).collect()
}

fn nameless_record(mut record: Value, people: &People) -> Option<Record> {
    let kind = record["kind"].as_str().unwrap_or_default().to_owned();
    let all = leaves(&record).into_iter();
    let texts = all.filter_map(|(pointer, value)| Some((pointer, value.as_str()?.to_owned())));
    let texts: Vec<(String, String)> = texts.collect();
    for (pointer, text) in texts.into_iter().filter(|it| it.0 != "/body/plan") {
        let without = match class(&kind, &pointer) {
            Class::Shown => continue,
            Class::Person => people.pseudonym(&text).map_or(text, str::to_owned),
            Class::Withheld => people.nameless(&text),
        };
        if let Some(there) = record.pointer_mut(&pointer) {
            *there = Value::from(without);
        }
    }
    let mut record = Record::from_json(&record.to_string()).ok()?;
    match &mut record.event {
        Event::Opened(opening) => {
            let plan = nameless(
                &opening.plan,
                |id| people.pseudonym(id).unwrap_or(id).to_owned(),
                |text| people.nameless(text),
            );
            // A plan that cannot be told without names is not told.
            if plan.is_none() {
                opening.plan_standing = PlanStanding::None;
            }
            opening.plan = plan.unwrap_or_default();
        }
        Event::TaskSet(task) => without_own_words(task),
        Event::TaskDone { by, .. } | Event::TaskOpen { by, .. } => *by = None,
        // A kind whose body this version does not know may hold anything.
        Event::Unknown { .. } => return None,
        _ => {}
    }
    Some(record)
}

/// Leaves out what somebody wrote by hand, which may name anybody.
fn without_own_words(task: &mut Task) {
    task.by = None;
    if matches!(task.text, Phrase::Written(_)) {
        task.text = Phrase::of(Id::SharedLeftOut);
    }
    if matches!(task.owner, Owner::Named(_)) {
        task.owner = Owner::Role("-".to_owned());
    }
}
