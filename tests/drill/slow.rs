//! Measures an incident again, slowly and straight from the lines of its journal, knowing nothing of the program's own types.
//!
//! What it needs to know of the format stands here once more: that makes it a second opinion.

use serde_json::Value;

/// A line, its time on the incident's line, and whether it was taken back.
struct Line {
    value: Value,
    at: i64,
    back: bool,
}

/// What was measured.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Slow {
    pub(crate) end: i64,
    pub(crate) turned_real: Option<i64>,
    /// When it came up first, how long it stood, and whether it was answered.
    pub(crate) prompts: Vec<(i64, i64, bool)>,
    pub(crate) corrections: usize,
    pub(crate) given: usize,
    pub(crate) passed: usize,
    pub(crate) answered: usize,
    /// How long each read-back took, the shortest first.
    pub(crate) read_back: Vec<i64>,
    pub(crate) late_checks: usize,
    pub(crate) lost_checks: usize,
    pub(crate) more_time: usize,
    pub(crate) went_on: usize,
    pub(crate) put_back: usize,
    pub(crate) all_stopped: Option<i64>,
    pub(crate) call_passed: Option<i64>,
    pub(crate) call_made: Option<i64>,
    pub(crate) first_orders: Option<i64>,
    /// Per casualty: fall, first contact, off the harness, at the landing place, handed over.
    pub(crate) casualties: Vec<[Option<i64>; 5]>,
    /// When each surprise was given, by its index.
    pub(crate) surprises: Vec<(u64, i64)>,
}

const STAYS: [&str; 7] = [
    "opened",
    "activated",
    "prompt-shown",
    "clock-marked",
    "resumed",
    "corrected",
    "real-called",
];

const BY_ITSELF: [&str; 10] = [
    "opened",
    "call-ordered",
    "forecast-adopted",
    "clock-marked",
    "came-due",
    "worked-on",
    "task-given",
    "orders-unanswered",
    "prompt-shown",
    "resumed",
];

impl Line {
    fn kind(&self) -> &str {
        self.value["kind"].as_str().expect("a line has a kind")
    }

    fn cause(&self) -> u64 {
        self.value["cause"].as_u64().expect("a line has a cause")
    }

    fn seq(&self) -> u64 {
        self.value["seq"].as_u64().expect("a line has a number")
    }

    fn casualty(&self) -> usize {
        self.value["casualty"].as_u64().expect("a casualty") as usize
    }

    fn body(&self) -> &Value {
        &self.value["body"]
    }
}

fn read(lines: &[String]) -> (Vec<Line>, Option<i64>) {
    let mut all: Vec<Line> = Vec::new();
    let (mut base, mut last) = ((0, 0), 0);
    let mut real = None;
    for text in lines {
        let value: Value = serde_json::from_str(text).expect("a line is JSON");
        let boot = value["boot_ms"].as_i64().expect("a line has its time");
        if value["kind"] == "opened" {
            base = (boot, 0);
        }
        if value["kind"] == "resumed" {
            base = (
                boot,
                value["body"]["at_ms"].as_i64().expect("it says where"),
            );
        }
        last = last.max(base.1 + boot - base.0);
        if value["kind"] == "real-called" {
            real = Some(last);
            break;
        }
        all.push(Line {
            value,
            at: last,
            back: false,
        });
    }
    for index in 0..all.len() {
        if all[index].kind() == "corrected" {
            let cause = all[index].body()["cause"].as_u64();
            for line in &mut all[..index] {
                let taken = Some(line.cause()) == cause && !STAYS.contains(&line.kind());
                line.back |= taken;
            }
        }
    }
    (all, real)
}

/// Measures it.
pub(crate) fn slow(lines: &[String]) -> Slow {
    let (all, turned_real) = read(lines);
    let down = all.iter().find(|it| it.kind() == "stood-down" && !it.back);
    let last = all.last().map_or(0, |it| it.at);
    let end = down.map(|it| it.at).or(turned_real).unwrap_or(last);
    let standing: Vec<&Line> = all.iter().filter(|it| !it.back).collect();
    let many = |kind: &str| standing.iter().filter(|it| it.kind() == kind).count();
    let due = |what: &str| {
        let is = |it: &&&Line| it.kind() == "came-due" && it.body()["what"] == what;
        standing.iter().filter(is).count()
    };
    let first = |kinds: &[&str]| {
        standing
            .iter()
            .find(|it| kinds.contains(&it.kind()))
            .map(|it| it.at)
    };
    let failed = standing.iter().rposition(|it| it.kind() == "call-failed");
    let mut made = standing.iter().enumerate().filter(|(index, it)| {
        it.kind() == "call-confirmed" && failed.is_none_or(|failed| *index > failed)
    });
    let orders = orders(&standing);
    let mut times: Vec<i64> = orders.iter().filter_map(|it| it.2).collect();
    times.sort_unstable();
    let passed = orders.iter().filter(|it| it.0 || it.1).count();
    Slow {
        end,
        turned_real,
        prompts: prompts(&all, end),
        corrections: many("corrected"),
        given: orders.len(),
        passed,
        answered: orders.iter().filter(|it| it.1).count(),
        read_back: times,
        late_checks: due("check-due") + due("care-check"),
        lost_checks: due("check-lost"),
        more_time: many("more-time-taken"),
        went_on: many("went-on"),
        put_back: many("method-put-back"),
        all_stopped: standing
            .iter()
            .rev()
            .find(|it| it.kind() == "others-stopped")
            .map(|it| it.at),
        call_passed: first(&["call-passed"]),
        call_made: made.next_back().map(|(_, it)| it.at),
        first_orders: first(&["order-given", "task-given"]),
        casualties: casualties(&standing),
        surprises: standing
            .iter()
            .filter(|it| it.kind() == "surprise-given")
            .map(|it| (it.body()["index"].as_u64().expect("an index"), it.at))
            .collect(),
    }
}

