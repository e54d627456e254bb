//! Fills the sheets of what reviewers say and find after an incident: the list, one of them, about which lines it is, who says it.
//!
//! What is being written is carried from sheet to sheet in what they are about, so that nothing of it is kept anywhere until
//! it is sent. A remark is never edited: what corrects it is a remark of its own.

use super::entry::{Entry, Next};
use super::sight::Sight;
use super::tasks;
use super::ui::{Icon, SheetKind, Tone};
use super::writing;
use crate::incident::{ABOUT_MAX, Finding, Name, Nature, OwnWords, Remark};
use crate::review::{Remarked, nature};
use crate::signal::{Afterwards, LogRow, Tap};
use crate::words::{Id, date_and_time};
use serde::{Deserialize, Serialize};
use slint::SharedString;

const NATURES: [(Nature, Icon); 4] = [
    (Nature::WorkedWell, Icon::Check),
    (Nature::ToBeBetter, Icon::Change),
    (Nature::Danger, Icon::Danger),
    (Nature::Unknown, Icon::Look),
];

/// A remark, a finding or a task as far as it is written.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Draft {
    /// True for something that is to be done.
    pub(super) task: bool,
    /// The finding that it comes from.
    pub(super) from: Option<u64>,
    /// What a finding is; a remark is nothing.
    pub(super) nature: Option<Nature>,
    /// The words.
    pub(super) text: String,
    /// The records that it is about.
    pub(super) about: Vec<u64>,
    /// The remark or finding that it answers.
    pub(super) answers: Option<u64>,
}

impl Draft {
    /// The one that a sheet is about.
    pub(super) fn of(about: &[String]) -> Draft {
        let kept = about.get(1);
        let draft = kept.and_then(|it| serde_json::from_str(it).ok());
        draft.unwrap_or_default()
    }

    /// What a sheet is told of it.
    pub(super) fn kept(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// The touch that says it.
    pub(super) fn said(self, incident: &str, by: Option<Name>) -> Option<Tap> {
        let remark = Remark {
            text: OwnWords::new(&self.text).ok()?,
            about: self.about,
            answers: self.answers,
            by,
        };
        let incident = incident.to_owned();
        let what = match self.nature {
            Some(nature) => Afterwards::Found(Finding { nature, remark }),
            None => Afterwards::Reviewed(remark),
        };
        Some(Tap::Afterwards { incident, what })
    }
}

fn incident(about: &[String]) -> &str {
    about.first().map_or("", String::as_str)
}

fn all<'a>(sight: Sight<'a>, incident: &str) -> &'a [Remarked] {
    let read = &sight.snapshot.log_read;
    match read.incident == incident {
        true => &read.remarks,
        false => &[],
    }
}

fn one<'a>(sight: Sight<'a>, about: &[String]) -> Option<&'a Remarked> {
    let number = about.get(1)?.parse::<u64>().ok()?;
    let mut all = all(sight, incident(about)).iter();
    all.find(|it| it.number == number)
}

/// How many there are.
pub(super) fn count(sight: Sight<'_>, incident: &str) -> SharedString {
    let all = all(sight, incident);
    let findings = all.iter().filter(|it| it.nature.is_some()).count();
    let said = (all.len() - findings).to_string();
    match all.is_empty() {
        true => sight.label(Id::RemarksNone),
        false => sight.with(Id::RemarksCount, [&said, &findings.to_string()]),
    }
}

/// All of an incident, the newest first, after the touches that add one.
pub(super) fn list(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let incident = incident(about);
    let may = tasks::may_add(sight, incident);
    let words = writing::page(incident, Draft::default().kept(), writing::WORDS);
    let none = SharedString::default;
    let remark = Entry::new(words, sight.label(Id::RemarkAdd), none());
    let nature = Next::About(SheetKind::FindingNature, vec![incident.to_owned()]);
    let finding = Entry::new(nature, sight.label(Id::FindingAdd), none());
    let add = [remark.icon(Icon::Note), finding.icon(Icon::Look)];
    let add = add.into_iter().map(|it| it.enabled(may));
    let said = all(sight, incident).iter().rev();
    let said = said.map(|it| {
        let about = vec![incident.to_owned(), it.number.to_string()];
        let next = Next::About(SheetKind::Remark, about);
        let when = date_and_time(it.said_ms, it.offset_min);
        let day = when.split(' ').next().unwrap_or_default();
        let sub = sight.with(Id::RemarkSaid, [&*name(sight, it), day]);
        let entry = Entry::new(next, found(sight, it, &it.text), sub);
        match it.nature {
            Some(Nature::Danger) => entry.tone(Tone::Caution),
            _ => entry,
        }
    });
    add.chain(said).collect()
}

/// A text after what a finding is; of a remark the text alone.
fn found(sight: Sight<'_>, it: &Remarked, text: &str) -> SharedString {
    match it.nature {
        None => text.into(),
        Some(is) => sight.with(Id::FindingSaid, [&*sight.label(nature(is)), text]),
    }
}

/// Who said it and when, and of a finding what it is.
fn said_by(sight: Sight<'_>, it: &Remarked) -> SharedString {
    let when = date_and_time(it.said_ms, it.offset_min);
    let said = sight.with(Id::RemarkSaid, [&*name(sight, it), &when]);
    found(sight, it, &said)
}

fn name(sight: Sight<'_>, it: &Remarked) -> String {
    let plan = &sight.snapshot.plan.plan;
    let of_plan = || plan.responder(&it.who).map(|it| it.name.clone());
    let name = it.by.clone().or_else(of_plan);
    name.unwrap_or_else(|| it.who.clone())
}

