//! Says the one thing to do now, with its answers, from what is known and the time.
//!
//! The order of the questions below is the order of a rescue; whatever holds people back from danger stands before
//! whatever hurries them. Prompts are message ids with arguments; every prompt has a way forward.

use super::act::Act;
use super::state::{Facts, Handing, Whereabouts};
use super::{approach, brief, care, drilled, working};
use crate::units::Millis;
use crate::words::{Id, Message, clock};

/// An answer on the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What it says.
    pub label: Message,
    /// A smaller line below.
    pub sub: Option<Message>,
    /// What it asks for.
    pub act: Act,
    /// True where it must be held.
    pub held: bool,
}

/// The one thing to do now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Prompt {
    /// What to do.
    pub message: Message,
    /// One line of caution.
    pub caution: Option<Message>,
    /// Further lines.
    pub lines: Vec<Message>,
    /// The big answer.
    pub main: Option<Choice>,
    /// The small answer beside it.
    pub small: Option<Choice>,
    /// The answer that stands apart.
    pub other: Option<Choice>,
    /// A list to choose from, instead of the big answer.
    pub options: Vec<Choice>,
    /// True where its lines are to be read aloud and need the room.
    pub reading: bool,
}

/// Which answer was touched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pick {
    /// The big one.
    Main,
    /// The small one beside it.
    Small,
    /// The one that stands apart.
    Other,
    /// One of the list.
    Option(usize),
}

impl Prompt {
    /// The choice behind a touch, where it is there.
    pub fn choice(&self, pick: Pick) -> Option<&Choice> {
        match pick {
            Pick::Main => self.main.as_ref(),
            Pick::Small => self.small.as_ref(),
            Pick::Other => self.other.as_ref(),
            Pick::Option(index) => self.options.get(index),
        }
    }

    /// Every answer.
    pub fn choices(&self) -> impl Iterator<Item = &Choice> {
        self.main
            .iter()
            .chain(&self.small)
            .chain(&self.other)
            .chain(&self.options)
    }

    pub(super) fn ask(message: Message) -> Prompt {
        Prompt {
            message,
            caution: None,
            lines: Vec::new(),
            main: None,
            small: None,
            other: None,
            options: Vec::new(),
            reading: false,
        }
    }

    pub(super) fn caution(mut self, id: Id) -> Prompt {
        self.caution = Some(Message::of(id));
        self
    }

    pub(super) fn line(mut self, message: Message) -> Prompt {
        self.lines.push(message);
        self
    }

    pub(super) fn cautioned(mut self, caution: Option<Message>) -> Prompt {
        self.caution = caution;
        self
    }

    pub(super) fn main(mut self, choice: Choice) -> Prompt {
        self.main = Some(choice);
        self
    }

    pub(super) fn other(mut self, choice: Choice) -> Prompt {
        self.other = Some(choice);
        self
    }
}

impl Choice {
    pub(super) fn new(id: Id, act: Act) -> Choice {
        Choice {
            label: Message::of(id),
            sub: None,
            act,
            held: false,
        }
    }

    pub(super) fn saying(label: Message, act: Act) -> Choice {
        Choice {
            label,
            sub: None,
            act,
            held: false,
        }
    }

    pub(super) fn held(mut self) -> Choice {
        self.held = true;
        self
    }

    pub(super) fn sub(mut self, sub: Message) -> Choice {
        self.sub = Some(sub);
        self
    }
}

/// The one prompt at this time; none on standby.
pub fn prompt(facts: &Facts, at: Millis) -> Option<Prompt> {
    facts.opened.as_ref()?;
    let casualty = facts.casualty();
    Some(if facts.stood_down.is_some() {
        Prompt::ask(Message::of(Id::Closed)).main(Choice::new(Id::ClosedDone, Act::Leave))
    } else if facts.danger.is_some() {
        approach::danger(facts)
    } else if facts.must_stand() {
        drilled::let_stand(facts)
    } else if let Some(handing) = facts.command.handing {
        match handing {
            Handing::Brief => brief::taking_over(facts, at),
            Handing::Name => brief::naming(facts),
        }
    } else if let Some(answered) = &facts.closing {
        care::closing(facts, answered)
    } else if facts.outside.leads.is_some()
        && casualty.off.is_none()
        && casualty
            .running
            .as_ref()
            .is_none_or(|r| r.securing.is_none())
    {
        brief::outside_leads(facts, at)
    } else if casualty.off.is_some()
        && facts.played.real.is_some()
        && approach::call_is_prompted(facts, at)
    {
        // In the drill nobody was called.
        approach::call(facts)
    } else if casualty.off.is_some() {
        care::after_release(facts, at)
    } else if casualty.scene.safe.is_none() && casualty.scene.not_yet.is_none() {
        approach::safe_question(facts, Id::SafeToGoNear)
    } else if approach::call_is_prompted(facts, at) {
        approach::call(facts)
    } else if casualty.place == Whereabouts::Unknown {
        approach::whereabouts(facts)
    } else {
        working::prompt(facts, at)
    })
}

/// The line below the clock once the target has gone by; never a reason to stop.
pub fn past_target(facts: &Facts, at: Millis) -> Option<Message> {
    let target = facts.policy().target;
    (facts.is_open() && facts.casualty().off.is_none() && facts.hanging(at) > target)
        .then(|| Message::of(Id::PastTarget))
}

/// The mark of the target on the drop line.
pub fn target_mark(facts: &Facts) -> Message {
    Message::with(Id::TargetMark, [&clock(facts.policy().target)])
}
