//! Writes one HTML file on whether and how quickly a crew could rescue from every place of a site today, with plots.
//!
//! It is read at the start of a shift, in an office and on paper, so it stands alone: no script, nothing from outside,
//! every picture also in words. Places come worst first. It computes nothing of its own: what it says was computed by
//! `readiness` from the plan. The cautions stand before the first figure, because a figure is read as a promise otherwise.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::colours;
use super::compose::Voice;
use super::face::Faces;
use super::html::{add, escaped};
use super::plots::percent;
use crate::plan::Plan;
use crate::readiness::{
    Conditions, Expected, Gain, Grade, Light, Look, Posting, Prospect, Standing, WhatIfs,
};
use crate::units::Millis;
use crate::words::{Id, Language, Message, clock, wind};

/// Changes without a measurable gain that are listed one by one; the others are counted.
const IDLE_CHANGES_MAX: usize = 10;

/// What the report is made from.
#[derive(Clone, Copy, Debug)]
pub struct ReadinessReport<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// How the plan's file is called.
    pub plan_name: &'a str,
    /// What the site was looked at with.
    pub conditions: &'a Conditions,
    /// One for every position, in any order.
    pub looks: &'a [PlaceLook],
    /// What was tried to help, where somebody asked.
    pub what_ifs: Option<&'a WhatIfs>,
    /// The language of the report; what the plan says stays as written.
    pub language: Language,
    /// Name and version of the program.
    pub program: &'a str,
    /// When it was made, as people read it.
    pub made_at: &'a str,
}

/// What is reported of one position.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceLook {
    /// How it stands.
    pub standing: Standing,
    /// How its ladder goes; none where no method can be tried.
    pub prospect: Option<Prospect>,
    /// The methods as spoken, in the order in which they are tried; as many as the prospect has.
    pub methods: Vec<String>,
    /// Who does what in each of these methods; empty where that is not known.
    pub crew: Vec<Vec<Posting>>,
}

impl PlaceLook {
    /// What is reported of a position that was looked at.
    pub fn of(plan: &Plan, look: &Look) -> PlaceLook {
        let position = plan.position(&look.standing.position);
        let name = |id: &String| {
            let method = position.and_then(|it| it.method(id));
            method.map_or_else(|| id.clone(), |it| it.name.clone())
        };
        let crew = |id: &String| {
            let mut methods = look.forecast.methods.iter();
            let method = methods.find(|it| it.method == *id);
            method.map_or_else(Vec::new, |it| it.crew.clone())
        };
        PlaceLook {
            standing: look.standing.clone(),
            prospect: look.prospect.clone(),
            methods: look.forecast.order.iter().map(name).collect(),
            crew: look.forecast.order.iter().map(crew).collect(),
        }
    }
}

/// The report as one HTML file.
pub fn readiness_html(report: &ReadinessReport<'_>) -> Vec<u8> {
    let mut writer = Writer {
        report,
        voice: Voice(report.language),
        faces: Faces::new(),
        out: String::new(),
    };
    writer.head();
    writer.conditions();
    writer.cautions();
    let looks = worst_first(report.looks, report.plan);
    writer.list(&looks);
    if let Some(what_ifs) = report.what_ifs {
        writer.help(what_ifs);
    }
    writer.line(format_args!(
        "<section>\n<h2>{}</h2>\n",
        writer.text(Id::SiteReportPlaces, [])
    ));
    for (number, look) in looks.iter().enumerate() {
        writer.place(number + 1, look);
    }
    writer.foot();
    writer.out.into_bytes()
}

/// Not ready, slow, ready; within each the longest bad day first, then the smallest chance, then the order of the plan.
fn worst_first<'a>(looks: &'a [PlaceLook], plan: &Plan) -> Vec<&'a PlaceLook> {
    let positions = plan.positions.iter().zip(0_usize..);
    let place: BTreeMap<&str, usize> = positions.map(|(it, n)| (it.id.as_str(), n)).collect();
    let mut looks: Vec<&PlaceLook> = looks.iter().collect();
    looks.sort_by_key(|look| {
        let expected = look.standing.expected;
        let bad_day = expected.and_then(|it| it.bad_day);
        let place = place.get(look.standing.position.as_str()).copied();
        (
            Reverse(look.standing.grade),
            Reverse(bad_day.map_or(i64::MAX, |it| it.0)),
            expected.map_or(0, |it| it.chance.0),
            place,
        )
    });
    looks
}

/// Points of a hundred with two decimals.
fn points(hundredths: i64) -> String {
    let size = hundredths.unsigned_abs();
    format!("{}.{:02}", size / 100, size % 100)
}

