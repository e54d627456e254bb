//! Fills the readiness screen: the site as it stands, worst first, one position looked at closely, and what would help.
//!
//! It orders and words what the engine computed and computes nothing of it. A chance is told in tenths, rounded down, so
//! that none is told too high.

use super::sight::{Sight, capital, tile};
use super::sketch;
use super::ui::{GainRow, Grade as Shown, Icon, Screen, SiteRow, Tone};
use super::view::View;
use crate::incident::PlanStanding;
use crate::plan::{Plan, Position};
use crate::readiness::{Expected, Gain, Grade, Standing};
use crate::units::{Millis, Ratio};
use crate::words::{Id, clock};
use slint::SharedString;
use std::cmp::Reverse;

/// What the screen itself keeps of this page.
#[derive(Clone, Debug, Default)]
pub(super) struct Looking {
    /// The position that is looked at.
    pub(super) position: Option<String>,
    /// The level that somebody chose.
    pub(super) level: Option<String>,
}

/// A position with how it stands and the number it has on this page.
pub(super) struct Numbered<'a> {
    pub(super) number: usize,
    pub(super) position: &'a Position,
    pub(super) standing: &'a Standing,
}

/// All positions, worst first: by grade, then by what a bad day takes, one that has no bad day first.
pub(super) fn worst_first<'a>(sight: Sight<'a>) -> Vec<Numbered<'a>> {
    let snapshot = sight.snapshot;
    if snapshot.plan.standing == PlanStanding::None {
        // The generic plan's position is no place of this site.
        return Vec::new();
    }
    let plan: &'a Plan = &snapshot.plan.plan;
    let standings = snapshot.standings.iter();
    let mut all: Vec<_> = standings
        .filter_map(|it| Some((plan.position(&it.position)?, it)))
        .collect();
    all.sort_by_key(|(_, it)| {
        let bad_day = it.expected.and_then(|it| it.bad_day);
        Reverse((it.grade, bad_day.map_or(i64::MAX, |it| it.0)))
    });
    let numbers = 1..;
    numbers
        .zip(all)
        .map(|(number, (position, standing))| Numbered {
            number,
            position,
            standing,
        })
        .collect()
}

/// The grade as the screens know it.
pub(super) fn grade(grade: Grade) -> Shown {
    match grade {
        Grade::Ready => Shown::Ready,
        Grade::Slow => Shown::Slow,
        Grade::NotReady => Shown::NotReady,
    }
}

pub(super) fn fill(view: &mut View, sight: Sight<'_>, looking: &Looking) {
    view.screen = Screen::Readiness;
    let all = worst_first(sight);
    view.page_title = sight.label(Id::ReadinessTile);
    view.site_rows = all.iter().map(|it| row(sight, it)).collect();
    let one = looking.position.as_ref();
    let one = one.and_then(|id| all.iter().find(|it| it.position.id == *id));
    let undrawn = sketch::fill(view, sight, &all, one, looking.level.as_deref());
    let mut sub = counts(sight, &all);
    if sight.snapshot.standings_old {
        sub = format!("{sub} · {}", sight.label(Id::ReadinessOld));
    } else if undrawn > 0 {
        let undrawn = sight.with(Id::ReadinessOff, [&undrawn.to_string()]);
        sub = format!("{sub} · {undrawn}");
    }
    view.page_sub = sub.into();
    view.page_tone = match all.first().map(|it| it.standing.grade) {
        Some(Grade::NotReady | Grade::Slow) => Tone::Caution,
        Some(Grade::Ready) | None => Tone::Quiet,
    };
    if let Some(one) = one {
        view.site_one = row(sight, one);
        view.site_lines = lines(sight, one);
    }
    if !all.is_empty() {
        view.help = tile(
            sight.label(Id::HelpTile),
            SharedString::default(),
            Tone::Plain,
            Icon::Help,
        );
    }
}

fn counts(sight: Sight<'_>, all: &[Numbered<'_>]) -> String {
    let of = |grade| all.iter().filter(|it| it.standing.grade == grade).count();
    let numbers = [all.len(), of(Grade::NotReady), of(Grade::Slow)].map(|it| it.to_string());
    let [all, not_ready, slow] = &numbers;
    sight
        .with(Id::ReadinessCounts, [all, not_ready, slow])
        .into()
}

/// The tile that leads here.
pub(super) fn way_here(view: &mut View, sight: Sight<'_>) {
    let of = |grade| {
        let all = sight.snapshot.standings.iter();
        all.filter(|it| it.grade == grade).count()
    };
    let (sub, tone) = match (of(Grade::NotReady), of(Grade::Slow)) {
        _ if sight.snapshot.plan.standing == PlanStanding::None => {
            (SharedString::default(), Tone::Quiet)
        }
        (0, 0) => (sight.label(Id::ReadinessAll), Tone::Plain),
        (0, slow) => (
            sight.with(Id::ReadinessSlow, [&slow.to_string()]),
            Tone::Plain,
        ),
        (not_ready, _) => (
            sight.with(Id::ReadinessNot, [&not_ready.to_string()]),
            Tone::Caution,
        ),
    };
    view.readiness = tile(sight.label(Id::ReadinessTile), sub, tone, Icon::Site);
}

