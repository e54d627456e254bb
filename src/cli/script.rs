//! Reads scripts: what is touched when, and what must be on the screen then. For rehearsals and for the scenarios.
//!
//! One line each: minutes and seconds since activation, then a word and what belongs to it. Nothing is typed on a tablet, so
//! every line is a touch that somebody can make there, or a check that leaves no trace. `README.md` lists the words.

use crate::incident::{
    Act, CareTaker, Closing, Condition, Facts, Note, Pick, Prompt, Report, Stop, Teller, Verdict,
    prompt, to_say,
};
use crate::signal::Tap;
use crate::units::{Millis, Speed};
use crate::words::{Language, clock};

/// One line of a script.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Number of the line in the file.
    pub number: usize,
    /// When, since activation.
    pub at: Millis,
    /// What.
    pub action: Action,
    /// True where it must have no effect.
    pub refused: bool,
}

/// What a line does.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Somebody hangs, at this position if one is named.
    Hang(Option<String>),
    /// Touch an answer of the prompt.
    Touch(Pick),
    /// Touch the answer that says this.
    Choose(String),
    /// Touch something beside the prompt.
    Do(Act),
    /// What is to be said over the radio was said.
    Said,
    /// Choose a language.
    Speak(Language),
    /// Take the last touch back.
    Undo,
    /// Something must be so now.
    Check(Check),
}

/// What must be so.
#[derive(Clone, Debug, PartialEq)]
pub enum Check {
    /// The prompt says this.
    Prompt(String),
    /// The prompt's caution says this.
    Caution(String),
    /// A line under the prompt says this.
    Line(String),
    /// An answer says this.
    Offers(String),
    /// The clock shows this; with `at least` where the second is true.
    Clock(String, bool),
    /// These words are to be said over the radio now; none where it is empty.
    ToSay(String),
    /// This person is on an order.
    Ordered(String),
    /// This person is on none.
    NotOrdered(String),
    /// This method is out, or left for last, for this reason.
    Out(String, String),
    /// This method runs; none does where it is empty.
    Runs(String),
    /// The casualty with this number is worked on.
    WorkedOn(u16),
    /// Nothing may be put past the approach point.
    KeptAway,
}

