//! Draws how long a rescue takes and in which order its methods are tried, as pictures inside an HTML file.
//!
//! Both pictures of a place share one axis of time, so that what stands below each other happens at the same moment. Bars
//! and bands differ by pattern before they differ by colour, and a label never lies across the line of another mark where
//! there is room beside it. Everything that a picture shows stands in its description in words too. Sizes are in units of
//! the picture, which a browser scales to the width it has.

use super::compose::Voice;
use super::face::Faces;
use super::html::{add, escaped};
use crate::readiness::Prospect;
use crate::units::{Millis, Ratio};
use crate::words::{Id, clock};

/// How much time a bar stands for; the forecast counts its draws so.
pub(super) const BAR: Millis = Millis::from_seconds(30);

const WIDTH: f32 = 760.0;
/// Where the axis of time begins, and how long it is.
const LEFT: f32 = 58.0;
const TIMES: f32 = 590.0;
/// Where the bar of those that come later or never stands, and how wide it is.
const LATER: f32 = LEFT + TIMES + 14.0;
const LATER_WIDTH: f32 = 54.0;
/// Height of letters.
const SIZE: f32 = 13.0;
/// Height of a row of labels.
const LANE: f32 = 19.0;
/// Heights of the curve and of the bars.
const CURVE: f32 = 118.0;
const BARS: f32 = 84.0;
/// Room between the two, where it is said what the bars are.
const BETWEEN: f32 = 26.0;
/// Height of a method's name and its band.
const ROW: f32 = 50.0;
const BAND: f32 = 16.0;

/// Steps of an axis of time, in minutes; the first that gives few enough marks is taken.
const STEPS_MIN: [i64; 9] = [1, 2, 3, 5, 10, 15, 30, 60, 120];
const MARKS_MAX: i64 = 11;

/// Tops of the axis of the bars, in parts per million.
const TOPS: [i64; 7] = [
    20_000, 50_000, 100_000, 200_000, 300_000, 500_000, 1_000_000,
];

/// What both pictures of one place are drawn from.
pub(super) struct Plot<'a> {
    pub(super) voice: Voice,
    pub(super) faces: &'a Faces,
    /// Tells the pictures of one file apart.
    pub(super) number: usize,
    /// The place, as spoken.
    pub(super) name: &'a str,
    /// The methods, as spoken, in the order in which they are tried.
    pub(super) methods: &'a [String],
    pub(super) prospect: &'a Prospect,
    /// The plan's time from the fall to off the harness.
    pub(super) target: Millis,
}

/// When a method starts and is left if all goes as planned and nothing works or fails before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Planned {
    /// Its start since the fall; none where it starts only if the one before fails.
    pub(super) start: Option<Millis>,
    /// Its change-by time since the fall; none where no change is planned.
    pub(super) change_by: Option<Millis>,
}

/// The planned course of the methods.
pub(super) fn planned(prospect: &Prospect) -> Vec<Planned> {
    let by = &prospect.changes.by;
    let mut start = by.first().and_then(|it| it.first()).map(|it| it.at);
    let mut all = Vec::new();
    for attempt in 0..by.len() {
        let last = attempt + 1 == by.len();
        let change = start.filter(|_| !last);
        let change_by = change.and_then(|start| prospect.changes.change_by(attempt, start));
        all.push(Planned { start, change_by });
        start = change_by;
    }
    all
}

/// A share in whole per cent; nearly none and nearly all are told from none and all.
pub(super) fn percent(share: Ratio) -> String {
    let share = share.0.clamp(0, 1_000_000);
    match (share + 5_000) / 10_000 {
        0 if share > 0 => "<1\u{a0}%".to_owned(),
        100 if share < 1_000_000 => ">99\u{a0}%".to_owned(),
        whole => format!("{whole}\u{a0}%"),
    }
}

/// A part of the draws.
pub(super) fn share(part: u64, of: u64) -> Ratio {
    let (part, of) = (i128::from(part), i128::from(of.max(1)));
    Ratio(i64::try_from((part * 1_000_000 + of / 2) / of).unwrap_or(i64::MAX))
}

/// What stands on the axis of time.
struct Mark {
    class: &'static str,
    x: f32,
    label: String,
}

