//! Fills the words to say over the radio, and names what their one touch is about.
//!
//! The touch carries the numbers of the orders that stood on the screen when the finger came down: what came meanwhile was
//! not said.

use super::sight::Sight;
use super::ui::{Tone, Words};
use super::view::View;
use crate::incident::{Act, Report, to_say};
use crate::words::Id;
use slint::SharedString;

/// Before the id of who heard an order that was said again.
const HEARD: &str = "heard ";

/// The words, and on the tile of the people that there are some: the words do not have room everywhere.
pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    let facts = sight.facts();
    let Some(say) = to_say(facts) else {
        return;
    };
    let plan = facts.opened.as_ref().map(|it| &it.plan);
    let channel = plan.and_then(|it| it.radio.as_ref()).map(|it| &it.channel);
    let head = match (&say.again, &say.by, channel) {
        (Some(_), ..) => sight.label(Id::SayAgain),
        (None, Some(by), Some(channel)) => sight.with(Id::SaysOn, [facts.name(by), channel]),
        (None, Some(by), None) => sight.with(Id::SaysOverRadio, [facts.name(by)]),
        (None, None, Some(channel)) => sight.with(Id::SayOn, [channel]),
        (None, None, None) => sight.label(Id::SayOverRadio),
    };
    let more = match say.more {
        0 => SharedString::default(),
        more => sight.with(Id::SayMore, [&more.to_string()]),
    };
    let count = say.orders.len() + say.more;
    let crew = match &say.again {
        Some(id) => sight.with(Id::CrewSayAgain, [facts.name(id)]),
        None if count == 1 => sight.label(Id::CrewSayOne),
        None => sight.with(Id::CrewSay, [&count.to_string()]),
    };
    (view.crew.sub, view.crew.tone) = (crew, Tone::Caution);
    let id = match &say.again {
        Some(who) => format!("{HEARD}{who}"),
        None => {
            let numbers: Vec<String> = say.orders.iter().map(u64::to_string).collect();
            numbers.join(" ")
        }
    };
    let words = say.text(sight.language());
    // Whoever hears it beside the crew must not take it for a rescue.
    let text = match facts.is_drill() {
        true => format!("{} {words}", sight.label(Id::SayDrill)),
        false => words,
    };
    view.words = Words {
        id: id.into(),
        head,
        text: text.into(),
        more,
        answer: sight.label(match say.again {
            Some(_) => Id::HeardKey,
            None => Id::SaidKey,
        }),
        again: say.again.is_some(),
    };
}

/// What the touch beside these words asks for.
pub(super) fn act(id: &str) -> Option<Act> {
    if let Some(who) = id.strip_prefix(HEARD) {
        return Some(Act::Responder(who.to_owned(), Report::Heard));
    }
    let numbers: Result<Vec<u64>, _> = id.split(' ').map(str::parse).collect();
    numbers.ok().map(Act::Said)
}
