//! Fills the page of what drills have shown: for each place, crew and step how long it took, in words and as a picture.
//!
//! Below the number of drills that the plan's policy calls enough nothing is summed up, and the picture shows the single times
//! only. A drill that was broken off stands there as an arrow: it took at least so long.

use super::sight::Sight;
use super::ui::{LearnedRow, Screen, Tone};
use super::view::View;
use crate::drill::{Learned, Room, Trend, dots};
use crate::units::Millis;
use crate::words::{Id, clock, date_and_time};
use slint::SharedString;

/// The room in which the pictures are drawn, as the screen has it.
const ROOM: Room = Room {
    wide: 2_000,
    high: 1_000,
};
/// How large a mark is in it.
const MARK: i64 = 42;

pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    view.screen = Screen::Learned;
    view.page_title = sight.label(Id::LearnedTitle);
    (view.page_sub, view.page_tone) = match sight.snapshot.learned.as_deref() {
        None => (sight.label(Id::LearnedReading), Tone::Quiet),
        Some(all) if all.is_empty() => (sight.label(Id::LearnedNothing), Tone::Plain),
        Some(_) => (sight.label(Id::LearnedNever), Tone::Caution),
    };
    let mut all: Vec<&Learned> = sight
        .snapshot
        .learned
        .iter()
        .flat_map(|it| it.iter())
        .collect();
    // What says most stands first.
    all.sort_by_key(|it| it.summary.is_none());
    view.learned = all.into_iter().map(|it| row(sight, it)).collect();
}

fn row(sight: Sight<'_>, it: &Learned) -> LearnedRow {
    let plan = &sight.snapshot.plan.plan;
    let language = sight.language();
    let picture = dots(it);
    let day = |ms: i64| {
        let day = date_and_time(ms, sight.now.offset_min);
        SharedString::from(day.split(' ').next().unwrap_or_default())
    };
    let (left, right) = match picture.days {
        Some((first, last)) if first != last => (day(first), day(last)),
        Some((first, _)) => (day(first), SharedString::default()),
        None => Default::default(),
    };
    LearnedRow {
        whose: it.whose_told(plan).text(language).into(),
        title: it.subject_told(plan).text(language).into(),
        sub: summed(sight, it),
        note: note(sight, it),
        top: clock(picture.scale.top).into(),
        zero: clock(Millis::ZERO).into(),
        left,
        right,
        levels: picture.scale.levels_path(ROOM).into(),
        band: picture.band_path(ROOM).into(),
        median: picture.median_path(ROOM).into(),
        trend: picture.trend_path(ROOM).into(),
        ended: picture.ended_path(ROOM, MARK).into(),
        broken: picture.broken_off_path(ROOM, MARK).into(),
    }
}

/// The quarters, or that there are not enough drills yet.
fn summed(sight: Sight<'_>, it: &Learned) -> SharedString {
    let drills = it.drills.to_string();
    let Some(summary) = &it.summary else {
        let enough = sight.snapshot.plan.plan.policy.drills_enough.to_string();
        return sight.with(Id::LearnedFew, [&drills, &enough]);
    };
    let time = |time: Option<Millis>| time.map_or_else(|| "-".to_owned(), clock);
    let [median, lower, upper] = [summary.median, summary.lower, summary.upper].map(time);
    sight.with(Id::LearnedHalf, [&drills, &median, &lower, &upper])
}

/// How it changes, with how sure that is, and how many were broken off.
fn note(sight: Sight<'_>, it: &Learned) -> SharedString {
    let broken = it.summary.as_ref().map_or(0, |it| it.broken_off);
    let broken = (broken > 0).then(|| sight.with(Id::LearnedBroken, [&broken.to_string()]));
    let trend = it.trend.as_ref().map(|it| every_month(sight, it));
    let all: Vec<String> = trend
        .into_iter()
        .chain(broken)
        .map(|it| it.to_string())
        .collect();
    all.join(" · ").into()
}

fn every_month(sight: Sight<'_>, trend: &Trend) -> SharedString {
    let change = |by: Millis| {
        let sign = if by.0 < 0 { "-" } else { "+" };
        format!("{sign}{}", clock(Millis(by.0.saturating_abs())))
    };
    let limit = |it: Option<Millis>| it.map_or_else(|| "?".to_owned(), change);
    let is_sure = match (trend.low, trend.high) {
        (Some(low), Some(high)) => low.0 > 0 || high.0 < 0,
        _ => false,
    };
    let id = match is_sure {
        true => Id::LearnedMonth,
        false => Id::LearnedMonthOpen,
    };
    let parts = [change(trend.slope), limit(trend.low), limit(trend.high)];
    sight.with(id, [&parts[0], &parts[1], &parts[2]])
}
