//! Draws what drills taught of one subject inside an HTML file: its times over the days, and the share that takes longer.
//!
//! Where everything lies comes from `drill`, which the tablet draws too. Marks differ by shape before they differ by colour,
//! each picture has its key below it, and everything that is seen stands in its description in words. Sizes are in units of
//! the picture, which a browser scales to the width it has.

use super::compose::Voice;
use super::html::{add, escaped};
use super::plots::percent;
use crate::drill::{Curve, Dots, Learned, Room, Spot, curve_of, dots};
use crate::units::Millis;
use crate::words::{Id, clock, date_and_time};

const WIDTH: i64 = 420;
/// Where the room of both pictures begins, and how large it is.
const LEFT: i64 = 58;
const TOP: i64 = 22;
const ROOM: Room = Room {
    wide: 340,
    high: 180,
};
/// Of single drills there is less to see.
const FEW_HIGH: i64 = 90;
/// What stands below the room: the days, or the times with their unit.
const BELOW_DAYS: i64 = 30;
const BELOW_TIMES: i64 = 48;
/// Size of a dot.
const RADIUS: i64 = 4;
/// Times that a description lists at most; the newest are listed.
const LISTED_MAX: usize = 40;
/// Shares that are marked on the upright scale, in thousandths from the top, with their words.
const SHARES: [(i64, i64); 5] = [(0, 100), (250, 75), (500, 50), (750, 25), (1_000, 0)];

/// The pictures of one subject.
pub(super) struct Plots<'a> {
    pub(super) voice: Voice,
    /// Tells the pictures of one file apart.
    pub(super) number: usize,
    /// What was timed, as spoken.
    pub(super) name: &'a str,
    pub(super) learned: &'a Learned,
    /// Offset of the place's time from UTC, in minutes.
    pub(super) offset_min: i32,
}