/// Per order: said, answered, and how long until it was read back.
fn orders(standing: &[&Line]) -> Vec<(bool, bool, Option<i64>)> {
    let is_order = |line: &Line| ["order-given", "task-given"].contains(&line.kind());
    let mut all = Vec::new();
    for (index, order) in standing.iter().enumerate().filter(|(_, it)| is_order(it)) {
        let who = &order.body()["posting"]["responder"];
        let after = &standing[index + 1..];
        // The reports on an order are those until the same person is given another.
        let next = after
            .iter()
            .position(|it| is_order(it) && it.body()["posting"]["responder"] == *who);
        let own = &after[..next.unwrap_or(after.len())];
        let said = after.iter().find(|it| {
            let numbers = it.body()["orders"].as_array();
            it.kind() == "words-said" && numbers.is_some_and(|it| it.contains(&order.seq().into()))
        });
        let ended = own.iter().position(|it| {
            let gone = ["cannot", "lost", "hurt"]
                .iter()
                .any(|r| it.body()["report"] == *r);
            let of_them = it.body()["responder"] == *who;
            of_them && (it.kind() == "order-withdrawn" || it.kind() == "responder-reported" && gone)
        });
        let own = &own[..ended.unwrap_or(own.len())];
        let reports: Vec<&&Line> = own
            .iter()
            .filter(|it| it.kind() == "responder-reported" && it.body()["responder"] == *who)
            .collect();
        let says = |it: &&&Line, what: &[&str]| what.iter().any(|r| it.body()["report"] == *r);
        let answered = reports
            .iter()
            .any(|it| says(it, &["heard", "on-the-way", "there"]));
        let heard = reports.iter().find(|it| says(it, &["heard"]));
        let from = said.map_or(order.at, |it| it.at);
        all.push((
            said.is_some(),
            answered,
            heard.map(|it| (it.at - from).max(0)),
        ));
    }
    all
}

fn casualties(standing: &[&Line]) -> Vec<[Option<i64>; 5]> {
    let mut all: Vec<[Option<i64>; 5]> = Vec::new();
    for line in standing {
        if ["activated", "casualty-added"].contains(&line.kind()) {
            let fell = line.body()["fell_ms"].as_i64().unwrap_or(0);
            all.push([Some(fell), None, None, None, None]);
            continue;
        }
        let Some(own) = all.get_mut(line.casualty() - 1) else {
            continue;
        };
        let at = Some(line.at);
        match line.kind() {
            "fall-time-set" => {
                own[0] = Some(line.at - line.body()["ago_ms"].as_i64().expect("how long ago"));
            }
            "first-contact-made" => own[1] = own[1].or(at),
            "off-harness" => {
                own[1] = own[1].or(at);
                own[2] = own[2].or(at);
            }
            "at-landing-place" => own[3] = own[3].or(at),
            "handed-over" => own[4] = at,
            _ => {}
        }
    }
    all
}

/// A prompt while it is looked at: words, when first, how long so far, the cause that ended it, how that was.
struct Shown {
    words: String,
    since: i64,
    stood: i64,
    ended_by: Option<u64>,
    answered: bool,
    slip: bool,
}

fn prompts(all: &[Line], end: i64) -> Vec<(i64, i64, bool)> {
    let shown: Vec<usize> = (0..all.len())
        .filter(|it| all[*it].kind() == "prompt-shown")
        .collect();
    let words = |index: usize| {
        let line = &all[index];
        format!(
            "{} {} {}",
            line.body()["message"],
            line.body()["args"],
            line.casualty()
        )
    };
    // What one decision took back before it put up its prompt.
    let takes_back = |index: usize| -> Vec<u64> {
        let same = all[..index]
            .iter()
            .filter(|it| it.cause() == all[index].cause());
        let corrections = same.filter(|it| it.kind() == "corrected");
        corrections
            .filter_map(|it| it.body()["cause"].as_u64())
            .collect()
    };
    let mut list: Vec<Shown> = Vec::new();
    for (number, index) in shown.iter().copied().enumerate() {
        let at = all[index].at.min(end);
        let next = shown.get(number + 1).copied();
        let until = next.map_or(end, |next| all[next].at.min(end));
        let message = all[index].body()["message"].as_str().expect("a message");
        if message.starts_with("let-stand") || message.starts_with("inject-") {
            continue;
        }
        let slip = next.is_some_and(|next| !takes_back(next).is_empty());
        let answered = next.is_some_and(|next| {
            let cause = all[next].cause();
            let first = all
                .iter()
                .find(|it| it.cause() == cause)
                .expect("it has a first");
            let by_ladder = first.kind() == "method-started" && first.body()["why"] == "ladder";
            !slip && !by_ladder && !BY_ITSELF.contains(&first.kind())
        });
        let mut one = Shown {
            words: words(index),
            since: at,
            stood: until - at,
            ended_by: next.map(|next| all[next].cause()),
            answered,
            slip,
        };
        let back = takes_back(index);
        let same = list.iter().position(|it| {
            it.words == one.words && it.ended_by.is_some_and(|by| back.contains(&by))
        });
        if let Some(same) = same {
            let before = list.remove(same);
            one.since = before.since;
            one.stood += before.stood;
        }
        list.push(one);
    }
    let kept = list
        .into_iter()
        .filter(|it| !it.slip && (it.stood > 0 || it.since < end));
    let mut kept: Vec<(i64, i64, bool)> =
        kept.map(|it| (it.since, it.stood, it.answered)).collect();
    kept.sort_unstable();
    kept
}
