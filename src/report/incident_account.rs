//! Writes what is told and measured of an incident into its report: the story, the times, the advice, what was left open.
//!
//! Everything comes from `review::account`; here it only gets its place on the page and the numbers of its records.

use super::document::{Block, Column, Kind, Row, Span, Table, Tone};
use super::incident::Maker;
use crate::review::account::{
    Account, Advice, Advised, Against, Answer, Estimate, Gap, Measure, OpenEnd,
};
use crate::review::{self, Carried, Remarked, remarks, tasks};
use crate::units::Millis;
use crate::words::{Id, clock, date_and_time};

/// The story and the picture's place come first, then what was measured.
pub(super) fn story(maker: &Maker<'_>, account: Option<&Account>, blocks: &mut Vec<Block>) {
    blocks.push(Block::heading(
        "story",
        maker.label(Id::IncidentReportStory),
    ));
    let Some(account) = account else {
        blocks.push(Block::said(&maker.label(Id::IncidentReportNoStory)));
        return;
    };
    blocks.push(Block::quiet(&maker.label(Id::IncidentReportBrackets)));
    for (number, chapter) in account.chapters.iter().enumerate() {
        let anchor = format!("story-{}", number + 1);
        blocks.push(Block::lesser(&anchor, &maker.label(chapter.heading)));
        let mut spans = Vec::new();
        for sentence in &chapter.sentences {
            let text = sentence.text.text(maker.report.language);
            spans.push(Span::text(&text));
            spans.extend(in_brackets(&sentence.about));
            spans.push(Span::text(" "));
        }
        blocks.push(Block::Paragraph {
            tone: Tone::Plain,
            spans,
        });
    }
}

/// What was measured, advised and left open.
pub(super) fn measured(maker: &Maker<'_>, account: Option<&Account>, blocks: &mut Vec<Block>) {
    let Some(account) = account else { return };
    reached(maker, account, blocks);
    estimates(maker, account, blocks);
    advice(maker, account, blocks);
    left_open(maker, account, blocks);
}

/// The numbers of some records, in brackets and with a space before; neighbours are told from one to another.
fn in_brackets(about: &[u64]) -> Vec<Span> {
    let numbers = numbers(about);
    if numbers.is_empty() {
        return numbers;
    }
    let ends = [Span::text("\u{a0}["), Span::text("]")];
    let [open, close] = ends;
    [vec![open], numbers, vec![close]].concat()
}

/// The numbers of some records; neighbours are told from one to another.
pub(super) fn numbers(about: &[u64]) -> Vec<Span> {
    let mut sorted = about.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let mut runs: Vec<(u64, u64)> = Vec::new();
    for number in sorted {
        match runs.last_mut() {
            Some((_, to)) if to.saturating_add(1) == number => *to = number,
            _ => runs.push((number, number)),
        }
    }
    let mut spans = Vec::new();
    for (from, to) in runs {
        if !spans.is_empty() {
            spans.push(Span::text(", "));
        }
        spans.push(Span::Record(from));
        if to > from {
            let between = if to == from.saturating_add(1) {
                ", "
            } else {
                "–"
            };
            spans.push(Span::text(between));
            spans.push(Span::Record(to));
        }
    }
    spans
}

/// The numbers of some records in a cell of their own.
fn numbers_cell(about: &[u64]) -> Vec<Span> {
    let numbers = numbers(about);
    match numbers.is_empty() {
        true => dash(),
        false => numbers,
    }
}

fn dash() -> Vec<Span> {
    vec![Span::text("–")]
}

fn time(time: Option<Millis>) -> Vec<Span> {
    time.map_or_else(dash, |it| vec![Span::text(&clock(it))])
}

/// A difference with its sign.
fn difference(by: Millis) -> String {
    let sign = if by.0 < 0 { "−" } else { "+" };
    format!("{sign}{}", clock(Millis(by.0.saturating_abs())))
}

fn columns(maker: &Maker<'_>, of: &[(Id, Kind)]) -> Vec<Column> {
    let each = of
        .iter()
        .map(|(id, kind)| Column::new(maker.label(*id), *kind));
    each.collect()
}

