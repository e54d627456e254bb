//! Fills the drop line: everything of a rescue that has its time since the fall, as fractions of the line.
//!
//! The line ends after the target and after what is planned now, and grows in steps, so that it is drawn anew seldom.

use super::sight::{Sight, capital};
use super::ui::{Band, BandKind, LineMark, Tick};
use super::view::View;
use crate::incident::target_mark;
use crate::plan::Method;
use crate::readiness::NEVER;
use crate::units::Millis;
use crate::words::{Id, clock, wall_time};
use slint::SharedString;

/// The line is at least this long, in minutes.
const MINUTES_MIN: i64 = 11;
/// It grows by this many minutes at a time.
const GROWS_BY: i64 = 3;
/// At most this many marks carry a number.
const TICKS_MAX: i64 = 12;

/// How long the line is, and what it is measured from.
struct Scale {
    fell: Millis,
    minutes: i64,
}

impl Scale {
    /// The fraction of the line at a moment of the incident's time line.
    fn at(&self, at: Millis) -> f32 {
        self.after(Millis(at.0.saturating_sub(self.fell.0)))
    }

    /// The fraction of the line at a time since the fall. Whole seconds, so that nothing moves by less than is seen.
    fn after(&self, since_fall: Millis) -> f32 {
        let seconds = since_fall.0.max(0) / 1_000;
        (seconds as f32 / (self.minutes * 60) as f32).min(1.0)
    }
}

pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    let (facts, at) = (sight.facts(), sight.at());
    let casualty = facts.casualty();
    let target = facts.policy().target;
    let fell = casualty.fell;
    let minute = 60_000;
    let change_by = facts
        .running()
        .filter(|it| it.change_by < NEVER)
        .map_or(0, |r| r.change_by.0.saturating_sub(fell.0));
    let reach = (target.0 + minute)
        .max(facts.since_fall(at).0 + minute)
        .max(change_by + minute);
    let needed = reach.saturating_add(minute - 1) / minute;
    let steps = (needed - MINUTES_MIN).max(0).saturating_add(GROWS_BY - 1) / GROWS_BY;
    let scale = Scale {
        fell,
        minutes: MINUTES_MIN + steps * GROWS_BY,
    };

    view.ticks = ticks(&scale, target);
    view.now_at = scale.after(facts.since_fall(at));
    view.target = LineMark {
        at: scale.after(target),
        label: sight.say(&target_mark(facts)),
    };
    view.off = match casualty.off {
        Some((off, _)) => {
            let hung = clock(Millis(off.0.saturating_sub(fell.0)));
            LineMark {
                at: scale.at(off),
                label: sight.with(Id::OffMark, [&hung]),
            }
        }
        None => LineMark::default(),
    };
    view.bands = bands(sight, &scale);
    view.footers = footers(sight);
}

fn ticks(scale: &Scale, target: Millis) -> Vec<Tick> {
    let every = [1, 2, 5, 10, 15, 30, 60]
        .into_iter()
        .find(|e| scale.minutes / e < TICKS_MAX)
        .unwrap_or(120);
    (0..=scale.minutes / every)
        .map(|i| i * every)
        .map(|minute| Tick {
            at: scale.after(Millis(minute * 60_000)),
            label: minute.to_string().into(),
            strong: minute * 60_000 == target.0,
        })
        .collect()
}

fn band(kind: BandKind, scale: &Scale, from: Millis, to: Millis, method: Option<&Method>) -> Band {
    Band {
        kind,
        top: scale.at(from),
        bottom: scale.at(to),
        open: scale.at(to),
        left: 0.0,
        width: 1.0,
        label: method.map(|m| capital(&m.name)).unwrap_or_default(),
        note: SharedString::default(),
        foot: SharedString::default(),
        has_change: false,
        change: 0.0,
    }
}

