//! Writes what a readiness report says of one place: figures, pictures with the same in tables, who goes with what.
//!
//! A reader of the list comes here with a question about one place, so each part stands by itself and is never torn between
//! two sheets of paper where it fits on one. It computes nothing; `plots` draws.

use super::html::escaped;
use super::plots::{Plot, percent, planned, share};
use super::readiness::{PlaceLook, Writer, sign, word};
use crate::plan::Position;
use crate::readiness::Prospect;
use crate::units::{Millis, Ratio};
use crate::words::{Id, clock};

/// Columns of the table beside a plot, the last one not counted.
const COLUMNS: usize = 10;

impl Writer<'_> {
    pub(super) fn place(&mut self, number: usize, look: &PlaceLook) {
        let plan = self.report.plan;
        let standing = &look.standing;
        let name = self.name(&standing.position);
        self.line(format_args!(
            "<article id=\"p{number}\">\n<div class=\"top\">\n<h3>{}</h3>\n",
            escaped(name)
        ));
        let place = plan
            .position(&standing.position)
            .and_then(|it: &Position| plan.place(&it.place));
        if let Some(place) = place {
            let place = escaped(&self.voice.place(place));
            self.line(format_args!("<p class=\"where\">{place}</p>\n"));
        }
        let grade = sign(standing.grade, &self.text(word(standing.grade), []));
        let reason = escaped(&self.reason(standing));
        self.line(format_args!("<p>{grade} {reason}</p>\n"));
        if let Some(expected) = &standing.expected {
            let [likely, bad_day, contact, chance] = self.figures(Some(expected));
            self.facts(&[
                (Id::SiteReportLikely, likely),
                (Id::SiteReportBadDay, bad_day),
                (Id::SiteReportContact, contact),
                (Id::SiteReportChance, chance),
            ]);
            if expected.assumed {
                let enough = plan.policy.drills_enough.to_string();
                let why = self.text(Id::SiteReportAssumedWhy, [&enough]);
                self.line(format_args!("<p class=\"assumed\">{why}</p>\n"));
            }
        }
        let drawn = |it: &&Prospect| it.bars.iter().any(|bar| *bar > 0) && !it.shares.is_empty();
        match look.prospect.as_ref().filter(drawn) {
            Some(prospect) => self.prospect(number, name, look, prospect),
            None => {
                let none = self.text(Id::SiteReportNoTimes, []);
                self.line(format_args!("<p>{none}</p>\n</div>\n"));
            }
        }
        self.crew(look);
        let back = self.text(Id::SiteReportBack, []);
        self.line(format_args!(
            "<p class=\"back\"><a href=\"#list\">{back}</a></p>\n</article>\n"
        ));
    }

    /// The pictures, each with its figures.
    fn prospect(&mut self, number: usize, name: &str, look: &PlaceLook, prospect: &Prospect) {
        let plot = Plot {
            voice: self.voice,
            faces: &self.faces,
            number,
            name,
            methods: &look.methods,
            prospect,
            target: self.report.plan.policy.target,
        };
        let draws = plot.draws();
        let course = plot.course();
        let (distribution, ladder) = (plot.distribution(), plot.ladder());
        let label = self.text(Id::SiteReportPlot, [name, &draws.to_string()]);
        self.line(format_args!(
            "<figure class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{label}\">\n{distribution}{ladder}</figure>\n</div>\n"
        ));
        self.by_then(&course, prospect, draws);
        self.methods(look, prospect);
    }

    /// The curve in figures.
    fn by_then(&mut self, course: &[(Millis, Ratio)], prospect: &Prospect, draws: u64) {
        let step = course.len().div_ceil(COLUMNS).max(1);
        let shown: Vec<_> = course.iter().skip(step - 1).step_by(step).collect();
        let (caption, by) = (
            self.text(Id::SiteReportTable, []),
            self.text(Id::SiteReportTableBy, []),
        );
        self.line(format_args!(
            "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{caption}\">\n<table>\n\
             <caption>{caption}</caption>\n<thead><tr><th scope=\"col\">{by}</th>"
        ));
        for (time, _) in &shown {
            self.line(format_args!(
                "<th scope=\"col\" class=\"n\">{}</th>",
                clock(*time)
            ));
        }
        let later = self.text(Id::SiteReportLater, []);
        self.line(format_args!(
            "<th scope=\"col\" class=\"n\">{later}</th></tr></thead>\n<tbody>\n"
        ));
        let late = prospect.bars.last().copied().unwrap_or(0);
        let shares = shown.iter().map(|(_, share)| *share);
        let shares = shares.chain([share(u64::from(late), draws)]);
        let cells: Vec<_> = shares.map(|it| (escaped(&percent(it)), "n")).collect();
        let row = self.text(Id::SiteReportTableShare, []);
        self.row(&row, &cells);
        self.table_end();
    }

    /// When each method starts, until when to try it, and what it brings.
    fn methods(&mut self, look: &PlaceLook, prospect: &Prospect) {
        let name = self.name(&look.standing.position);
        let caption = self.say(Id::SiteReportLadder, [name]);
        self.table(
            &caption,
            &[
                (Id::SiteReportMethod, ""),
                (Id::SiteReportStarts, "n"),
                (Id::SiteReportChangeBy, "n"),
                (Id::SiteReportAlone, "n"),
                (Id::SiteReportShare, "n"),
            ],
        );
        let planned = planned(prospect);
        for (index, (it, method)) in planned.iter().zip(&look.methods).enumerate() {
            let start = match it.start {
                Some(start) => clock(start),
                None => self.say(Id::SiteReportIfFails, []),
            };
            let change = match it.change_by {
                Some(by) => clock(by),
                None => self.say(Id::SiteReportNoChange, []),
            };
            let alone = prospect.alone.get(index).map(|it| percent(it.chance));
            let ended = prospect.shares.get(index).map(|it| percent(*it));
            let cells = [
                start,
                change,
                alone.unwrap_or_default(),
                ended.unwrap_or_default(),
            ];
            let first = escaped(&format!("{}. {method}", index + 1));
            self.row(&first, &cells.map(|it| (escaped(&it), "n")));
        }
        let none = self.text(Id::SiteReportNone, []);
        let never = escaped(&percent(prospect.never));
        let empty = || (String::new(), "n");
        self.row(&none, &[empty(), empty(), empty(), (never, "n")]);
        self.table_end();
        let note = self.text(Id::SiteReportTentative, []);
        self.line(format_args!("<p class=\"note\">{note}</p>\n"));
    }

    fn crew(&mut self, look: &PlaceLook) {
        if look.crew.iter().all(Vec::is_empty) {
            return;
        }
        let plan = self.report.plan;
        let caption = self.say(Id::SiteReportCrew, []);
        self.table(
            &caption,
            &[
                (Id::SiteReportWho, ""),
                (Id::SiteReportMethod, ""),
                (Id::SiteReportRole, ""),
                (Id::SiteReportBrings, ""),
                (Id::SiteReportFrom, ""),
                (Id::SiteReportTo, ""),
                (Id::SiteReportWay, "n"),
            ],
        );
        for (method, postings) in look.methods.iter().zip(&look.crew) {
            for posting in postings {
                let who = plan
                    .responder(&posting.responder)
                    .map_or(&posting.responder, |it| &it.name);
                let station = posting.station.as_ref();
                let from = station.map(|id| plan.station(id).map_or(id, |it| &it.name));
                let to = plan
                    .place(&posting.place)
                    .map_or(&posting.place, |it| &it.name);
                let cells = [
                    (escaped(method), ""),
                    (escaped(&posting.role.replace(['-', '_'], " ")), ""),
                    (escaped(posting.kit.as_deref().unwrap_or_default()), ""),
                    (escaped(from.map_or("", String::as_str)), ""),
                    (escaped(to), ""),
                    (clock(Millis(posting.travel_ms)), "n"),
                ];
                self.row(&escaped(who), &cells);
            }
        }
        self.table_end();
    }
}