fn reached(maker: &Maker<'_>, account: &Account, blocks: &mut Vec<Block>) {
    let row = |it: &Measure| Row {
        cells: vec![
            vec![Span::text(&of_casualty(maker, it))],
            vec![Span::text(&since_fall(maker, it))],
            time(it.expected),
            time(it.target),
            it.past_target()
                .map_or_else(dash, |it| vec![Span::strong(&clock(it))]),
            numbers_cell(&it.about),
        ],
        ..Row::default()
    };
    blocks.push(Block::heading("reached", maker.label(Id::OutcomeMarks)));
    blocks.push(Block::Table(Table {
        caption: maker.label(Id::IncidentReportReachedCaption),
        columns: columns(
            maker,
            &[
                (Id::IncidentReportReached, Kind::Head),
                (Id::IncidentReportSince, Kind::Figures),
                (Id::IncidentReportExpected, Kind::Figures),
                (Id::IncidentReportTarget, Kind::Figures),
                (Id::IncidentReportPast, Kind::Figures),
                (Id::IncidentReportRecords, Kind::Words),
            ],
        ),
        rows: account.measures.iter().map(row).collect(),
    }));
}

/// A milestone, and whose where there are several people.
fn of_casualty(maker: &Maker<'_>, measure: &Measure) -> String {
    let name = measure.name().text(maker.report.language);
    match measure.casualty {
        number if number > 0 && maker.facts.casualties.len() > 1 => {
            maker.say(Id::OutcomeOf, [&name, &number.to_string()])
        }
        _ => name,
    }
}

fn since_fall(maker: &Maker<'_>, measure: &Measure) -> String {
    let Some(at) = measure.since_fall else {
        return "–".to_owned();
    };
    let at_least = if measure.at_least { "≥" } else { "" };
    let shown = format!("{at_least}{}", clock(at));
    match measure.doubt {
        None => shown,
        Some(doubt) => {
            let earlier = clock(doubt.earlier);
            match doubt.later {
                Some(later) => {
                    maker.say(Id::IncidentReportDoubt, [&shown, &earlier, &clock(later)])
                }
                None => maker.say(Id::IncidentReportDoubtOpen, [&shown, &earlier]),
            }
        }
    }
}

fn estimates(maker: &Maker<'_>, account: &Account, blocks: &mut Vec<Block>) {
    if account.estimates.is_empty() {
        return;
    }
    let row = |it: &Estimate| Row {
        cells: vec![
            vec![Span::text(&it.name.text(maker.report.language))],
            vec![Span::text(&expected(it))],
            vec![Span::text(&clock(it.actual.time))],
            vec![Span::text(&difference(it.difference()))],
            vec![Span::text(&maker.label(match it.against() {
                Against::Within => Id::IncidentReportWithin,
                Against::Shorter => Id::IncidentReportShorter,
                Against::Longer => Id::IncidentReportLonger,
                Against::Open => Id::IncidentReportBrokenOff,
            }))],
            numbers_cell(&it.about),
        ],
        ..Row::default()
    };
    blocks.push(Block::heading(
        "estimates",
        maker.label(Id::IncidentReportEstimates),
    ));
    blocks.push(Block::Table(Table {
        caption: maker.label(Id::IncidentReportEstimatesCaption),
        columns: columns(
            maker,
            &[
                (Id::IncidentReportSubject, Kind::Head),
                (Id::IncidentReportExpected, Kind::Figures),
                (Id::IncidentReportTook, Kind::Figures),
                (Id::IncidentReportDifference, Kind::Figures),
                (Id::IncidentReportAgainst, Kind::Words),
                (Id::IncidentReportRecords, Kind::Words),
            ],
        ),
        rows: account.estimates.iter().map(row).collect(),
    }));
}

/// The likely time, and the shortest and longest where they are known.
fn expected(estimate: &Estimate) -> String {
    let likely = clock(estimate.likely);
    match (estimate.low, estimate.high) {
        (Some(low), Some(high)) => format!("{likely} ({}–{})", clock(low), clock(high)),
        _ => likely,
    }
}