fn bands(sight: Sight<'_>, scale: &Scale) -> Vec<Band> {
    let (facts, at) = (sight.facts(), sight.at());
    let since_fall = |t: Millis| clock(Millis(t.0.saturating_sub(scale.fell.0)));
    let off = facts.casualty().off.map(|(off, _)| off);
    let case = facts.case();
    let mut bands: Vec<Band> = case
        .casualty
        .windows
        .iter()
        .map(|w| Band {
            note: sight.with(Id::ChangedAt, [&since_fall(w.to)]),
            ..band(BandKind::Past, scale, w.from, w.to, facts.method(&w.method))
        })
        .collect();
    let Some(running) = facts.running() else {
        return bands;
    };
    let method = facts.method(&running.method);
    let changes = off.is_none()
        && !facts.committed()
        && running.change_by < NEVER
        && case.next_method().is_some();
    let end = match off {
        Some(off) => off,
        None if changes => running.change_by.max(at),
        // Once committed there is no moment to change by; the band goes as far as it is expected to take.
        None => {
            let likely = facts
                .forecast_of(&running.method)
                .map_or(0, |f| f.likely_ms);
            Millis(running.started.0.saturating_add(likely)).max(at)
        }
    };
    let mut now = band(BandKind::Running, scale, running.started, end, method);
    if changes {
        now.foot = sight.with(Id::ChangeBy, [&since_fall(running.change_by)]);
        now.has_change = true;
        now.change = scale.at(running.change_by);
    }
    bands.push(now);
    if !changes {
        return bands;
    }
    // What would come after: the next method, and the one after that, each as long as it would be tried from there.
    let mut from = end;
    for (index, method) in case.left_in_order().take(2).enumerate() {
        let since_fall = Millis(from.0.saturating_sub(scale.fell.0));
        let to = match facts.forecast_of(&method.id) {
            None => from.saturating_add(method.planned_change()),
            Some(forecast) => {
                let by = forecast.change_by(since_fall).saturating_add(scale.fell);
                // One that is not to be left goes as far as it likely takes.
                let likely = from.saturating_add(Millis(forecast.likely_ms));
                if by < NEVER { by.max(from) } else { likely }
            }
        };
        if scale.at(from) >= 1.0 {
            break;
        }
        let (kind, note) = if index == 0 {
            (BandKind::Ready, Id::Ready)
        } else {
            (BandKind::Coming, Id::Coming)
        };
        bands.push(Band {
            note: sight.label(note),
            ..band(kind, scale, from, to, Some(method))
        });
        from = to;
    }
    bands
}

fn footers(sight: Sight<'_>) -> Vec<SharedString> {
    let facts = sight.facts();
    let casualty = facts.casualty();
    let mut footers = Vec::new();
    let case = facts.case();
    if casualty.off.is_none() {
        // Impossible ones stay visible, one line each, with the reason.
        let out = facts.methods().iter().filter_map(|method| {
            let verdict = case.verdict(method);
            let why = verdict.reason().filter(|_| verdict.is_out())?;
            Some(format!("{}: {}", capital(&method.name), sight.say(why)).into())
        });
        footers.extend(out);
        footers.extend(
            case.why_not_in_order()
                .filter(|why| why.id == Id::HandsFirst)
                .map(|why| sight.say(&why)),
        );
    }
    if casualty.off.is_none()
        && facts.running().is_some()
        && case.target_is_lost()
        && let Some(fastest) = case.left_in_order().next()
    {
        footers.push(sight.with(Id::FastestIs, [&fastest.name]));
    }
    let offset = facts.opened.as_ref().map_or(0, |o| o.started.offset_min);
    let time = wall_time(sight.wall_ms(casualty.fell), offset);
    let fell = sight.with(
        if facts.at_least() {
            Id::FellAtLeast
        } else {
            Id::Fell
        },
        [&time],
    );
    footers.push(if casualty.fell_corrected {
        format!("{fell} · {}", sight.label(Id::ClockCorrected)).into()
    } else {
        fell
    });
    footers
}
