//! Writes one HTML file on what drills have shown: how long everything took, how sure that is, and whether it changes.
//!
//! It stands alone: no script, nothing from outside, every picture also in words. It computes nothing of its own. That all of
//! it comes from drills stands at the top of every page, on paper too, because a figure torn off would be read as a rescue's.
//! The cautions stand before the first figure. Rescues have no report here: nobody drills on them.

use super::colours;
use super::compose::Voice;
use super::html::{add, escaped};
use super::learning_plots::Plots;
use crate::drill::{Between, Learned, Played, Summary, Trend, Whose};
use crate::plan::Plan;
use crate::units::Millis;
use crate::words::{Id, Language, clock};

/// What the report is made from.
#[derive(Clone, Copy, Debug)]
pub struct LearningReport<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// How the plan's file is called.
    pub plan_name: &'a str,
    /// What was learned, in the order in which it is to be read.
    pub learned: &'a [Learned],
    /// What was played: drills with people, or drills at a table.
    pub played: Played,
    /// How many of them are counted.
    pub drills: usize,
    /// How many are needed to sum anything up.
    pub enough: u32,
    /// The only position that was asked for, by id; none where everything was.
    pub only: Option<&'a str>,
    /// True where only what was played in the dark is counted.
    pub in_the_dark: bool,
    /// Incident ids of the records that were altered and are left out.
    pub altered: &'a [String],
    /// Incident ids of the records that cannot be read.
    pub unread: &'a [String],
    /// How many incidents of other sites are left out.
    pub elsewhere: usize,
    /// The language of the report; what the plan says stays as written.
    pub language: Language,
    /// Name and version of the program.
    pub program: &'a str,
    /// When it was made, as people read it.
    pub made_at: &'a str,
    /// Offset of the place's time from UTC, in minutes, for the days of the drills.
    pub offset_min: i32,
}

/// The report as one HTML file.
pub fn learning_html(report: &LearningReport<'_>) -> Vec<u8> {
    let mut writer = Writer {
        report,
        voice: Voice(report.language),
        out: String::new(),
    };
    writer.head();
    writer.cautions();
    writer.left_out();
    if report.learned.is_empty() {
        let nothing = writer.text(Id::LearnReportNothing, []);
        writer.line(format_args!("<p class=\"note\">{nothing}</p>\n"));
    } else {
        writer.list();
        writer.subjects();
    }
    writer.foot();
    writer.out.into_bytes()
}

/// A time or a dash.
fn time(time: Option<Millis>) -> String {
    time.map_or_else(|| "–".to_owned(), clock)
}

/// A change with its sign.
fn change(by: Millis) -> String {
    let sign = if by.0 < 0 { "−" } else { "+" };
    format!("{sign}{}", clock(Millis(by.0.saturating_abs())))
}

/// What is written so far.
struct Writer<'a> {
    report: &'a LearningReport<'a>,
    voice: Voice,
    out: String,
}

impl<'a> Writer<'a> {
    fn line(&mut self, arguments: std::fmt::Arguments<'_>) {
        add(&mut self.out, arguments);
    }

