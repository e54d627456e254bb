//! Chooses the picture that stands before a prompt. It says the same as the words, for who cannot read them fast enough.

use super::ui::{Icon, Tone};
use crate::incident::{Act, Condition, Facts, Prompt};
use crate::plan::HazardKind;
use crate::words::Id;

/// The picture of a prompt; none where the words say it best.
pub(super) fn of_prompt(prompt: &Prompt, facts: &Facts) -> Icon {
    match prompt.message.id {
        Id::SafeToGoNear | Id::SafeToGoNearAgain | Id::Danger => Icon::Danger,
        Id::HazardTask | Id::HazardTaskBy => match facts.open_hazard().map(|it| it.kind) {
            Some(HazardKind::Electric) => Icon::Electric,
            Some(HazardKind::Water) => Icon::Water,
            _ => Icon::Danger,
        },
        Id::CallBy | Id::CallAlone => Icon::Call,
        Id::WhereHanging | Id::ToLanding | Id::ToLandingGeneric => Icon::Place,
        Id::AskCasualty | Id::AskCasualtyBy => Icon::Talking,
        Id::OthersQuestion | Id::StoppedWhatNow | Id::CloseWorkStopped => Icon::Stop,
        Id::TieBy | Id::Tie => Icon::Rope,
        Id::EntryFirst | Id::GroundFirst | Id::MakeSafeBoth | Id::WeightOff => Icon::Check,
        Id::ChangeTo => Icon::Ways,
        Id::NothingLeft | Id::OutsideLeads | Id::StuckAloft => Icon::Outside,
        Id::BriefTitle | Id::WhoCommands => Icon::Lead,
        Id::CareLayFlat | Id::CareLayFlatBy => Icon::LayFlat,
        Id::CareSafeHere | Id::CareNeverAlone | Id::CareWatch | Id::CareLookAgain => Icon::FirstAid,
        Id::CareBleeding => Icon::Bleeding,
        Id::CareAirway => Icon::Airway,
        Id::CareBreathing => Icon::Breathing,
        Id::CareResuscitate => Icon::Heart,
        Id::CareLoosenWarm => Icon::Warm,
        Id::CareDoctor => Icon::Doctor,
        Id::CloseCounted | Id::CloseWelfare => Icon::People,
        Id::CloseOffRope => Icon::Rope,
        Id::CloseHandedOver | Id::CloseHandedOverOne => Icon::Handover,
        Id::CloseKitWithdrawn => Icon::Withdraw,
        _ => Icon::None,
    }
}

/// The picture of an answer in a list; none where the words say it best.
pub(super) fn of_act(act: &Act) -> Icon {
    match act {
        Act::Report(Condition::Talking) => Icon::Talking,
        Act::Report(Condition::Stuck) => Icon::Stuck,
        Act::Report(Condition::Unwell) => Icon::Unwell,
        Act::Report(Condition::NotAnswering) => Icon::Silent,
        Act::AskOutside => Icon::Outside,
        _ => Icon::None,
    }
}

/// What an answer in a list means.
pub(super) fn tone_of(act: &Act) -> Tone {
    match act {
        Act::Report(Condition::NotAnswering) => Tone::Bad,
        Act::Report(Condition::Unwell | Condition::Stuck) => Tone::Caution,
        _ => Tone::Plain,
    }
}