/// What says something of a decision: a choice that was made, or anything that was not done as advised.
fn is_shown(advice: &Advice) -> bool {
    let chooses = matches!(
        advice.advised,
        Advised::MakeSafe | Advised::Call | Advised::Begin | Advised::Change
    );
    match advice.answer {
        Answer::Followed => chooses,
        Answer::Otherwise | Answer::PutOff | Answer::NotAnswered => true,
        Answer::GaveWay => false,
    }
}

fn advice(maker: &Maker<'_>, account: &Account, blocks: &mut Vec<Block>) {
    let (shown, others): (Vec<&Advice>, Vec<&Advice>) =
        account.advice.iter().partition(|it| is_shown(it));
    if account.advice.is_empty() {
        return;
    }
    blocks.push(Block::heading("advice", maker.label(Id::OutcomeDecisions)));
    if !shown.is_empty() {
        let rows = shown.into_iter().map(|it| advice_row(maker, it));
        blocks.push(Block::Table(Table {
            caption: maker.label(Id::IncidentReportAdviceCaption),
            columns: columns(
                maker,
                &[
                    (Id::IncidentReportAdvised, Kind::Head),
                    (Id::IncidentReportSince, Kind::Figures),
                    (Id::IncidentReportDone, Kind::Words),
                    (Id::IncidentReportAfter, Kind::Figures),
                    (Id::IncidentReportRecords, Kind::Words),
                ],
            ),
            rows: rows.collect(),
        }));
    }
    if !others.is_empty() {
        let count = others.len().to_string();
        let more = maker.say(Id::IncidentReportFollowedMore, [&count]);
        blocks.push(Block::said(&more));
    }
}

fn advice_row(maker: &Maker<'_>, advice: &Advice) -> Row {
    let language = maker.report.language;
    let said = advice.said.text(language);
    let said = match &advice.reason {
        Some(reason) => maker.say(Id::IncidentReportBecause, [&said, &reason.text(language)]),
        None => said,
    };
    let answer = maker.label(match advice.answer {
        Answer::Followed => Id::IncidentReportFollowed,
        Answer::Otherwise => Id::IncidentReportOtherwise,
        Answer::PutOff => Id::IncidentReportPutOff,
        Answer::GaveWay => Id::IncidentReportGaveWay,
        Answer::NotAnswered => Id::IncidentReportNotAnswered,
    });
    let did = match &advice.did {
        Some(did) if advice.answer != Answer::Followed => {
            maker.say(Id::IncidentReportFrom, [&answer, &did.text(language)])
        }
        _ => answer,
    };
    let after = advice.done_at.map(|it| it.saturating_sub(advice.at));
    Row {
        cells: vec![
            vec![Span::text(&said)],
            time(Some(maker.since_first_fall(advice.at))),
            vec![Span::text(&did)],
            time(after),
            numbers_cell(&advice.about),
        ],
        ..Row::default()
    }
}

fn left_open(maker: &Maker<'_>, account: &Account, blocks: &mut Vec<Block>) {
    blocks.push(Block::heading(
        "open",
        maker.label(Id::IncidentReportOpenEnds),
    ));
    let language = maker.report.language;
    let point = |from: Millis, to: Option<Millis>, text: &str, about: &[u64]| {
        let from = clock(maker.since_first_fall(from));
        let to = to.map(|it| clock(maker.since_first_fall(it)));
        let told = match to.filter(|it| *it != from) {
            Some(to) => maker.say(Id::IncidentReportFromTo, [&from, &to, text]),
            None => maker.say(Id::IncidentReportFrom, [&from, text]),
        };
        [vec![Span::text(&told)], in_brackets(about)].concat()
    };
    let open = |it: &OpenEnd| point(it.from, it.to, &it.text.text(language), &it.about);
    let gap = |it: &Gap| point(it.from, Some(it.to), &it.text.text(language), &it.about);
    let points: Vec<Vec<Span>> = account
        .open
        .iter()
        .map(open)
        .chain(account.gaps.iter().map(gap))
        .collect();
    match points.is_empty() {
        true => blocks.push(Block::said(&maker.label(Id::IncidentReportNothingOpen))),
        false => blocks.push(Block::Points(points)),
    }
}

