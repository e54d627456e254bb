//! Tells an incident to whoever was not there: what happened in five lines, then everything that it rests on.
//!
//! Made for a reader who is frightened and has two minutes: what it was, how long somebody hung and how it ended stand first,
//! then what the report cannot say, then the story; the record itself, line by line, and how to check it come last. Each
//! sentence names the records it was taken from. It decides and measures nothing: `review` does.
//!
//! Limits: knows what was recorded. That no time in suspension is safe stands on every page.

use super::document::{Block, Document, Span, Tone, clean};
use super::face::Faces;
use super::incident_account::{actions, measured, said_since, story};
use super::incident_proof::proof;
use super::incident_record::record_table;
use super::reminders::Reminders;
use super::timeline::{Frame, TimelineDrawing};
use crate::incident::{Case, Event, Facts, Opening, Record, State, Whereabouts};
use crate::review::timeline::Timeline;
use crate::review::{self, Account};
use crate::units::Millis;
use crate::words::{Id, Language, Message, clock, date_and_time, label};

/// How wide the picture is and how high its letters, on a sheet of A4 across.
const ACROSS: (f32, f32) = (762.0, 8.2);
/// The same on an upright sheet, for a picture of many people and methods.
const UPRIGHT: (f32, f32) = (515.0, 7.2);
/// How high a picture may be on a sheet across.
const ACROSS_HEIGHT: f32 = 400.0;
/// The same on an upright one; what is higher is parted.
const UPRIGHT_HEIGHT: f32 = 580.0;

/// What the report is made from.
#[derive(Clone, Copy, Debug)]
pub struct IncidentReport<'a> {
    /// The incident's name.
    pub incident: &'a str,
    /// Its records, those of the shared form where that is asked for.
    pub records: &'a [Record],
    /// How many records the file holds.
    pub count: usize,
    /// The hash of the last record as it stands in the file.
    pub head: &'a str,
    /// Everything that is wrong with the record, a sentence each; empty where it is intact.
    pub problems: &'a [String],
    /// Numbers of the records that were lost in the files and came from copies.
    pub filled: &'a [u64],
    /// Which reports the law of the place may ask for; none for a drill.
    pub reminders: Option<&'a Reminders>,
    /// The language of the report; what the plan says stays as written.
    pub language: Language,
    /// True where names and what is known of anybody's health are left out of the records.
    pub shared: bool,
    /// Name and version of the program.
    pub program: &'a str,
    /// When it was made, as people read it.
    pub made_at: &'a str,
}

impl IncidentReport<'_> {
    /// The report, not yet for a browser or for paper.
    pub fn document(&self) -> Document {
        let mut state = State::default();
        for record in self.records {
            state.apply(record.clone());
        }
        Maker {
            report: self,
            facts: &state.facts,
        }
        .document()
    }
}

/// What is known when the report is made.
pub(super) struct Maker<'a> {
    pub(super) report: &'a IncidentReport<'a>,
    pub(super) facts: &'a Facts,
}