impl Plot<'_> {
    fn say<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        self.voice.say(id, args)
    }

    pub(super) fn draws(&self) -> u64 {
        self.prospect.bars.iter().copied().map(u64::from).sum()
    }

    /// The bars with a time, and the draws that come later or never.
    fn parted(&self) -> (&[u32], u64) {
        match self.prospect.bars.split_last() {
            Some((later, timed)) => (timed, u64::from(*later)),
            None => (&[], 0),
        }
    }

    /// How long the axis is.
    fn span(&self) -> Millis {
        let (timed, _) = self.parted();
        let bars = i64::try_from(timed.len()).unwrap_or(0).max(1);
        Millis(BAR.0 * bars)
    }

    fn x(&self, time: Millis) -> f32 {
        let part = time.0.clamp(0, self.span().0) as f32 / self.span().0 as f32;
        LEFT + TIMES * part
    }

    /// The share that is off the harness before some bar ends, each with that time.
    pub(super) fn course(&self) -> Vec<(Millis, Ratio)> {
        let draws = self.draws();
        let mut sum = 0;
        let each = self.parted().0.iter().zip(1_i64..);
        each.map(|(bar, number)| {
            sum += u64::from(*bar);
            (Millis(BAR.0 * number), share(sum, draws))
        })
        .collect()
    }

    /// The picture of how long it takes.
    pub(super) fn distribution(&self) -> String {
        let draws = self.draws();
        let lanes = self.lanes(self.marks());
        let rows = lanes.iter().map(|(lane, _)| lane + 1).max().unwrap_or(0);
        let top = LANE * (rows as f32 + 1.0) + 4.0;
        let curve = top + CURVE;
        let bars_top = curve + BETWEEN;
        let base = bars_top + BARS;
        let height = base + 42.0;
        let title = self.say(Id::SiteReportPlot, [self.name, &draws.to_string()]);
        let mut out = self.open('d', height, &title, &self.in_words());
        self.grid(
            &mut out,
            &[(curve, "0"), (curve - CURVE / 2.0, "50"), (top, "100")],
        );
        let most = self.prospect.bars.iter().copied().max().unwrap_or(0);
        let most = share(u64::from(most), draws);
        let scale = TOPS.into_iter().find(|it| *it >= most.0);
        let scale = scale.unwrap_or(1_000_000);
        let highest = (scale / 10_000).to_string();
        self.grid(&mut out, &[(base, "0"), (bars_top, &highest)]);
        self.bars(&mut out, base, scale);
        self.curve(&mut out, curve);
        self.lines(&mut out, &lanes, top, base);
        self.signs(&mut out, curve);
        let half_minute = self.voice.span(BAR);
        // Where the curve has risen and few marks stand.
        let off = self.say(Id::SiteReportAxisOff, []);
        label(&mut out, "e h", LEFT + TIMES - 6.0, curve - 7.0, &off);
        let each = self.say(Id::SiteReportAxisBars, [&half_minute]);
        label(&mut out, "h", LEFT + 5.0, bars_top - 6.0, &each);
        self.axis(&mut out, base);
        let later = self.say(Id::SiteReportLater, []);
        label(
            &mut out,
            "m",
            LATER + LATER_WIDTH / 2.0,
            base + 35.0,
            &later,
        );
        out.push_str("</svg>\n");
        out
    }

    /// Opens a picture with its name and its description.
    fn open(&self, kind: char, height: f32, title: &str, words: &str) -> String {
        let mut out = String::new();
        let id = format!("{kind}{}", self.number);
        add(
            &mut out,
            format_args!(
                "<svg role=\"img\" aria-labelledby=\"{id}t\" aria-describedby=\"{id}w\" viewBox=\"0 0 {WIDTH} {height:.0}\">\n\
                 <title id=\"{id}t\">{}</title>\n<desc id=\"{id}w\">{}</desc>\n",
                escaped(title),
                escaped(words)
            ),
        );
        out
    }

    /// The times that are marked, in the order of the axis.
    fn marks(&self) -> Vec<Mark> {
        let prospect = self.prospect;
        let all = [
            ("contact", Id::SiteReportMarkContact, prospect.contact_p50),
            ("likely", Id::SiteReportMarkLikely, prospect.p50),
            ("target", Id::SiteReportMarkTarget, Some(self.target)),
            ("bad-day", Id::SiteReportMarkBadDay, prospect.p90),
        ];
        let known = all
            .into_iter()
            .filter_map(|(class, id, time)| time.map(|time| (class, id, time)));
        // What lies beyond the axis has no place on it; the figures beside the picture tell it.
        let mut marks: Vec<Mark> = known
            .filter(|(_, _, time)| *time <= self.span())
            .map(|(class, id, time)| Mark {
                class,
                x: self.x(time),
                label: self.say(id, [&clock(time)]),
            })
            .collect();
        marks.sort_by(|one, other| one.x.total_cmp(&other.x));
        marks
    }

    /// Gives every mark the lowest row in which its label crosses no line further right. A label stands right of its line.
    fn lanes(&self, marks: Vec<Mark>) -> Vec<(usize, Mark)> {
        let mut placed: Vec<(usize, Mark)> = Vec::new();
        for mark in marks.into_iter().rev() {
            let end = mark.x + 5.0 + self.faces.width(&mark.label, false) * SIZE + 6.0;
            let in_the_way = placed.iter().filter(|(_, other)| other.x <= end);
            let lane = in_the_way.map(|(lane, _)| lane + 1).max().unwrap_or(0);
            placed.push((lane, mark));
        }
        placed
    }

    fn lines(&self, out: &mut String, lanes: &[(usize, Mark)], top: f32, base: f32) {
        let ends = LEFT + TIMES;
        add(
            out,
            format_args!("<path class=\"ends\" d=\"M{ends:.1} 6V{base:.1}\"/>\n"),
        );
        let never = self.say(Id::SiteReportMarkEnds, [&clock(self.prospect.changes.ends)]);
        label(out, "e", ends - 5.0, 15.0, &never);
        for (lane, mark) in lanes {
            let y = top - 6.0 - LANE * *lane as f32;
            let x = mark.x;
            add(
                out,
                format_args!(
                    "<path class=\"{}\" d=\"M{x:.1} {:.1}V{base:.1}\"/>\n",
                    mark.class,
                    y - SIZE + 1.0
                ),
            );
            label(out, "", x + 5.0, y, &mark.label);
        }
    }

    /// The signs of the marks on the curve and at its foot: another shape each.
    fn signs(&self, out: &mut String, curve: f32) {
        let on_axis = |time: Option<Millis>| time.filter(|it| *it <= self.span());
        if let Some(time) = on_axis(self.prospect.p50) {
            let (x, y) = (self.x(time), curve - CURVE * 0.5);
            add(
                out,
                format_args!("<circle class=\"sign\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\"/>\n"),
            );
        }
        if let Some(time) = on_axis(self.prospect.p90) {
            let (x, y) = (self.x(time) - 5.0, curve - CURVE * 0.9 - 5.0);
            add(
                out,
                format_args!("<path class=\"sign\" d=\"M{x:.1} {y:.1}h10v10h-10z\"/>\n"),
            );
        }
        if let Some(time) = on_axis(self.prospect.contact_p50) {
            let x = self.x(time);
            add(
                out,
                format_args!("<path class=\"sign\" d=\"M{x:.1} {curve:.1}l-6 -10h12z\"/>\n"),
            );
        }
    }

    /// Level lines with their per cent.
    fn grid(&self, out: &mut String, levels: &[(f32, &str)]) {
        for (y, level) in levels {
            add(
                out,
                format_args!(
                    "<path class=\"grid\" d=\"M{LEFT} {y:.1}H{}\"/>\n",
                    LEFT + TIMES
                ),
            );
            label(out, "e", LEFT - 6.0, y + 4.5, &format!("{level}\u{a0}%"));
        }
    }

    /// The bars: plain to the target, striped past it, crossed for later or never.
    fn bars(&self, out: &mut String, base: f32, scale: i64) {
        let draws = self.draws();
        let (timed, later) = self.parted();
        let height =
            |count: u64| BARS * (count as f32 / draws.max(1) as f32) * (1_000_000.0 / scale as f32);
        let width = TIMES / timed.len().max(1) as f32;
        let (mut within, mut past) = (String::new(), String::new());
        for ((bar, number), index) in timed.iter().zip(1_i64..).zip(0_u16..) {
            if *bar == 0 {
                continue;
            }
            let x = LEFT + width * f32::from(index);
            let side = if BAR.0 * number <= self.target.0 {
                &mut within
            } else {
                &mut past
            };
            rectangle(side, x, base, width - 0.8, height(u64::from(*bar)));
        }
        let mut never = String::new();
        if later > 0 {
            rectangle(&mut never, LATER, base, LATER_WIDTH, height(later));
        }
        for (class, path) in [("within", within), ("past", past), ("never", never)] {
            if !path.is_empty() {
                add(
                    out,
                    format_args!("<path class=\"bar {class}\" d=\"{path}\"/>\n"),
                );
            }
        }
        let y = base - height(later) - 5.0;
        label(
            out,
            "m",
            LATER + LATER_WIDTH / 2.0,
            y,
            &percent(share(later, draws)),
        );
    }

    /// How many are off the harness by then.
    fn curve(&self, out: &mut String, base: f32) {
        add(
            out,
            format_args!("<path class=\"curve\" d=\"M{LEFT} {base:.1}"),
        );
        for (time, share) in self.course() {
            let y = base - CURVE * (share.0 as f32 / 1_000_000.0);
            add(out, format_args!("L{:.1} {y:.1}", self.x(time)));
        }
        out.push_str("\"/>\n");
    }

    /// The axis of time, in minutes.
    fn axis(&self, out: &mut String, base: f32) {
        let minutes = self.span().0 / 60_000;
        let step = STEPS_MIN.into_iter().find(|it| minutes / it < MARKS_MAX);
        let step = step.unwrap_or(minutes);
        let mut ticks = String::new();
        for minute in (0..=minutes).step_by(usize::try_from(step.max(1)).unwrap_or(1)) {
            let x = self.x(Millis(minute * 60_000));
            add(&mut ticks, format_args!("M{x:.1} {base:.1}v5"));
            label(out, "m", x, base + 18.0, &minute.to_string());
        }
        add(out, format_args!("<path class=\"axis\" d=\"{ticks}\"/>\n"));
        let name = self.say(Id::SiteReportAxisMinutes, []);
        label(out, "", LEFT, base + 35.0, &name);
    }

    /// What the picture of how long it takes shows.
    fn in_words(&self) -> String {
        let prospect = self.prospect;
        let ends = clock(prospect.changes.ends);
        let later = percent(share(self.parted().1, self.draws()));
        let mut all = vec![
            match prospect.p50 {
                Some(time) => self.say(Id::SiteReportPlotHalf, [&clock(time)]),
                None => self.say(Id::SiteReportPlotHalfNever, []),
            },
            match prospect.p90 {
                Some(time) => self.say(Id::SiteReportPlotNine, [&clock(time)]),
                None => self.say(Id::SiteReportPlotNineNever, []),
            },
            self.say(
                Id::SiteReportPlotTarget,
                [&percent(prospect.chance), &clock(self.target)],
            ),
            self.say(Id::SiteReportPlotLater, [&later, &ends]),
        ];
        let timed = self.parted().0.iter().zip(0_i64..);
        // Of bars that are alike the earliest.
        let most = timed.max_by_key(|(bar, number)| (**bar, -number));
        if let Some((_, number)) = most.filter(|(bar, _)| **bar > 0) {
            let times = [number, number + 1].map(|it| clock(Millis(BAR.0 * it)));
            all.push(self.say(Id::SiteReportPlotMost, [&times[0], &times[1]]));
        }
        all.push(match prospect.contact_p50 {
            Some(time) => self.say(Id::SiteReportPlotContact, [&clock(time)]),
            None => self.say(Id::SiteReportPlotContactNever, []),
        });
        all.join(" ")
    }

    /// The picture of the methods in their order.
    pub(super) fn ladder(&self) -> String {
        let planned = planned(self.prospect);
        let base = 8.0 + ROW * planned.len() as f32;
        let title = self.say(Id::SiteReportLadder, [self.name]);
        let words: Vec<String> = planned
            .iter()
            .zip(self.methods)
            .map(|(it, name)| self.method_in_words(it, name))
            .collect();
        let mut out = self.open('l', base + 42.0, &title, &words.join(" "));
        if self.target <= self.span() {
            let x = self.x(self.target);
            add(
                &mut out,
                format_args!("<path class=\"target\" d=\"M{x:.1} 4V{base:.1}\"/>\n"),
            );
        }
        for (index, (it, name)) in planned.iter().zip(self.methods).enumerate() {
            self.band(&mut out, index, it, name);
        }
        self.axis(&mut out, base);
        out.push_str("</svg>\n");
        out
    }

    fn method_in_words(&self, it: &Planned, name: &str) -> String {
        match (it.start, it.change_by) {
            (Some(start), Some(by)) => {
                self.say(Id::SiteReportLadderUntil, [name, &clock(start), &clock(by)])
            }
            (Some(start), None) => self.say(Id::SiteReportLadderOn, [name, &clock(start)]),
            (None, _) => self.say(Id::SiteReportLadderFails, [name]),
        }
    }

    fn band(&self, out: &mut String, index: usize, it: &Planned, name: &str) {
        let y = 8.0 + ROW * index as f32;
        let name = format!("{}. {name}", index + 1);
        let aside = match (it.start, it.change_by) {
            (Some(_), Some(_)) => String::new(),
            (Some(_), None) => self.say(Id::SiteReportNoChange, []),
            (None, _) => self.say(Id::SiteReportIfFails, []),
        };
        let room = WIDTH - LEFT - self.faces.width(&aside, false) * SIZE - 30.0;
        label(out, "s", LEFT, y + 13.0, &self.fitted(&name, room));
        if !aside.is_empty() {
            label(out, "e", WIDTH - 2.0, y + 13.0, &aside);
        }
        let Some(start) = it.start else { return };
        let (top, left) = (y + 20.0, self.x(start));
        let class = if index == 0 { "first" } else { "coming" };
        match it.change_by {
            Some(by) => {
                let right = self.x(by).max(left + 2.0);
                let mut path = String::new();
                rectangle(&mut path, left, top + BAND, right - left, BAND);
                add(
                    out,
                    format_args!("<path class=\"band {class}\" d=\"{path}\"/>\n"),
                );
                // The notch: the moment to decide.
                add(
                    out,
                    format_args!(
                        "<path class=\"notch\" d=\"M{right:.1} {:.1}v{:.1}m-5 9h10l-5 -8z\"/>\n",
                        top - 2.0,
                        BAND + 3.0,
                    ),
                );
                let told = self.say(Id::SiteReportChangeByMark, [&clock(by)]);
                let end = right + 10.0 + self.faces.width(&told, false) * SIZE;
                if end <= WIDTH {
                    label(out, "", right + 10.0, top + 13.0, &told);
                } else {
                    label(out, "e", left - 6.0, top + 13.0, &told);
                }
            }
            None => {
                // Open to the right: it goes on past the end of the axis.
                let (right, half) = (LEFT + TIMES, BAND / 2.0);
                add(
                    out,
                    format_args!(
                        "<path class=\"band {class}\" d=\"M{left:.1} {top:.1}H{right:.1}l{half:.1} {half:.1}l-{half:.1} {half:.1}H{left:.1}z\"/>\n"
                    ),
                );
            }
        }
    }

    /// As much of a text as has room; the table beside the picture has all of it.
    fn fitted(&self, text: &str, room: f32) -> String {
        let wide = |text: &str| self.faces.width(text, true) * SIZE;
        if wide(text) <= room {
            return text.to_owned();
        }
        let ends: Vec<usize> = text.char_indices().map(|(at, _)| at).collect();
        let fits = |end: &usize| wide(&format!("{}…", &text[..*end])) <= room;
        let kept = ends.partition_point(fits).checked_sub(1);
        let kept = kept.map_or("", |last| &text[..ends[last]]);
        format!("{}…", kept.trim_end())
    }
}

/// A rectangle that stands on a base.
fn rectangle(path: &mut String, x: f32, base: f32, width: f32, height: f32) {
    add(
        path,
        format_args!("M{x:.1} {base:.1}v-{height:.2}h{width:.1}v{height:.2}z"),
    );
}

/// A text that starts, ends or has its middle there, by its class.
fn label(out: &mut String, class: &str, x: f32, y: f32, text: &str) {
    let class = match class {
        "" => String::new(),
        class => format!(" class=\"{class}\""),
    };
    add(
        out,
        format_args!(
            "<text{class} x=\"{x:.1}\" y=\"{y:.1}\">{}</text>\n",
            escaped(text)
        ),
    );
}