/// Reads a script; every mistake in it is named with its line.
///
/// # Errors
///
/// One sentence for each line that cannot be followed.
pub fn parse(text: &str) -> Result<Vec<Line>, Vec<String>> {
    let mut lines: Vec<Line> = Vec::new();
    let mut mistakes = Vec::new();
    for (index, raw) in text.lines().enumerate() {
        let number = index + 1;
        let line = raw.split('#').next().unwrap_or_default().trim();
        if line.is_empty() {
            continue;
        }
        let (time, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        let rest = rest.trim();
        let (refused, rest) = match rest.strip_prefix("refused ") {
            Some(rest) => (true, rest.trim()),
            None => (false, rest),
        };
        match (time_of(time), action_of(rest)) {
            (Some(at), Some(action)) => {
                if lines.last().is_some_and(|l| l.at > at) {
                    mistakes.push(format!("line {number}: {time} is earlier than the line before; put the lines in order"));
                }
                lines.push(Line {
                    number,
                    at,
                    action,
                    refused,
                });
            }
            (None, _) => mistakes.push(format!(
                "line {number}: `{time}` is no time; write minutes and seconds such as 1:05"
            )),
            (_, None) => mistakes.push(format!(
                "line {number}: `{rest}` is not something to touch or check; the README lists what is"
            )),
        }
    }
    if !lines
        .first()
        .is_some_and(|l| matches!(l.action, Action::Hang(_)))
    {
        mistakes.push("the first line must be `0:00 hang` or `0:00 hang POSITION`".to_owned());
    }
    if mistakes.is_empty() {
        Ok(lines)
    } else {
        Err(mistakes)
    }
}

fn time_of(text: &str) -> Option<Millis> {
    let (minutes, seconds) = text.split_once(':')?;
    let (minutes, seconds) = (minutes.parse::<u32>().ok()?, seconds.parse::<u32>().ok()?);
    (seconds < 60 && minutes <= 24 * 60)
        .then(|| Millis::from_seconds(i64::from(minutes) * 60 + i64::from(seconds)))
}

fn action_of(text: &str) -> Option<Action> {
    let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let rest = rest.trim();
    let bare = |action: Action| rest.is_empty().then_some(action);
    let named = || (!rest.is_empty()).then(|| rest.to_owned());
    match word {
        "hang" => Some(Action::Hang(named())),
        "answer" => bare(Action::Touch(Pick::Main)),
        "small" => bare(Action::Touch(Pick::Small)),
        "apart" => bare(Action::Touch(Pick::Other)),
        "choose" | "touch" => named().map(Action::Choose),
        "undo" => bare(Action::Undo),
        "said" => bare(Action::Said),
        "speak" => match rest {
            "en" => Some(Action::Speak(Language::English)),
            "es" => Some(Action::Speak(Language::Spanish)),
            _ => None,
        },
        _ => check_of(word, rest)
            .map(Action::Check)
            .or_else(|| act_of(word, rest).map(Action::Do)),
    }
}

fn check_of(word: &str, rest: &str) -> Option<Check> {
    let named = || (!rest.is_empty()).then(|| rest.to_owned());
    match word {
        "expect" => named().map(Check::Prompt),
        "caution" => named().map(Check::Caution),
        "line" => named().map(Check::Line),
        "offers" => named().map(Check::Offers),
        "clock" => match rest.strip_prefix("at least ") {
            Some(time) => Some(Check::Clock(time.to_owned(), true)),
            None => named().map(|time| Check::Clock(time, false)),
        },
        "to-say" => Some(Check::ToSay(rest.to_owned())),
        "ordered" => named().map(Check::Ordered),
        "not-ordered" => named().map(Check::NotOrdered),
        "out" => {
            let (method, why) = rest.split_once(": ")?;
            Some(Check::Out(method.to_owned(), why.to_owned()))
        }
        "runs" => Some(Check::Runs(rest.to_owned())),
        "works-on" => rest.parse().ok().map(Check::WorkedOn),
        "kept-away" => rest.is_empty().then_some(Check::KeptAway),
        _ => None,
    }
}

fn act_of(word: &str, rest: &str) -> Option<Act> {
    let bare = |act: Act| rest.is_empty().then_some(act);
    let named = || (!rest.is_empty()).then(|| rest.to_owned());
    match word {
        "talking" => bare(Act::Report(Condition::Talking)),
        "stuck" => bare(Act::Report(Condition::Stuck)),
        "unwell" => bare(Act::Report(Condition::Unwell)),
        "no-answer" => bare(Act::Report(Condition::NotAnswering)),
        "in-danger" => bare(Act::InDanger(true)),
        "danger-there-over" => bare(Act::InDanger(false)),
        "call-made" => bare(Act::CallMade),
        "call-failed" => bare(Act::CallFailed),
        "call-by-next" => bare(Act::CallByNext),
        "help-in" => time_of(rest).map(|time| Act::HelpIn(time, Teller::Dispatcher)),
        "ask-outside" => bare(Act::AskOutside),
        "outside-leads" => bare(Act::OutsideLeads),
        "we-lead" => bare(Act::CrewLeads),
        "touching" => bare(Act::Contact),
        "off-harness" => bare(Act::OffHarness),
        "still-hanging" => bare(Act::StillHanging),
        "one-more" => bare(Act::AddCasualty),
        "rescuer-down" => named().map(Act::RescuerDown),
        "casualty-is" => Some(Act::NameCasualty(named())),
        "work-on" => rest.parse().ok().map(Act::WorkOn),
        "danger" => bare(Act::Danger),
        "danger-over" => Some(Act::DangerOver(named())),
        "step-done" => bare(Act::StepDone),
        "straight" => named().map(Act::GoStraight),
        "put-back" => named().map(Act::PutBack),
        "stop" => match rest {
            "wind" => Some(Act::Stop(Stop::Wind)),
            line => line
                .parse::<usize>()
                .ok()
                .and_then(|line| line.checked_sub(1))
                .map(|line| Act::Stop(Stop::Line(line))),
        },
        "wind" => crate::units::read::<Speed>(rest)
            .ok()
            .map(|it| Act::Wind(it.value)),
        "blocked" => named().map(Act::BlockWay),
        "open-again" => named().map(Act::OpenWay),
        "kit-gone" => rest.split_once(" at ").map(|(kit, rest)| {
            let (station, by) = match rest.split_once(" by ") {
                Some((station, by)) => (station, Some(by.to_owned())),
                None => (rest, None),
            };
            Act::KitGone {
                kit: kit.to_owned(),
                station: station.to_owned(),
                by,
            }
        }),
        "take-command" => bare(Act::TakeCommand),
        "in-command" => Some(Act::NameCommand(named())),
        "all-stopped" => bare(Act::OthersStopped),
        "refuses-care" => bare(Act::RefuseCare),
        "handed-over" => taker(rest).map(|to| Act::HandOver(1, to)),
        "note" => note(rest).map(Act::Note),
        "place" => Some(Act::ChoosePosition(named())),
        "fell" if rest == "unknown" => Some(Act::SetFall {
            ago: Millis::ZERO,
            at_least: true,
        }),
        "fell" => {
            let (time, at_least) = match rest.strip_prefix("at least ") {
                Some(time) => (time, true),
                None => (rest, false),
            };
            time_of(time).map(|ago| Act::SetFall { ago, at_least })
        }
        "stand-down" => bare(Act::BeginClosing),
        "kit-withdrawn" => bare(Act::Close(Closing::KitWithdrawn)),
        _ => named().and_then(|id| Some(Act::Responder(id, report(word)?))),
    }
}

fn report(word: &str) -> Option<Report> {
    match word {
        "heard" => Some(Report::Heard),
        "on-the-way" => Some(Report::OnTheWay),
        "there" => Some(Report::There),
        "late" => Some(Report::Late),
        "cannot" => Some(Report::Cannot),
        "no-contact" => Some(Report::Lost),
        "hurt" => Some(Report::Hurt),
        "can-again" => Some(Report::CanAgain),
        _ => None,
    }
}

fn taker(word: &str) -> Option<CareTaker> {
    match word {
        "ambulance" => Some(CareTaker::Ambulance),
        "doctor" => Some(CareTaker::Doctor),
        "outside" => Some(CareTaker::FireService),
        "refused" => Some(CareTaker::Refused),
        _ => None,
    }
}

fn note(word: &str) -> Option<Note> {
    match word {
        "straps" => Some(Note::ReliefStraps),
        "legs-raised" => Some(Note::LegsRaised),
        "foothold" => Some(Note::Foothold),
        "bleeding" => Some(Note::Bleeding),
        "head-hurt" => Some(Note::HeadHurt),
        "radio-lost" => Some(Note::RadioLost),
        "way-blocked" => Some(Note::WayBlocked),
        "picture" => Some(Note::Photograph),
        "remember" => Some(Note::Remember),
        _ => None,
    }
}

/// What a line does on a tablet that shows these facts: a touch, or nothing for a check that holds.
///
/// # Errors
///
/// A sentence that says what is there instead.
pub fn touch(action: &Action, facts: &Facts, at: Millis) -> Result<Option<Tap>, String> {
    let language = facts
        .opened
        .as_ref()
        .map_or_else(Language::default, |o| o.language);
    let asked = prompt(facts, at);
    let text = asked
        .as_ref()
        .map(|p| p.message.text(language))
        .unwrap_or_default();
    let shown = facts.shown.as_ref().map_or(0, |s| s.number);
    let answer = |pick| Tap::Answer {
        prompt: shown,
        pick,
    };
    Ok(Some(match action {
        Action::Hang(position) => Tap::Activate {
            position: position.clone(),
        },
        Action::Touch(pick) => answer(*pick),
        Action::Choose(label) => {
            let pick = asked.as_ref().and_then(|p| pick_of(p, label, language));
            answer(pick.ok_or_else(|| format!("no answer says `{label}`; the prompt is `{text}`"))?)
        }
        Action::Do(act) => Tap::Do(act.clone()),
        Action::Speak(language) => Tap::Speak {
            language: *language,
        },
        Action::Said => {
            let words = to_say(facts).ok_or("there is nothing to say")?;
            Tap::Do(Act::Said(words.orders))
        }
        Action::Undo => {
            let undo = facts.undo.as_ref();
            let undo = undo.ok_or("there is nothing to take back")?;
            Tap::Undo { cause: undo.cause }
        }
        Action::Check(it) => {
            check(it, facts, at, asked.as_ref(), language)?;
            return Ok(None);
        }
    }))
}

fn pick_of(prompt: &Prompt, label: &str, language: Language) -> Option<Pick> {
    let says = |choice: &crate::incident::Choice| choice.label.text(language) == label;
    let single = [
        (Pick::Main, &prompt.main),
        (Pick::Small, &prompt.small),
        (Pick::Other, &prompt.other),
    ];
    let single = single
        .into_iter()
        .find(|(_, choice)| choice.as_ref().is_some_and(says));
    single.map(|(pick, _)| pick).or_else(|| {
        let options = prompt.options.iter();
        options.clone().position(says).map(Pick::Option)
    })
}

fn check(
    check: &Check,
    facts: &Facts,
    at: Millis,
    asked: Option<&Prompt>,
    language: Language,
) -> Result<(), String> {
    let is = |found: String, wanted: &str, what: &str| {
        if found == wanted {
            Ok(())
        } else {
            Err(format!("{what} is `{found}` and not `{wanted}`"))
        }
    };
    let text = asked.map(|p| p.message.text(language)).unwrap_or_default();
    match check {
        Check::Prompt(wanted) => is(text, wanted, "the prompt"),
        Check::Caution(wanted) => {
            let caution = asked.and_then(|p| p.caution.as_ref());
            is(
                caution.map(|m| m.text(language)).unwrap_or_default(),
                wanted,
                "the caution",
            )
        }
        Check::Line(wanted) => {
            let lines: Vec<_> = asked
                .map(|p| p.lines.iter().map(|m| m.text(language)).collect())
                .unwrap_or_default();
            match lines.contains(wanted) {
                true => Ok(()),
                false => Err(format!("no line says `{wanted}`; there are {lines:?}")),
            }
        }
        Check::Offers(wanted) => match asked.and_then(|p| pick_of(p, wanted, language)) {
            Some(_) => Ok(()),
            None => {
                let said: Vec<_> = asked
                    .map(|p| p.choices().map(|c| c.label.text(language)).collect())
                    .unwrap_or_default();
                Err(format!("no answer says `{wanted}`; `{text}` has {said:?}"))
            }
        },
        Check::Clock(wanted, at_least) => {
            if facts.at_least() != *at_least {
                return Err(format!("the clock says `at least`: {}", facts.at_least()));
            }
            is(clock(facts.hanging(at)), wanted, "the clock")
        }
        Check::ToSay(wanted) => {
            let words = to_say(facts).map(|it| it.text(language));
            is(words.unwrap_or_default(), wanted, "to be said")
        }
        Check::Ordered(id) | Check::NotOrdered(id) => {
            let ordered = facts.order_of(id).is_some();
            if ordered == matches!(check, Check::Ordered(_)) {
                Ok(())
            } else {
                let all: Vec<_> = facts
                    .orders
                    .iter()
                    .map(|it| it.posting.responder.as_str())
                    .collect();
                Err(format!("on an order are {all:?}"))
            }
        }
        Check::Out(method, wanted) => {
            let known = facts
                .method(method)
                .ok_or(format!("there is no {method}"))?;
            let verdict = facts.case().verdict(known);
            let why = match &verdict {
                Verdict::Open => "open".to_owned(),
                Verdict::Last(why) | Verdict::Out(why) => why.text(language),
            };
            is(why, wanted, "it")
        }
        Check::Runs(wanted) => {
            let runs = facts.running().map(|r| r.method.clone());
            is(runs.unwrap_or_default(), wanted, "what runs")
        }
        Check::WorkedOn(number) => is(
            facts.case().number.to_string(),
            &number.to_string(),
            "the casualty worked on",
        ),
        Check::KeptAway => match facts.may_go_near() {
            false => Ok(()),
            true => Err("people may go near".to_owned()),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mistake_of_a_script_is_named_with_its_line() {
        let mistakes = parse("0:00 hang\n0:99 answer\n0:10 jump\n# fine\n0:05 answer\n")
            .expect_err("it has mistakes");
        assert_eq!(mistakes.len(), 2, "{mistakes:?}");
        assert!(mistakes[0].starts_with("line 2") && mistakes[1].starts_with("line 3"));
        let mistakes = parse("0:10 hang\n0:05 answer\n").expect_err("the order is wrong");
        assert!(mistakes[0].contains("line 2"), "{mistakes:?}");
        assert!(parse("").is_err());
    }

    #[test]
    fn a_script_says_what_is_touched_when() {
        let text = "0:00 hang silo # at once\n1:05 choose Another place\n2:00 fell 3:10\n2:01 refused wind 12 m/s\n";
        let lines = parse(text).expect("it is right");
        assert_eq!(lines[0].action, Action::Hang(Some("silo".to_owned())));
        assert_eq!(
            (lines[1].at, &lines[1].action),
            (Millis(65_000), &Action::Choose("Another place".to_owned()))
        );
        assert_eq!(
            lines[2].action,
            Action::Do(Act::SetFall {
                ago: Millis(190_000),
                at_least: false
            })
        );
        assert_eq!(lines[3].action, Action::Do(Act::Wind(Speed(12_000))));
        assert!(lines[3].refused);
    }
}