impl<'a> Maker<'a> {
    pub(super) fn say<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        Message::with(id, args).text(self.report.language)
    }

    pub(super) fn label(&self, id: Id) -> String {
        label(id, self.report.language)
    }

    /// The first record, where it can be read.
    pub(super) fn opening(&self) -> Option<&'a Opening> {
        self.report.records.iter().find_map(|it| match &it.event {
            Event::Opened(opening) => Some(opening.as_ref()),
            _ => None,
        })
    }

    fn document(&self) -> Document {
        let site = self
            .facts
            .opened
            .as_ref()
            .map(|it| it.plan.site.name.as_str());
        let place = self.place(self.facts.cases().next());
        let title = match site.filter(|it| !it.is_empty()) {
            Some(site) => self.say(Id::IncidentReportTitle, [&place, site]),
            None => self.say(Id::IncidentReportTitle, [&place, self.report.incident]),
        };
        let mut blocks = Vec::new();
        self.short(&mut blocks);
        self.cautions(&mut blocks);
        self.picture(&mut blocks);
        let account = Account::of(self.report.records);
        story(self, account.as_ref(), &mut blocks);
        measured(self, account.as_ref(), &mut blocks);
        said_since(self, &mut blocks);
        actions(self, &mut blocks);
        self.reminders(&mut blocks);
        record_table(self, &mut blocks);
        proof(self, &mut blocks);
        let [program, made_at] = [self.report.program, self.report.made_at];
        blocks.push(Block::quiet(
            &self.say(Id::SiteReportMade, [program, made_at]),
        ));
        Document {
            title: clean(&title),
            kicker: self.label(Id::IncidentReportKicker),
            name: clean(self.report.incident),
            language: self.report.language,
            marks: self.marks(),
            blocks,
            foot: format!(
                "{} {}",
                self.label(Id::SiteReportCaution),
                self.label(Id::IncidentReportCautionNever)
            ),
        }
    }

    fn reminders(&self, blocks: &mut Vec<Block>) {
        let Some(reminders) = self.report.reminders else {
            return;
        };
        let language = self.report.language;
        blocks.push(Block::heading(
            "reminders",
            self.label(Id::IncidentReportReminders),
        ));
        blocks.push(Block::said(&reminders.about.text(language)));
        let each = reminders.each.iter().map(|it| it.text(language));
        let points: Vec<Vec<Span>> = each.map(|it| vec![Span::text(&it)]).collect();
        if !points.is_empty() {
            blocks.push(Block::Points(points));
        }
        blocks.push(Block::said(&reminders.defers.text(language)));
    }

    /// A time on the incident's own line, since the first fall.
    pub(super) fn since_first_fall(&self, at: Millis) -> Millis {
        let fell = self.facts.casualties.iter().map(|it| it.fell).min();
        at.saturating_sub(fell.unwrap_or(Millis::ZERO))
    }

    /// The whole incident on one line of time.
    fn picture(&self, blocks: &mut Vec<Block>) {
        let Some(timeline) = Timeline::of(self.report.records) else {
            return;
        };
        let lines = review::lines(self.report.records, self.report.language);
        let faces = Faces::new();
        let drawn = TimelineDrawing {
            timeline: &timeline,
            lines: &lines,
            language: self.report.language,
            faces: &faces,
        };
        let draw = |(width, size): (f32, f32), height: f32| {
            drawn.pages_without_lines(&Frame::whole(&timeline, width, size), height)
        };
        let mut pictures = draw(ACROSS, ACROSS_HEIGHT);
        if pictures.len() > 1 {
            pictures = draw(UPRIGHT, UPRIGHT_HEIGHT);
        }
        blocks.push(Block::heading(
            "picture",
            self.label(Id::IncidentReportPicture),
        ));
        let of = pictures.len();
        for (index, mut picture) in pictures.into_iter().enumerate() {
            if of > 1 {
                let page = self.say(Id::CardPage, [&(index + 1).to_string(), &of.to_string()]);
                picture.title = format!("{}, {page}", picture.title);
            }
            blocks.push(Block::Figure(picture));
        }
    }

    /// When a drill became a rescue.
    fn real(&self) -> Option<Millis> {
        let real = |it: &&Record| matches!(it.event, Event::RealCalled {});
        let found = self.report.records.iter().find(real);
        found.map(|it| it.elapsed)
    }

    fn marks(&self) -> Vec<String> {
        let mut marks = Vec::new();
        if !self.report.problems.is_empty() {
            marks.push(self.label(Id::LogAltered));
        }
        match (self.opening().is_some_and(|it| it.drill), self.real()) {
            (true, Some(at)) => {
                marks.push(self.say(Id::IncidentReportDrillThenReal, [&clock(at)]));
            }
            (true, None) => marks.push(self.label(Id::DrillMark)),
            (false, _) => {}
        }
        if self.report.shared {
            marks.push(self.label(Id::IncidentReportNamesOut));
        }
        let site = self.facts.opened.as_ref().map(|it| &it.plan.site);
        if site.is_some_and(|it| it.invented) {
            marks.push(self.label(Id::InventedSite));
        }
        marks
    }

    /// Where somebody hung, as spoken.
    fn place(&self, case: Option<Case<'_>>) -> String {
        let Some(case) = case else {
            return self.label(Id::PlaceNotListed);
        };
        match (case.position(), &case.casualty.place) {
            (Some(position), _) => position.name.clone(),
            (None, Whereabouts::Known(id)) => id.clone(),
            (None, _) => self.label(Id::PlaceNotListed),
        }
    }

    /// What it was, where, how long somebody hung, how they came down and how it ended.
    fn short(&self, blocks: &mut Vec<Block>) {
        blocks.push(Block::heading("short", self.label(Id::IncidentReportShort)));
        let mut facts = vec![(Id::IncidentReportWhat, self.kind())];
        if let Some(first) = self.report.records.first() {
            let at = date_and_time(first.now.wall_ms, first.now.offset_min);
            facts.push((
                Id::IncidentReportWhen,
                self.say(Id::IncidentReportWhenBy, [&at]),
            ));
        }
        let mut places: Vec<String> = Vec::new();
        for place in self.facts.cases().map(|it| self.place(Some(it))) {
            if !places.contains(&place) {
                places.push(place);
            }
        }
        facts.push((Id::IncidentReportWhere, places.join("; ")));
        let mut pairs: Vec<(String, Vec<Span>)> = facts
            .into_iter()
            .map(|(id, text)| (self.label(id), vec![Span::text(&text)]))
            .collect();
        for case in self.facts.cases() {
            pairs.extend(self.of_casualty(case));
        }
        let closed = match self.facts.stood_down {
            Some(_) => Id::IncidentReportClosed,
            None => Id::IncidentReportOpen,
        };
        let several = self.facts.casualties.len() > 1;
        let mut ends: Vec<String> = self
            .facts
            .cases()
            .flat_map(|it| self.end(it, several))
            .collect();
        ends.push(self.label(closed));
        pairs.push((
            self.label(Id::IncidentReportOutcome),
            vec![Span::text(&format!("{}.", ends.join("; ")))],
        ));
        blocks.push(Block::Pairs(pairs));
    }

    fn kind(&self) -> String {
        let table = self.opening().and_then(|it| it.exercise.as_ref());
        let id = match (self.opening().is_some_and(|it| it.drill), table) {
            (false, _) => Id::IncidentReportRescue,
            (true, Some(it)) if it.table_top => Id::IncidentReportDrillTable,
            (true, _) => Id::IncidentReportDrill,
        };
        match self.real() {
            Some(at) => self.say(Id::IncidentReportDrillThenReal, [&clock(at)]),
            None => self.label(id),
        }
    }

    /// How long somebody hung, and by which method they came down.
    fn of_casualty(&self, case: Case<'_>) -> [(String, Vec<Span>); 2] {
        let casualty = case.casualty;
        let several = self.facts.casualties.len() > 1;
        let number = case.number.to_string();
        let name = |one: Id, of: Id| match several {
            true => self.say(of, [&number]),
            false => self.label(one),
        };
        let last = self.facts.line.reached_at();
        let off = casualty.off.map(|(at, _)| at);
        let hung = off.unwrap_or(last).saturating_sub(casualty.fell);
        let shown = match case.at_least() {
            true => self.say(Id::IncidentReportAtLeast, [&clock(hung)]),
            false => clock(hung),
        };
        let target = self.facts.policy().target;
        let target_shown = clock(target);
        let told = match off {
            None => self.say(Id::IncidentReportHangs, [&shown]),
            Some(_) if hung > target => {
                let by = clock(hung.saturating_sub(target));
                self.say(Id::IncidentReportHungPast, [&shown, &target_shown, &by])
            }
            Some(_) => self.say(Id::IncidentReportHungBefore, [&shown, &target_shown]),
        };
        let tried = casualty.windows.iter().filter(|it| !it.untried);
        let running = casualty.running.as_ref().map(|it| &it.method);
        let worked = running.or(tried.map(|it| &it.method).next_back());
        let worked = worked.filter(|_| off.is_some()).map(|id| {
            case.method(id)
                .map_or_else(|| id.clone(), |it| it.name.clone())
        });
        let worked = worked.unwrap_or_else(|| self.label(Id::IncidentReportWorkedNone));
        [
            (
                name(Id::IncidentReportHung, Id::IncidentReportHungOf),
                vec![Span::strong(&told)],
            ),
            (
                name(Id::IncidentReportWorked, Id::IncidentReportWorkedOf),
                vec![Span::text(&worked)],
            ),
        ]
    }

    /// What became of somebody.
    fn end(&self, case: Case<'_>, several: bool) -> Vec<String> {
        let casualty = case.casualty;
        let mut all = Vec::new();
        if let Some(at) = casualty.landed {
            let since = clock(at.saturating_sub(casualty.fell));
            all.push(self.say(Id::IncidentReportLandedAt, [&since]));
        }
        if let Some((to, _)) = casualty.handed {
            all.push(self.label(review::taker(to)));
        }
        match (several, all.is_empty()) {
            (true, false) => {
                let number = case.number.to_string();
                vec![format!(
                    "{}: {}",
                    self.say(Id::CasualtyNumber, [&number]),
                    all.join(", ")
                )]
            }
            _ => all,
        }
    }

    fn cautions(&self, blocks: &mut Vec<Block>) {
        let mut lines = Vec::new();
        if !self.report.problems.is_empty() {
            let all = self.report.problems.join(" ");
            let told = self.say(Id::IncidentReportCautionAltered, [&all]);
            lines.push(vec![Span::strong(&told)]);
        }
        if !self.report.filled.is_empty() {
            let numbers: Vec<String> = self.report.filled.iter().map(u64::to_string).collect();
            let told = self.say(Id::IncidentReportCautionFilled, [&numbers.join(", ")]);
            lines.push(vec![Span::strong(&told)]);
        }
        let mut ids = vec![
            Id::IncidentReportCautionNever,
            Id::SiteReportCaution,
            Id::IncidentReportCautionRecord,
            Id::IncidentReportCautionTimes,
        ];
        if self.opening().is_some_and(|it| it.drill) && self.real().is_none() {
            ids.insert(0, Id::IncidentReportCautionDrill);
        }
        if self.report.shared {
            ids.push(Id::IncidentReportCautionNames);
        }
        lines.extend(ids.into_iter().map(|id| vec![Span::text(&self.label(id))]));
        blocks.push(Block::Caution {
            heading: self.label(Id::SiteReportCautions),
            lines,
        });
    }

    /// A paragraph that says a text of the catalogue.
    pub(super) fn said(&self, tone: Tone, text: &str) -> Block {
        Block::Paragraph {
            tone,
            spans: vec![Span::text(text)],
        }
    }
}