fn row(sight: Sight<'_>, it: &Numbered<'_>) -> SiteRow {
    let (sub, line) = reason(sight, it.standing);
    // What the reason says of the times is not said twice.
    let times = match (it.standing.expected, line) {
        (None, _) => SharedString::default(),
        (Some(expected), Some(Id::NotReadyBadDay)) => {
            sight.with(Id::TimesLikely, [&time(sight, expected.likely)])
        }
        (Some(expected), _) => {
            let (likely, bad_day) = (time(sight, expected.likely), time(sight, expected.bad_day));
            sight.with(Id::TimesBoth, [&likely, &bad_day])
        }
    };
    SiteRow {
        id: it.position.id.as_str().into(),
        number: it.number.to_string().into(),
        grade: grade(it.standing.grade),
        title: it.position.name.as_str().into(),
        sub,
        times,
    }
}

/// How it stands, in one line, and which text said so.
fn reason(sight: Sight<'_>, standing: &Standing) -> (SharedString, Option<Id>) {
    let line = standing.why_not.as_ref().or(standing.line.as_ref());
    let id = line.map(|it| it.id);
    let said = line.map(|it| sight.say(it));
    let said = match (standing.grade, said) {
        (Grade::NotReady, Some(said)) => sight.with(Id::NotReady, [&*said]),
        (Grade::NotReady, None) => sight.label(Id::GradeNotReady),
        (Grade::Slow, Some(said)) => format!("{} · {said}", sight.label(Id::RowSlow)).into(),
        (Grade::Slow, None) => sight.label(Id::RowSlow),
        (Grade::Ready, Some(said)) => format!("{} · {said}", sight.label(Id::RowReady)).into(),
        (Grade::Ready, None) => sight.label(Id::RowReady),
    };
    (said, id)
}

fn time(sight: Sight<'_>, time: Option<Millis>) -> String {
    match time {
        Some(time) => clock(time),
        None => sight.label(Id::TimesNever).into(),
    }
}

/// Everything that is known of one position.
fn lines(sight: Sight<'_>, it: &Numbered<'_>) -> Vec<SharedString> {
    let mut lines = vec![reason(sight, it.standing).0];
    // A casualty may stop answering, so a position is judged by the methods that ask nothing of one.
    let mut methods = it.position.methods.iter();
    if let Some(first) = methods.find(|it| it.needs.is_empty()) {
        lines.push(sight.with(Id::OneBegins, [&first.name]));
    }
    match it.standing.expected {
        Some(expected) => lines.extend(times(sight, &expected)),
        None if sight.snapshot.standings_old => lines.push(sight.label(Id::OneOld)),
        None => {}
    }
    lines
}

fn times(sight: Sight<'_>, expected: &Expected) -> Vec<SharedString> {
    let policy = &sight.snapshot.plan.plan.policy;
    let tenths = (expected.chance.0 / 100_000).to_string();
    let mut lines = vec![
        sight.with(Id::OneLikely, [&time(sight, expected.likely)]),
        sight.with(Id::OneBadDay, [&time(sight, expected.bad_day)]),
        sight.with(Id::OneContact, [&time(sight, expected.contact)]),
        sight.with(Id::OneChance, [&tenths, &clock(policy.target)]),
    ];
    if expected.assumed {
        lines.push(sight.label(Id::OneAssumed));
    }
    lines
}

/// What would help most, as far as it is known.
pub(super) fn fill_help(view: &mut View, sight: Sight<'_>) {
    view.screen = Screen::Readiness;
    view.helping = true;
    view.page_title = sight.label(Id::HelpTitle);
    view.page_sub = sight.label(Id::HelpSub);
    view.page_tone = Tone::Quiet;
    let found = sight.snapshot.what_ifs.as_deref();
    let (done, all, runs) = found.map_or((0, 0, false), |it| (it.done, it.all, !it.ended));
    view.progress = match all {
        0 => 0.0,
        all => done as f32 / all as f32,
    };
    view.progress_text = match all {
        0 => sight.label(Id::ReadinessOld),
        all => sight.with(Id::HelpCount, [&done.to_string(), &all.to_string()]),
    };
    let (title, icon) = match runs {
        true => (Id::HelpStop, Icon::Stop),
        false => (Id::HelpAgain, Icon::Help),
    };
    view.help = tile(
        sight.label(title),
        SharedString::default(),
        Tone::Plain,
        icon,
    );
    let gains = found.into_iter().flat_map(|it| &it.gains);
    view.gains = gains.map(|it| gain(sight, it)).collect();
}

fn gain(sight: Sight<'_>, it: &Gain) -> GainRow {
    let measurable = it.is_measurable();
    GainRow {
        title: capital(&sight.say(&it.what)),
        gain: match measurable {
            true => sight.with(Id::HelpGain, [&in_hundred(it.gain), &in_hundred(it.error)]),
            false => sight.label(Id::HelpNoGain),
        },
        sub: sight.with(Id::HelpAt, [&it.at]),
        measurable,
    }
}

/// A share as so many in a hundred, to a tenth.
fn in_hundred(share: Ratio) -> String {
    let tenths = share.0.saturating_add(500) / 1_000;
    format!("{}.{}", tenths / 10, tenths % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_told_in_hundreds_to_a_tenth() {
        for (ppm, said) in [
            (0, "0.0"),
            (124_000, "12.4"),
            (449, "0.0"),
            (500, "0.1"),
            (1_000_000, "100.0"),
        ] {
            assert_eq!(in_hundred(Ratio(ppm)), said);
        }
    }
}