/// What one of them says, whom it answers, what answered it, and the lines that it is about.
pub(super) fn lines(sight: Sight<'_>, about: &[String]) -> Vec<SharedString> {
    let Some(it) = one(sight, about) else {
        return Vec::new();
    };
    let all = all(sight, incident(about));
    let other = |number: &u64| all.iter().find(|it| it.number == *number);
    let answers = it.answers.iter().filter_map(other);
    let answers = answers.map(|it| sight.with(Id::RemarkAnswers, [&it.text]));
    let answered = it.answered.iter().filter_map(other);
    let answered = answered.map(|it| sight.with(Id::RemarkAnswered, [&*name(sight, it), &it.text]));
    let rows = sight.snapshot.log_read.rows.iter();
    let rows = rows.filter(|row| row.seq.is_some_and(|seq| it.about.contains(&seq)));
    let rows = rows.map(|row| {
        let line = format!("{} {}", row.elapsed, row.text);
        sight.with(Id::RemarkOn, [line.trim_start()])
    });
    let text = SharedString::from(it.text.as_str());
    [text]
        .into_iter()
        .chain(answers)
        .chain(answered)
        .chain(rows)
        .collect()
}

/// What one of them is, under its head.
pub(super) fn hint(sight: Sight<'_>, kind: SheetKind, about: &[String]) -> SharedString {
    match kind {
        SheetKind::Remarks => count(sight, incident(about)),
        SheetKind::Remark => {
            one(sight, about).map_or_else(SharedString::default, |it| said_by(sight, it))
        }
        SheetKind::FindingNature => SharedString::default(),
        _ => Draft::of(about).text.into(),
    }
}

/// What can be said to one of them.
pub(super) fn touches(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let Some(it) = one(sight, about) else {
        return Vec::new();
    };
    let incident = incident(about);
    let may = tasks::may_add(sight, incident);
    let answer = Draft {
        answers: Some(it.number),
        ..Draft::default()
    };
    let task = Draft {
        task: true,
        from: Some(it.number),
        ..Draft::default()
    };
    let none = SharedString::default;
    let page = |draft: &Draft| writing::page(incident, draft.kept(), writing::WORDS);
    let answer = Entry::new(page(&answer), sight.label(Id::RemarkAnswer), none());
    let task = Entry::new(page(&task), sight.label(Id::RemarkTask), none());
    let task = it.nature.is_some().then(|| task.icon(Icon::Clock));
    let touches = [Some(answer.icon(Icon::Note)), task].into_iter().flatten();
    touches.map(|it| it.enabled(may)).collect()
}

/// What a finding is.
pub(super) fn natures(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let of = |(is, icon): (Nature, Icon)| {
        let draft = Draft {
            nature: Some(is),
            ..Draft::default()
        };
        let page = writing::page(incident(about), draft.kept(), writing::WORDS);
        let label = super::sight::capital(&sight.label(nature(is)));
        Entry::new(page, label, SharedString::default()).icon(icon)
    };
    NATURES.into_iter().map(of).collect()
}

/// Who says it: anybody of the plan, or another name; and before that, about which lines.
pub(super) fn who(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let draft = Draft::of(about);
    let incident = incident(about);
    let chosen = match draft.about.len() {
        0 => sight.label(Id::RemarkAboutAll),
        count => sight.with(Id::RemarkAboutSome, [&count.to_string()]),
    };
    let lines = Next::About(SheetKind::RemarkAbout, about.to_vec());
    let lines = Entry::new(lines, chosen, SharedString::default()).icon(Icon::Log);
    let other = writing::page(incident, draft.kept(), writing::BY);
    let other = Entry::new(other, sight.label(Id::NameOther), SharedString::default());
    let people = sight.snapshot.plan.plan.responders.iter();
    let people = people.filter_map(|it| {
        let said = draft.clone().said(incident, Name::new(&it.name).ok())?;
        let name = it.name.as_str().into();
        Some(Entry::new(Next::Send(said), name, SharedString::default()))
    });
    [lines, other.icon(Icon::Note)]
        .into_iter()
        .chain(people)
        .collect()
}

/// The lines of the record, each of which it is about or not.
pub(super) fn about_lines(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let draft = Draft::of(about);
    let of = |draft: &Draft| vec![incident(about).to_owned(), draft.kept()];
    let done = Next::About(SheetKind::RemarkWho, of(&draft));
    let done = Entry::new(
        done,
        sight.label(Id::RemarkAboutDone),
        SharedString::default(),
    );
    let row = |row: &LogRow| {
        let seq = row.seq?;
        let mut other = draft.clone();
        let chosen = draft.about.contains(&seq);
        match chosen {
            true => other.about.retain(|it| *it != seq),
            false => other.about.push(seq),
        }
        other.about.sort_unstable();
        let next = Next::About(SheetKind::RemarkAbout, of(&other));
        let entry = Entry::new(next, row.text.as_str().into(), row.elapsed.as_str().into());
        let room = chosen || draft.about.len() < ABOUT_MAX;
        Some(entry.chosen(chosen).enabled(room))
    };
    let read = &sight.snapshot.log_read;
    let rows = read
        .rows
        .iter()
        .filter(|_| read.incident == incident(about));
    [done.icon(Icon::Check)]
        .into_iter()
        .chain(rows.filter_map(row))
        .collect()
}