    fn say<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        self.voice.say(id, args)
    }

    /// A text of the catalogue, ready for the file.
    fn text<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        escaped(&self.say(id, args))
    }

    /// What was timed, as spoken.
    fn name(&self, learned: &Learned) -> String {
        let told = learned.subject_told(self.report.plan);
        told.text(self.report.language)
    }

    /// Whose times they are, as spoken.
    fn whose(&self, learned: &Learned) -> String {
        let told = learned.whose_told(self.report.plan);
        told.text(self.report.language)
    }

    fn head(&mut self) {
        let report = self.report;
        let site = &report.plan.site;
        let title = self.text(Id::LearnReportTitle, [&site.name]);
        self.line(format_args!(
            "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}</title>\n<style>\n{}{}{}</style>\n</head>\n<body>\n{}{}",
            report.language.tag(),
            *colours::SHEET,
            colours::EVERY_PAGE,
            colours::LEARNING,
            colours::SHAPES,
            colours::SPECKS
        ));
        let mark = match report.played {
            Played::TableTop => Id::LearnReportMarkTable,
            Played::Drill | Played::Rescue => Id::LearnReportMark,
        };
        let word = self.say(Id::DrillMark, []);
        let mark = self.text(mark, [&word]);
        let kicker = self.text(Id::LearnReportKicker, []);
        self.line(format_args!(
            "<div class=\"sheet\">\n<div class=\"every-page\"><p>{mark}</p></div>\n<div class=\"all\">\n<div class=\"cell\">\n\
             <header>\n<p class=\"kicker\">{kicker}</p>\n<h1>{}</h1>\n",
            escaped(&site.name)
        ));
        if site.invented {
            let mark = self.text(Id::InventedSite, []);
            self.line(format_args!("<p class=\"mark\">{mark}</p>\n"));
        }
        self.out.push_str("</header>\n<main>\n");
        self.facts();
    }

    /// What it was made from.
    fn facts(&mut self) {
        let report = self.report;
        let site = &report.plan.site;
        let name = report.plan_name;
        let revision = match site.date {
            Some(date) => self.say(
                Id::SiteReportRevisionOf,
                [name, &site.revision, &date.to_string()],
            ),
            None => self.say(Id::SiteReportRevision, [name, &site.revision]),
        };
        let kind = match report.played {
            Played::TableTop => Id::LearnReportTable,
            Played::Drill | Played::Rescue => Id::LearnReportPeople,
        };
        let mut kind = self.say(kind, []);
        if report.in_the_dark {
            kind = self.say(Id::LearnReportInDark, [&kind]);
        }
        let mut facts = vec![
            (Id::SiteReportPlan, revision),
            (Id::LearnReportKind, kind),
            (Id::LearnReportCounted, report.drills.to_string()),
        ];
        if let Some(only) = report.only {
            let position = report.plan.position(only);
            let name = position.map_or(only, |it| &it.name).to_owned();
            facts.push((Id::LearnReportOnly, name));
        }
        self.pairs(&facts);
    }

    fn pairs(&mut self, facts: &[(Id, String)]) {
        self.out.push_str("<dl>\n");
        for (id, value) in facts {
            let (name, value) = (self.text(*id, []), escaped(value));
            self.line(format_args!("<div><dt>{name}</dt><dd>{value}</dd></div>\n"));
        }
        self.out.push_str("</dl>\n");
    }

    fn cautions(&mut self) {
        let enough = self.report.enough.to_string();
        let lines = [
            self.say(Id::LearnReportNever, []),
            self.say(Id::LearnReportNotRescue, []),
            self.say(Id::LearnReportBrokenCount, []),
            self.say(Id::LearnReportFewer, [&enough]),
            self.say(Id::LearnReportFall, []),
            self.say(Id::SiteReportCaution, []),
        ];
        self.listed(Id::SiteReportCautions, "cautions", &lines);
    }

    fn left_out(&mut self) {
        let report = self.report;
        let altered = report.altered.iter();
        let altered = altered.map(|id| self.say(Id::LearnReportAltered, [id]));
        let unread = report.unread.iter();
        let unread = unread.map(|id| self.say(Id::LearnReportUnread, [id]));
        let elsewhere = report.elsewhere;
        let count = elsewhere.to_string();
        let elsewhere = (elsewhere > 0).then(|| self.say(Id::LearnReportElsewhere, [&count]));
        let mut lines: Vec<String> = altered.chain(unread).chain(elsewhere).collect();
        if lines.is_empty() {
            lines.push(self.say(Id::LearnReportNothingLeft, []));
        }
        self.listed(Id::LearnReportLeftOut, "left-out", &lines);
    }

    /// A heading and lines of text below it.
    fn listed(&mut self, heading: Id, class: &str, lines: &[String]) {
        let heading = self.text(heading, []);
        self.line(format_args!(
            "<section>\n<h2>{heading}</h2>\n<ul class=\"{class}\">\n"
        ));
        for line in lines {
            let line = escaped(line);
            self.line(format_args!("<li>{line}</li>\n"));
        }
        self.out.push_str("</ul>\n</section>\n");
    }

    /// Everything in one table, each name a way to its pictures.
    fn list(&mut self) {
        let caption = self.text(Id::LearnReportAll, []);
        self.line(format_args!(
            "<section id=\"list\">\n<h2>{caption}</h2>\n\
             <div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{caption}\">\n<table>\n<thead><tr>"
        ));
        let columns = [
            Id::LearnReportWhat,
            Id::LearnReportDrills,
            Id::LearnReportBroken,
            Id::LearnReportLower,
            Id::LearnReportMedian,
            Id::LearnReportUpper,
        ];
        for (index, id) in columns.into_iter().enumerate() {
            let class = if index == 0 { "" } else { " class=\"n\"" };
            let name = self.text(id, []);
            self.line(format_args!("<th scope=\"col\"{class}>{name}</th>"));
        }
        self.out.push_str("</tr></thead>\n");
        let mut last: Option<&Whose> = None;
        for (index, learned) in self.report.learned.iter().enumerate() {
            if last != Some(&learned.whose) {
                let whose = escaped(&self.whose(learned));
                let ends = if last.is_some() { "</tbody>\n" } else { "" };
                self.line(format_args!(
                    "{ends}<tbody>\n<tr class=\"whose\"><th scope=\"rowgroup\" colspan=\"6\">{whose}</th></tr>\n"
                ));
                last = Some(&learned.whose);
            }
            self.row(index, learned);
        }
        self.out
            .push_str("</tbody>\n</table>\n</div>\n</section>\n");
    }

    fn row(&mut self, index: usize, learned: &Learned) {
        let name = escaped(&self.name(learned));
        let (number, drills) = (index + 1, learned.drills);
        self.line(format_args!(
            "<tr><th scope=\"row\"><a href=\"#s{number}\">{name}</a></th><td class=\"n\">{drills}</td>"
        ));
        match &learned.summary {
            None => {
                let few = self.text(Id::LearnReportFewShort, []);
                self.line(format_args!("<td colspan=\"4\">{few}</td>"));
            }
            Some(summary) => {
                let broken_off = summary.broken_off.to_string();
                let [lower, median, upper] =
                    [summary.lower, summary.median, summary.upper].map(time);
                for cell in [broken_off, lower, median, upper] {
                    self.line(format_args!("<td class=\"n\">{cell}</td>"));
                }
            }
        }
        self.out.push_str("</tr>\n");
    }

    fn subjects(&mut self) {
        let report = self.report;
        let mut last: Option<&Whose> = None;
        for (index, learned) in report.learned.iter().enumerate() {
            if last != Some(&learned.whose) {
                let whose = escaped(&self.whose(learned));
                let ends = if last.is_some() { "</section>\n" } else { "" };
                self.line(format_args!("{ends}<section>\n<h2>{whose}</h2>\n"));
                last = Some(&learned.whose);
            }
            self.subject(index + 1, learned);
        }
        self.out.push_str("</section>\n");
    }

    fn subject(&mut self, number: usize, learned: &Learned) {
        let name = self.name(learned);
        let heading = escaped(&name);
        self.line(format_args!(
            "<article id=\"s{number}\">\n<div class=\"top\"><h3>{heading}</h3>\n"
        ));
        let count = |count: usize| count.to_string();
        let broken_off = learned.times.iter().filter(|it| !it.span.ended).count();
        let mut facts = vec![
            (Id::LearnReportDrills, learned.drills.to_string()),
            (Id::LearnReportTimes, count(learned.times.len())),
            (Id::LearnReportBroken, count(broken_off)),
        ];
        // At one position it would say nothing new.
        if !matches!(learned.whose, Whose::Position(_)) {
            facts.push((Id::LearnReportPlaces, learned.positions.to_string()));
        }
        if let Some(summary) = &learned.summary {
            facts.extend(self.summed(summary, learned.trend.as_ref()));
        }
        self.pairs(&facts);
        if learned.summary.is_none() {
            let (drills, enough) = (learned.drills.to_string(), self.report.enough.to_string());
            let few = self.text(Id::LearnReportFew, [&drills, &enough]);
            self.line(format_args!("<p class=\"assumed\">{few}</p>\n"));
        }
        self.out.push_str("</div>\n");
        Plots {
            voice: self.voice,
            number,
            name: &name,
            learned,
            offset_min: self.report.offset_min,
        }
        .write(&mut self.out);
        let back = self.text(Id::LearnReportBack, []);
        self.line(format_args!(
            "<p class=\"back\"><a href=\"#list\">{back}</a></p>\n</article>\n"
        ));
    }

    /// The figures that sum a subject up, each with how sure it is.
    fn summed(&self, summary: &Summary, trend: Option<&Trend>) -> [(Id, String); 4] {
        let sure = |figure: Option<Millis>, between: Option<&Between>| {
            let figure = time(figure);
            between.map_or(figure.clone(), |it| self.between(&figure, it))
        };
        [
            (
                Id::LearnReportLower,
                sure(summary.lower, summary.lower_between.as_ref()),
            ),
            (
                Id::LearnReportMedian,
                sure(summary.median, summary.median_between.as_ref()),
            ),
            (
                Id::LearnReportUpper,
                sure(summary.upper, summary.upper_between.as_ref()),
            ),
            (Id::LearnReportTrend, self.every_month(trend)),
        ]
    }

    /// A figure with its limits, and how often such limits hold it.
    fn between(&self, figure: &str, between: &Between) -> String {
        let share = (between.coverage.0 / 10_000).to_string();
        let share = match between.exact {
            true => share,
            false => self.say(Id::LearnReportAbout, [&share]),
        };
        let low = clock(between.low);
        match between.high {
            Some(high) => self.say(Id::LearnReportBetween, [figure, &low, &clock(high), &share]),
            None => self.say(Id::LearnReportOrMore, [figure, &low, &share]),
        }
    }

    fn every_month(&self, trend: Option<&Trend>) -> String {
        let Some(trend) = trend else {
            return "–".to_owned();
        };
        let limit = |it: Option<Millis>| it.map_or_else(|| "?".to_owned(), change);
        let (low, high) = (limit(trend.low), limit(trend.high));
        let id = match (trend.low, trend.high) {
            (Some(low), Some(high)) if low.0 > 0 || high.0 < 0 => Id::LearnReportMonth,
            _ => Id::LearnReportMonthOpen,
        };
        self.say(id, [&change(trend.slope), &low, &high])
    }

    fn foot(&mut self) {
        let LearningReport {
            program, made_at, ..
        } = *self.report;
        let made = self.text(Id::SiteReportMade, [program, made_at]);
        let never = self.text(Id::LearnReportNever, []);
        self.line(format_args!(
            "</main>\n<footer>\n<p>{never}</p>\n<p>{made}</p>\n</footer>\n</div>\n</div>\n</div>\n</body>\n</html>\n"
        ));
    }
}
