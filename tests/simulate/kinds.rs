//! Lists every variant of everything that can be said, asked for or recorded, so that the simulator knows what it owes.
//!
//! A list is a `match` over the type as well: a variant that is not in it does not compile, and one that no run met fails
//! the tally. So whoever adds a move has to teach the simulated crew to make it.

use groundward::incident::{
    Act, Aftercare, CareTaker, Closing, Condition, Due, Event, Note, Report, Stop, Teller,
};
use groundward::readiness::{Change, Declare};
use groundward::signal::{Effect, Prepare, Tap};

macro_rules! kinds {
    ($name:ident: $type:ident { $($variant:ident)+ }) => {
        pub(super) mod $name {
            use super::$type;

            /// The name of every variant.
            pub(in crate::simulate) const ALL: &[&str] = &[$(concat!(stringify!($name), " ", stringify!($variant))),+];

            /// The name of the variant that this is.
            pub(in crate::simulate) fn of(it: &$type) -> &'static str {
                match it {
                    $($type::$variant { .. } => concat!(stringify!($name), " ", stringify!($variant)),)+
                }
            }
        }
    };
}

kinds!(act: Act {
    SaySafe SayNotYet HazardSafe HazardNotYet CallPassed CallMade CallFailed CallByNext HelpIn AskOutside OutsideLeads
    CrewLeads ChoosePosition SetFall OthersStopped OthersNotYet StepDone TiedOff EntryMet GroundHeld NotWorking Secured
    Change MoreTime GoStraight GoOn PutBack Stop Wind Report InDanger Contact OffHarness StillHanging AtLanding Care
    RefuseCare HandOver Danger DangerOver AddCasualty RescuerDown NameCasualty WorkOn Responder KitGone Said BlockWay
    OpenWay TakeCommand BriefHeard NameCommand Speak Note BeginClosing LeaveClosing Close StandDown Leave
    GiveSurprise LeaveSurprise Stands Real
});

kinds!(report: Report { Heard OnTheWay There Late Cannot Lost Hurt CanAgain });

kinds!(note: Note {
    ReliefStraps LegsRaised Foothold Bleeding HeadHurt RadioLost WayBlocked Photograph Remember
});

kinds!(stop: Stop { Wind Line });

kinds!(taker: CareTaker { Ambulance Doctor FireService Refused });

kinds!(closing: Closing {
    NobodyHanging Counted OffRope HandedOver KitWithdrawn SceneLeft WorkStopped Welfare
});

kinds!(care: Aftercare {
    SafeHere LayFlat Bleeding Airway Breathing Resuscitate LoosenWarm NeverAlone Doctor Watch LookAgain
});

kinds!(condition: Condition { Talking Stuck Unwell NotAnswering });

kinds!(teller: Teller { Dispatcher Coming Guide });

kinds!(due: Due { ChangeNear PastTarget CheckDue CheckLost CareCheck Surprise LetStand });

kinds!(declare: Declare {
    Use Permit Works Watches Wind Gust Light Lightning Holds Count CountAll Radio Battery Heard Visits VisitorLeft Sign
    Allow Changed End
});

kinds!(change: Change { Left KitGone Wind Lightning });

kinds!(tap: Tap {
    Touched Activate Answer Do Undo SwapTheme SwapLouder SwapFlash Speak NextInCommand SwapPresent TestSound ReadLog FindLog
    ReadIncident ApprovePlan ReadPlan Declare WorkStopped AskWhatIf StopWhatIf Prepare BeginDrill
    Afterwards ReadLessons
});

kinds!(prepare: Prepare {
    Manikin Live SecondLine CanStand Watcher Limit Others Place Scenario Player Wind Light Surprise NoSurprise
});

kinds!(effect: Effect {
    Open Append Close Forecast Standings WhatIfs StopWhatIfs Play Silence Louder Drill Keep ReadLog FindLog ReadIncident ReadPlan
    KeepApproval Add Learn ReadScenarios
});

kinds!(event: Event {
    Opened Activated PositionChosen FallTimeSet SafeConfirmed NotSafeYet HazardMadeSafe HazardNotSafeYet CallOrdered
    CallPassed CallConfirmed ForecastAdopted OrderGiven MethodStarted StepDone NotWorkingReported StraightWanted Secured
    FallbackStarted MoreTimeTaken MethodChanged ConditionReported FirstContactMade OffHarness AtLandingPlace
    AftercareAnswered DangerCalled DangerCleared CasualtyAdded CasualtyNamed CasualtyChosen WorkedOn InDangerSaid TiedOff
    EntryConditionMet GroundHeld OthersStopped OthersNotYet WindReported StopCalled WentOn MethodPutBack ResponderReported
    OrderWithdrawn TaskGiven WordsSaid OrdersUnanswered WayBlocked WayOpened KitGone CallFailed HelpExpected OutsideAsked
    OutsideTookOver OutsideLeft CommandTaken BriefHeard CommandNamed LanguageChosen CameDue Noted StuckAloft CareRefused
    HandedOver KitWithdrawn Corrected StandDownBegan StandDownLeft StandDownAnswered StoodDown PromptShown ClockMarked
    Resumed SurpriseGiven SurpriseLeftOut Stands RealCalled TaskSet TaskDone TaskOpen Reviewed Found
    Unknown
});

/// Every kind that a full run has to meet: nobody writes an unknown one, and the journal writes what is said after the end.
pub(super) fn owed() -> impl Iterator<Item = &'static str> {
    let lists = [
        act::ALL,
        report::ALL,
        note::ALL,
        stop::ALL,
        taker::ALL,
        closing::ALL,
        care::ALL,
        condition::ALL,
        teller::ALL,
        due::ALL,
        declare::ALL,
        change::ALL,
        tap::ALL,
        prepare::ALL,
        effect::ALL,
        event::ALL,
    ];
    let all = lists.into_iter().flatten().copied();
    all.filter(|it| {
        ![
            "event Unknown",
            "event TaskSet",
            "event TaskDone",
            "event TaskOpen",
            "event Reviewed",
            "event Found",
        ]
        .contains(it)
    })
}