/// What reviewers said and found; nothing where nobody did.
pub(super) fn said_since(maker: &Maker<'_>, blocks: &mut Vec<Block>) {
    let remarks = remarks(maker.report.records);
    if remarks.is_empty() {
        return;
    }
    blocks.push(Block::heading(
        "remarks",
        maker.label(Id::IncidentReportRemarks),
    ));
    let row = |it: &Remarked| {
        let text = match it.answers {
            Some(number) => maker.say(Id::IncidentReportAnswers, [&it.text, &number.to_string()]),
            None => it.text.clone(),
        };
        let nature = it
            .nature
            .map_or(Id::IncidentReportJustRemark, review::nature);
        let by = it.by.as_deref().unwrap_or(maker.facts.name(&it.who));
        Row {
            cells: vec![
                vec![Span::Record(it.number)],
                vec![Span::text(&date_and_time(it.said_ms, it.offset_min))],
                vec![Span::text(&maker.label(nature))],
                vec![Span::text(by)],
                numbers_cell(&it.about),
                vec![Span::text(&text)],
            ],
            ..Row::default()
        }
    };
    blocks.push(Block::Table(Table {
        caption: maker.label(Id::IncidentReportRemarksCaption),
        columns: columns(
            maker,
            &[
                (Id::IncidentReportNumber, Kind::Head),
                (Id::IncidentReportWhenSaid, Kind::Figures),
                (Id::IncidentReportNature, Kind::Words),
                (Id::IncidentReportBy, Kind::Words),
                (Id::IncidentReportRecords, Kind::Words),
                (Id::IncidentReportRemark, Kind::Words),
            ],
        ),
        rows: remarks.iter().map(row).collect(),
    }));
}

/// What is to be done about it; nothing where nothing was set down.
pub(super) fn actions(maker: &Maker<'_>, blocks: &mut Vec<Block>) {
    let tasks = tasks(maker.report.records);
    if tasks.is_empty() {
        return;
    }
    blocks.push(Block::heading(
        "tasks",
        maker.label(Id::IncidentReportTasks),
    ));
    let row = |it: &Carried| {
        let owner = review::owner(&it.task.owner, maker.facts);
        let state = match it.done_ms {
            Some(_) => Id::IncidentReportTaskDone,
            None => Id::IncidentReportTaskOpen,
        };
        Row {
            cells: vec![
                vec![Span::text(&it.task.text.text(maker.report.language))],
                vec![Span::text(owner)],
                vec![Span::text(&it.task.due.to_string())],
                vec![Span::text(&maker.label(state))],
                numbers_cell(&[it.number]),
            ],
            ..Row::default()
        }
    };
    blocks.push(Block::Table(Table {
        caption: maker.label(Id::IncidentReportTasksCaption),
        columns: columns(
            maker,
            &[
                (Id::IncidentReportTask, Kind::Head),
                (Id::IncidentReportOwner, Kind::Words),
                (Id::IncidentReportDue, Kind::Figures),
                (Id::IncidentReportState, Kind::Words),
                (Id::IncidentReportRecords, Kind::Words),
            ],
        ),
        rows: tasks.iter().map(row).collect(),
    }));
}

#[cfg(test)]
mod tests {
    use super::numbers;
    use crate::report::document::plain;

    #[test]
    fn neighbouring_records_are_told_from_one_to_another() {
        assert_eq!(plain(&numbers(&[])), "");
        assert_eq!(plain(&numbers(&[7])), "7");
        assert_eq!(plain(&numbers(&[9, 8, 3, 4, 5, 3])), "3–5, 8, 9");
        assert_eq!(
            plain(&numbers(&[u64::MAX, u64::MAX - 1])),
            format!("{}, {}", u64::MAX - 1, u64::MAX)
        );
    }
}