impl Plots<'_> {
    fn say<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        self.voice.say(id, args)
    }

    /// Both pictures with their keys; the second only where there are enough drills.
    pub(super) fn write(&self, out: &mut String) {
        out.push_str("<div class=\"pair\">\n");
        self.dots(out, &dots(self.learned));
        if let Some(curve) = curve_of(self.learned) {
            self.curve(out, &curve);
        }
        out.push_str("</div>\n");
    }

    /// The day of a wall clock time.
    fn day(&self, wall_ms: i64) -> String {
        let all = date_and_time(wall_ms, self.offset_min);
        let day = all.split(' ').next();
        day.unwrap_or_default().to_owned()
    }

    /// A time, said so that one broken off is not taken for one that ended.
    fn time(&self, time: Millis, ended: bool) -> String {
        match ended {
            true => clock(time),
            false => self.say(Id::LearnReportAtLeast, [&clock(time)]),
        }
    }

    /// Opens a picture with its name and its description.
    fn open(&self, out: &mut String, kind: char, high: i64, said: [Id; 2], words: &str) {
        let [caption, title] = said;
        let id = format!("{kind}{}", self.number);
        let caption = escaped(&self.say(caption, []));
        let title = escaped(&self.say(title, [self.name]));
        add(
            out,
            format_args!(
                "<figure>\n<figcaption>{caption}</figcaption>\n\
                 <svg role=\"img\" aria-labelledby=\"{id}t\" aria-describedby=\"{id}w\" viewBox=\"0 0 {WIDTH} {high}\">\n\
                 <title id=\"{id}t\">{title}</title>\n<desc id=\"{id}w\">{}</desc>\n",
                escaped(words)
            ),
        );
    }

    /// Opens the group in whose coordinates the room begins at nothing.
    fn room(out: &mut String) {
        add(
            out,
            format_args!("<g transform=\"translate({LEFT} {TOP})\">\n"),
        );
    }

    fn dots(&self, out: &mut String, dots: &Dots) {
        let words = self.times_in_words();
        let room = match self.learned.summary {
            Some(_) => ROOM,
            None => Room {
                high: FEW_HIGH,
                ..ROOM
            },
        };
        let said = [Id::LearnReportDots, Id::LearnReportDotsOf];
        let high = TOP + room.high + BELOW_DAYS;
        self.open(out, 'd', high, said, &words);
        let unit = self.say(Id::LearnReportMinutes, []);
        label(out, "h", LEFT, 13, &unit);
        for tick in &dots.scale.ticks {
            let y = room.at(Spot {
                x: 0,
                y: 1_000 - tick.at,
            });
            label(out, "e", LEFT - 7, TOP + y.y + 5, &clock(tick.time));
        }
        Self::room(out);
        path(out, "grid", &dots.scale.levels_path(room));
        path(out, "quartiles", &dots.band_path(room));
        path(out, "fan", &dots.fan_path(room));
        path(out, "median", &dots.median_path(room));
        path(out, "trend", &dots.trend_path(room));
        path(out, "ended", &dots.ended_path(room, RADIUS));
        path(out, "broken-off", &dots.broken_off_path(room, RADIUS));
        out.push_str("</g>\n");
        let below = TOP + room.high + 20;
        if let Some((first, last)) = dots.days {
            let (first, last) = (self.day(first), self.day(last));
            if first == last {
                label(out, "m", LEFT + room.wide / 2, below, &first);
            } else {
                label(out, "", LEFT, below, &first);
                label(out, "e", LEFT + room.wide, below, &last);
            }
        }
        out.push_str("</svg>\n");
        let has = |part: bool, id: Id, class: &'static str| part.then_some((class, id));
        let ended = dots.dots.iter().any(|it| it.ended);
        let broken = dots.dots.iter().any(|it| !it.ended);
        let key = [
            has(ended, Id::LearnReportKeyEnded, "ended"),
            has(broken, Id::LearnReportKeyBroken, "broken-off"),
            has(dots.band.is_some(), Id::LearnReportKeyBand, "quartiles"),
            has(dots.median.is_some(), Id::LearnReportKeyMedian, "median"),
            has(dots.trend.is_some(), Id::LearnReportKeyTrend, "trend"),
        ];
        self.key(out, key.into_iter().flatten());
        out.push_str("</figure>\n");
    }

    /// Every time with its day, the newest ones where there are too many to listen to.
    fn times_in_words(&self) -> String {
        let times = &self.learned.times;
        let older = times.len().saturating_sub(LISTED_MAX);
        let listed = times[older..].iter().map(|it| {
            let time = self.time(it.span.time, it.span.ended);
            self.say(Id::LearnReportOne, [&self.day(it.started_ms), &time])
        });
        let mut words: Vec<String> = listed.collect();
        if older > 0 {
            words.push(self.say(Id::LearnReportOlder, [&older.to_string()]));
        }
        words.join(" ")
    }

    fn curve(&self, out: &mut String, curve: &Curve) {
        let words = self.steps_in_words();
        let said = [Id::LearnReportCurve, Id::LearnReportCurveOf];
        let high = TOP + ROOM.high + BELOW_TIMES;
        self.open(out, 'c', high, said, &words);
        for (from_top, share) in SHARES {
            let y = ROOM.at(Spot { x: 0, y: from_top });
            let share = format!("{share}\u{a0}%");
            label(out, "e", LEFT - 7, TOP + y.y + 5, &share);
        }
        let below = TOP + ROOM.high + 20;
        for tick in &curve.scale.ticks {
            let x = ROOM.at(Spot { x: tick.at, y: 0 });
            label(out, "m", LEFT + x.x, below, &clock(tick.time));
        }
        let unit = self.say(Id::LearnReportMinutes, []);
        label(out, "m h", LEFT + ROOM.wide / 2, below + 19, &unit);
        Self::room(out);
        path(out, "grid", &curve.scale.uprights_path(ROOM));
        path(out, "limits", &curve.limits_path(ROOM));
        path(out, "curve", &curve.steps_path(ROOM));
        path(out, "broken-off", &curve.broken_off_path(ROOM, RADIUS + 1));
        out.push_str("</g>\n</svg>\n");
        let has = |part: bool, id: Id, class: &'static str| part.then_some((class, id));
        let key = [
            has(!curve.limits.is_empty(), Id::LearnReportKeyLimits, "limits"),
            has(
                !curve.broken_off.is_empty(),
                Id::LearnReportKeyBroken,
                "cut",
            ),
        ];
        self.key(out, key.into_iter().flatten());
        out.push_str("</figure>\n");
    }

    /// The steps of the curve.
    fn steps_in_words(&self) -> String {
        let summary = self.learned.summary.as_ref();
        let steps = summary.map_or(&[][..], |it| &it.curve);
        let skipped = steps.len().div_ceil(LISTED_MAX).max(1);
        let listed = steps.iter().step_by(skipped);
        let words =
            listed.map(|it| self.say(Id::LearnReportStep, [&clock(it.time), &percent(it.left)]));
        words.collect::<Vec<_>>().join(" ")
    }

    /// What the marks mean, each beside its sign.
    fn key(&self, out: &mut String, signs: impl Iterator<Item = (&'static str, Id)>) {
        out.push_str("<ul class=\"key\">\n");
        for (class, id) in signs {
            let words = escaped(&self.say(id, []));
            add(
                out,
                format_args!(
                    "<li><svg aria-hidden=\"true\" viewBox=\"0 0 30 18\">{}</svg>{words}</li>\n",
                    sign(class)
                ),
            );
        }
        out.push_str("</ul>\n");
    }
}

/// A mark as the key shows it.
fn sign(class: &str) -> String {
    let one = |class: &str, path: &str| format!("<path class=\"{class}\" d=\"{path}\"/>");
    match class {
        "ended" => one(class, "M 10 9 a 5 5 0 1 0 10 0 a 5 5 0 1 0 -10 0 Z"),
        "broken-off" => one(class, "M 10 14 L 20 14 M 15 14 L 15 4 M 10 9 L 15 4 L 20 9"),
        "cut" => one("broken-off", "M 15 3 L 15 15") + &one("curve", "M 1 9 L 29 9"),
        "quartiles" | "limits" => one(class, "M 1 2 L 29 2 L 29 16 L 1 16 Z"),
        "trend" => one("fan", "M 1 3 L 1 15 L 29 3 L 29 15 Z") + &one(class, "M 1 12 L 29 6"),
        class => one(class, "M 1 9 L 29 9"),
    }
}

fn path(out: &mut String, class: &str, path: &str) {
    if !path.is_empty() {
        add(
            out,
            format_args!("<path class=\"{class}\" d=\"{path}\"/>\n"),
        );
    }
}

/// A text that starts, ends or has its middle there, by its class.
fn label(out: &mut String, class: &str, x: i64, y: i64, text: &str) {
    let class = match class {
        "" => String::new(),
        class => format!(" class=\"{class}\""),
    };
    let text = escaped(text);
    add(
        out,
        format_args!("<text{class} x=\"{x}\" y=\"{y}\">{text}</text>\n"),
    );
}