/// What is written so far.
pub(super) struct Writer<'a> {
    pub(super) report: &'a ReadinessReport<'a>,
    pub(super) voice: Voice,
    pub(super) faces: Faces,
    pub(super) out: String,
}

impl<'a> Writer<'a> {
    pub(super) fn line(&mut self, arguments: std::fmt::Arguments<'_>) {
        add(&mut self.out, arguments);
    }

    pub(super) fn say<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        self.voice.say(id, args)
    }

    /// A text of the catalogue, ready for the file.
    pub(super) fn text<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        escaped(&self.say(id, args))
    }

    fn head(&mut self) {
        let report = self.report;
        let site = &report.plan.site;
        let title = self.text(Id::SiteReportTitle, [&site.name]);
        self.line(format_args!(
            "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}</title>\n<style>\n{}</style>\n</head>\n<body>\n{}",
            report.language.tag(),
            *colours::SHEET,
            colours::SHAPES
        ));
        let kicker = self.text(Id::SiteReportKicker, []);
        self.line(format_args!("<header>\n<p class=\"kicker\">{kicker}</p>\n"));
        self.line(format_args!("<h1>{}</h1>\n", escaped(&site.name)));
        if site.invented {
            let mark = self.text(Id::InventedSite, []);
            self.line(format_args!("<p class=\"mark\">{mark}</p>\n"));
        }
        self.out.push_str("<ul class=\"counts\">\n");
        for grade in [Grade::NotReady, Grade::Slow, Grade::Ready] {
            let mut same = report.looks.iter();
            let count = same
                .by_ref()
                .filter(|look| look.standing.grade == grade)
                .count();
            let word = self.say(word(grade), []);
            let text = self.text(Id::SiteReportCount, [&word, &count.to_string()]);
            self.line(format_args!("<li>{}</li>\n", sign(grade, &text)));
        }
        self.out.push_str("</ul>\n</header>\n<main>\n");
    }

    pub(super) fn facts(&mut self, facts: &[(Id, String)]) {
        self.out.push_str("<dl>\n");
        for (id, value) in facts {
            let (name, value) = (self.text(*id, []), escaped(value));
            self.line(format_args!("<div><dt>{name}</dt><dd>{value}</dd></div>\n"));
        }
        self.out.push_str("</dl>\n");
    }

    fn conditions(&mut self) {
        let ReadinessReport {
            plan, conditions, ..
        } = *self.report;
        let site = &plan.site;
        let name = self.report.plan_name;
        let revision = match site.date {
            Some(date) => self.say(
                Id::SiteReportRevisionOf,
                [name, &site.revision, &date.to_string()],
            ),
            None => self.say(Id::SiteReportRevision, [name, &site.revision]),
        };
        let is_there = |id: &String| conditions.present.contains(id);
        let (there, absent): (Vec<_>, Vec<_>) =
            plan.responders.iter().partition(|it| is_there(&it.id));
        let absent: Vec<String> = absent.iter().map(|it| it.name.clone()).collect();
        let absent = match absent.is_empty() {
            true => self.say(Id::SiteReportNobody, []),
            false => self.voice.list(&absent),
        };
        let light = match conditions.light {
            None => Id::SiteReportNotSaid,
            Some(Light::Day) => Id::SiteReportLightDay,
            Some(Light::Lit) => Id::SiteReportLightLit,
            Some(Light::Dark) => Id::SiteReportLightDark,
        };
        let gone = conditions.gone.iter().map(|(kind, station)| {
            let at = plan.station(station).map_or(station, |it| &it.name);
            self.say(Id::SiteReportGoneAt, [kind, at])
        });
        let gone: Vec<String> = gone.collect();
        let gone = match gone.is_empty() {
            true => self.say(Id::SiteReportGoneNone, []),
            false => self.voice.list(&gone),
        };
        let (count, all) = (there.len().to_string(), plan.responders.len().to_string());
        let mut facts = vec![
            (Id::SiteReportPlan, revision),
            (Id::SiteReportDay, conditions.day.to_string()),
            (
                Id::SiteReportPresent,
                self.say(Id::SiteReportPresentOf, [&count, &all]),
            ),
            (Id::SiteReportAbsent, absent),
            (
                Id::SiteReportWind,
                match conditions.wind {
                    Some(speed) => wind(speed),
                    None => self.say(Id::SiteReportNotSaid, []),
                },
            ),
            (Id::SiteReportLight, self.say(light, [])),
            (Id::SiteReportGone, gone),
        ];
        if conditions.lightning {
            let near = self.say(Id::SiteReportLightningNear, []);
            facts.push((Id::SiteReportLightning, near));
        }
        let heading = self.text(Id::SiteReportConditions, []);
        self.line(format_args!("<section>\n<h2>{heading}</h2>\n"));
        self.facts(&facts);
        self.out.push_str("</section>\n");
    }

    fn cautions(&mut self) {
        let target = self.voice.span(self.report.plan.policy.target);
        let heading = self.text(Id::SiteReportCautions, []);
        let lines = [
            self.text(Id::CardTarget, [&target]),
            self.text(Id::SiteReportCautionTimes, []),
            self.text(Id::SiteReportCautionToday, []),
            self.text(Id::SiteReportCaution, []),
        ];
        self.line(format_args!(
            "<section>\n<h2>{heading}</h2>\n<ul class=\"cautions\">\n"
        ));
        for line in lines {
            self.line(format_args!("<li>{line}</li>\n"));
        }
        self.out.push_str("</ul>\n</section>\n");
    }

    /// Opens a table; a column whose class is `n` holds numbers.
    pub(super) fn table(&mut self, caption: &str, head: &[(Id, &str)]) {
        self.line(format_args!(
            "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{0}\">\n<table>\n<caption>{0}</caption>\n<thead><tr>",
            escaped(caption)
        ));
        for (id, class) in head {
            let (class, name) = (class_of(class), self.text(*id, []));
            self.line(format_args!("<th scope=\"col\"{class}>{name}</th>"));
        }
        self.out.push_str("</tr></thead>\n<tbody>\n");
    }

    /// A row whose first cell names it.
    pub(super) fn row(&mut self, first: &str, cells: &[(String, &str)]) {
        self.line(format_args!("<tr><th scope=\"row\">{first}</th>"));
        for (cell, class) in cells {
            let class = class_of(class);
            self.line(format_args!("<td{class}>{cell}</td>"));
        }
        self.out.push_str("</tr>\n");
    }

    pub(super) fn table_end(&mut self) {
        self.out.push_str("</tbody>\n</table>\n</div>\n");
    }

    fn list(&mut self, looks: &[&PlaceLook]) {
        let heading = self.text(Id::SiteReportList, []);
        self.line(format_args!(
            "<section id=\"list\">\n<h2>{heading}</h2>\n<ul class=\"legend\">\n"
        ));
        for (grade, means) in [
            (Grade::NotReady, Id::SiteReportNotReadyMeans),
            (Grade::Slow, Id::SiteReportSlowMeans),
            (Grade::Ready, Id::SiteReportReadyMeans),
        ] {
            let (word, means) = (self.text(word(grade), []), self.text(means, []));
            self.line(format_args!("<li>{} {means}</li>\n", sign(grade, &word)));
        }
        self.out.push_str("</ul>\n");
        let caption = self.say(Id::SiteReportListCaption, []);
        self.table(
            &caption,
            &[
                (Id::CardKitPlace, ""),
                (Id::SiteReportGrade, ""),
                (Id::SiteReportReason, ""),
                (Id::SiteReportLikely, "n"),
                (Id::SiteReportBadDay, "n"),
                (Id::SiteReportContact, "n"),
                (Id::SiteReportChance, "n"),
            ],
        );
        for (number, look) in looks.iter().enumerate() {
            let standing = &look.standing;
            let name = escaped(self.name(&standing.position));
            let link = format!("<a href=\"#p{}\">{name}</a>", number + 1);
            let grade = sign(standing.grade, &self.text(word(standing.grade), []));
            let mut cells = vec![(grade, ""), (escaped(&self.reason(standing)), "")];
            let figures = self.figures(standing.expected.as_ref());
            cells.extend(figures.map(|it| (escaped(&it), "n")));
            if standing.expected.is_some_and(|it| it.assumed) {
                let assumed = self.text(Id::SiteReportAssumed, []);
                cells[1].0 = format!("{} <b>({assumed})</b>", cells[1].0);
            }
            self.row(&link, &cells);
        }
        self.table_end();
        self.out.push_str("</section>\n");
    }

    /// The position as spoken; its id where the plan has none of that id.
    pub(super) fn name<'b>(&self, id: &'b str) -> &'b str
    where
        'a: 'b,
    {
        let position = self.report.plan.position(id);
        position.map_or(id, |position| &position.name)
    }

    /// Why it stands as it does, in one line.
    pub(super) fn reason(&self, standing: &Standing) -> String {
        let said = standing.why_not.as_ref().or(standing.line.as_ref());
        let grade = match standing.grade {
            Grade::Ready => Id::SiteReportReadyMeans,
            Grade::Slow => Id::SiteReportSlowMeans,
            Grade::NotReady => Id::SiteReportNotReadyMeans,
        };
        said.map_or_else(
            || self.say(grade, []),
            |message: &Message| message.text(self.report.language),
        )
    }

    /// Likely, bad day, first contact, chance.
    pub(super) fn figures(&self, expected: Option<&Expected>) -> [String; 4] {
        let Some(expected) = expected else {
            let dash = || "–".to_owned();
            return [
                self.say(Id::SiteReportNotComputed, []),
                dash(),
                dash(),
                dash(),
            ];
        };
        let time = |it: Option<Millis>| match it {
            Some(time) => clock(time),
            None => self.say(Id::SiteReportNotReached, []),
        };
        [
            time(expected.likely),
            time(expected.bad_day),
            time(expected.contact),
            percent(expected.chance),
        ]
    }

    fn help(&mut self, what_ifs: &WhatIfs) {
        let heading = self.text(Id::SiteReportHelp, []);
        self.line(format_args!("<section>\n<h2>{heading}</h2>\n"));
        if what_ifs.done < what_ifs.all {
            let (done, all) = (what_ifs.done.to_string(), what_ifs.all.to_string());
            let part = self.text(Id::SiteReportHelpPart, [&done, &all]);
            self.line(format_args!("<p>{part}</p>\n"));
        }
        if what_ifs.gains.is_empty() {
            let none = self.text(Id::SiteReportHelpNothing, []);
            self.line(format_args!("<p>{none}</p>\n</section>\n"));
            return;
        }
        let ends = clock(self.report.plan.policy.value_ends);
        let caption = self.say(Id::SiteReportHelpCaption, [&ends]);
        self.table(
            &caption,
            &[
                (Id::SiteReportHelpWhat, ""),
                (Id::SiteReportHelpGain, "n"),
                (Id::SiteReportHelpError, "n"),
                (Id::SiteReportHelpAt, ""),
            ],
        );
        let (helping, idle): (Vec<&Gain>, Vec<&Gain>) =
            what_ifs.gains.iter().partition(|it| it.is_measurable());
        for gain in helping.iter().chain(idle.iter().take(IDLE_CHANGES_MAX)) {
            let amount = if gain.is_measurable() {
                format!("+{}", points((gain.gain.0 + 50) / 100))
            } else {
                self.say(Id::SiteReportHelpNoGain, [])
            };
            // Rounded up, so that no estimate looks better than it is.
            let error = points((gain.error.0.max(0) + 99) / 100);
            let what = escaped(&gain.what.text(self.report.language));
            self.row(
                &what,
                &[
                    (escaped(&amount), "n"),
                    (error, "n"),
                    (escaped(&gain.at), ""),
                ],
            );
        }
        self.table_end();
        if idle.len() > IDLE_CHANGES_MAX {
            let more = (idle.len() - IDLE_CHANGES_MAX).to_string();
            let more = self.text(Id::SiteReportHelpMore, [&more]);
            self.line(format_args!("<p>{more}</p>\n"));
        }
        self.out.push_str("</section>\n");
    }

    fn foot(&mut self) {
        let ReadinessReport {
            program, made_at, ..
        } = *self.report;
        let made = self.text(Id::SiteReportMade, [program, made_at]);
        let assists = self.text(Id::SiteReportCaution, []);
        self.line(format_args!(
            "</section>\n</main>\n<footer>\n<p>{assists}</p>\n<p>{made}</p>\n</footer>\n</body>\n</html>\n"
        ));
    }
}

pub(super) fn word(grade: Grade) -> Id {
    match grade {
        Grade::Ready => Id::SiteReportGradeReady,
        Grade::Slow => Id::SiteReportGradeSlow,
        Grade::NotReady => Id::SiteReportGradeNotReady,
    }
}

/// The sign of a grade, which has its own pattern, and its word.
pub(super) fn sign(grade: Grade, word: &str) -> String {
    let shape = match grade {
        Grade::Ready => "ready",
        Grade::Slow => "slow",
        Grade::NotReady => "not-ready",
    };
    format!(
        "<span class=\"grade\"><svg aria-hidden=\"true\" viewBox=\"0 0 32 20\"><use href=\"#{shape}\"/></svg>{word}</span>"
    )
}

fn class_of(class: &str) -> String {
    match class {
        "" => String::new(),
        class => format!(" class=\"{class}\""),
    }
}
