//! Says what a rescue plan is: plain values, every reference resolved to an id that exists, and every key with its meaning.
//!
//! Each table is declared once (`source.rs` says how); the reader, the schema and the printed reference all follow from
//! here. Lists keep the order of the file, because a crew reads positions and steps in the order its trainer wrote them.
//! What is not said is `None`: an absent figure is a finding, never a guess.

use chrono::NaiveDate;

use super::source::Group::{
    OutsideRescue as OutsideRescues, Place as Places, Responder as Responders, Role as Roles,
    Worker,
};
use super::source::{self, table, words};
use crate::units::{Grams, Limit, Millimetres, Millis, Newtons, Ratio, Speed, Written};

table! {
    /// A whole rescue plan.
    Plan {
        /// Which site, how it is reached, and which plan this is.
        site: Site = table();
        /// How people speak to each other.
        radio: Option<Radio> = optional_table();
        /// Settings; each has a default.
        policy: Policy = table_of_defaults();
        /// The plan's own first-aid text, which goes before the built-in one.
        first_aid: Option<FirstAid> = optional_table();
        /// Rescuers from outside the site.
        outside_rescues as "outside_rescue": Vec<OutsideRescue> = named();
        /// Named points where people or kit can be.
        places as "place": Vec<Place> = named();
        /// Ways between two places.
        links as "link": Vec<Link> = named();
        /// Drawings of levels, to lie under the sketch.
        drawings as "drawing": Vec<Drawing> = named();
        /// Where kit is kept.
        stations as "station": Vec<Station> = named();
        /// Kit that could be bought or borrowed: what would help most tries each piece at each station. Nobody is sent for it.
        considered as "considered": Vec<KitItem> = named();
        /// People who can be sent.
        responders as "responder": Vec<Responder> = named();
        /// Where somebody works at height.
        positions as "position": Vec<Position> = named();
    }
}

table! {
    /// The site as the emergency services need it, and the header of the plan.
    #[derive(Default)]
    Site {
        /// Name in full.
        name: String = text("North yard");
        /// Revision of the plan, as its author counts it.
        revision: String = text("1");
        /// The day this revision was written.
        date: Option<NaiveDate> = date();
        /// Who approved it on paper, with the office held.
        approved_by: Option<String> = optional_text("Ada Venn, site manager");
        /// The day by which somebody must have read it again.
        review_by: Option<NaiveDate> = date();
        /// Whose law applies, as the author names it; the program defers to it and knows none.
        jurisdiction: Option<String> = optional_text("the land the site is in");
        /// Languages spoken on the site, as BCP 47 tags, the one for the radio first.
        languages: Vec<String> = texts("en");
        /// True where the site, its people and its figures are made up.
        invented: bool = flag();
        /// Street address as the emergency services' maps have it.
        address: Option<String> = optional_text("3 Kiln Road, Pellow");
        /// The gate that they use.
        gate: Option<String> = optional_text("west gate, Kiln Road");
        /// Where the emergency services are met.
        meeting_point: String = text("the main gate");
        /// The place nearest to the meeting point, so that somebody can be sent there.
        meeting_place: Option<String> = optional_reference(Places);
        /// Number to dial for the emergency services.
        emergency_number: String = text("112");
        /// Telephone at which the control room calls back: of the person in command, or of a control room.
        call_back: Option<String> = optional_text("00 555 0100");
        /// The hospital that takes the casualty, and how far it is.
        hospital: Option<String> = optional_text("Pellow Infirmary, 9 km");
        /// Places where a casualty can lie and an ambulance can come to.
        landing_places: Vec<String> = references(Places);
    }
}

table! {
    /// How people speak to each other.
    Radio {
        /// The channel for a rescue.
        channel: String = text("channel 4");
        /// What is used when the radio fails.
        fallback: Option<String> = optional_text("telephone in the control room, then a runner");
        /// Places where the radio does not work.
        dead_spots: Vec<String> = references(Places);
    }
}

table! {
    /// The plan's own first-aid text. People trained in first aid and this text go before the built-in prompts.
    FirstAid {
        /// One thing to do a line, in order.
        lines: Vec<String> = texts("lay the casualty flat");
        /// Who wrote it or where it comes from.
        source: Option<String> = optional_text("works doctor");
    }
}

table! {
    /// Rescuers from outside the site.
    OutsideRescue {
        /// Table key.
        id: String = id();
        /// Name as spoken.
        name: String = text("fire service");
        /// True where they can reach somebody who hangs.
        height_capable: bool = flag();
        /// Reference of the agreement with them.
        agreement: Option<String> = optional_text("letter 14 of 3 March");
        /// The day they last confirmed it.
        confirmed: Option<NaiveDate> = date();
        /// Their own number.
        telephone: Option<String> = optional_text("00 555 0148");
        /// From the call to their arrival at the gate.
        arrival: Option<ThreePoint> = optional_three_point();
    }
}

table! {
    /// Settings with defaults. A default without a source is a judgement: have a rescue trainer read it.
    Policy {
        /// From the fall to off the harness: a mark on the drop line, never a time called safe. Source: Hsiao et al. 2012, Human Factors 54(3):346-357.
        target: Millis = setting("9 min");
        /// From the fall to a responder's touch. Source: ANSI/ASSE Z359.2-2007.
        first_contact: Millis = setting("6 min");
        /// Where being off the harness has lost all of its value for the computation; a position whose bad day is this long is never ready. Source: OSHA SHIB 03-24-2004.
        value_ends: Millis = setting("30 min");
        /// A method below this chance gives way to a later one that is above it.
        try_floor: Ratio = setting("20 %");
        /// After this an unconfirmed emergency call goes to the next free person.
        call_confirm: Millis = setting("60 s");
        /// After this the prompt for the call gives way to the rescue.
        call_gives_way: Millis = setting("10 s");
        /// After this a condition counts as not checked.
        check_every: Millis = setting("60 s");
        /// After this a question answered "not yet" is asked again.
        ask_again: Millis = setting("20 s");
        /// From off the harness to the check that the casualty is as well as it looked. Source: Rauch et al. 2019, Eur. J. Appl. Physiol. 119:1353-1365.
        recheck_after: Millis = setting("5 min");
        /// An AED is at the landing place within this, by the quickest way. Source: OSHA letters 1993-03-30 and 1994-02-09, first aid within 3 to 4 minutes.
        aed_within: Millis = setting("3 min");
        /// From a decision to its order being understood over the radio. Assumed, measure yours.
        order_time: ThreePoint = three_point_setting(["3 s", "6 s", "15 s"]);
        /// An order that nobody answered for this long is said again. A judgement without a source: have a rescue trainer read it.
        order_answer: Millis = setting("30 s");
        /// From the call to an emergency crew leaving. Source: NFPA 1710, 90 % of calls.
        ambulance_turnout: Millis = setting("60 s");
        /// From there to its first unit at the gate. Source: NFPA 1710, 90 % of calls.
        ambulance_first_unit: Millis = setting("240 s");
        /// From there to advanced life support. Source: NFPA 1710, 90 % of calls.
        ambulance_life_support: Millis = setting("480 s");
        /// Walking on the level. Source: IMO MSC.1/Circ.1238, tables 1.1 and 1.3.
        walk_speed: Speed = setting("1.2 m/s");
        /// Walking on the level, for a cautious estimate. Source: TCRP-NCHRP 2005, 15th percentile above 60 years.
        slow_walk_speed: Speed = setting("0.92 m/s");
        /// Up stairs, along the slope. Source: IMO MSC.1/Circ.1238.
        stairs_up_speed: Speed = setting("0.8 m/s");
        /// Down stairs, along the slope. Source: IMO MSC.1/Circ.1238.
        stairs_down_speed: Speed = setting("1 m/s");
        /// Up a fixed ladder. Assumed, measure yours.
        ladder_up_speed: Speed = setting("0.2 m/s");
        /// Down a fixed ladder. Assumed, measure yours.
        ladder_down_speed: Speed = setting("0.25 m/s");
        /// Up a scaffold stair. Assumed, measure yours.
        scaffold_up_speed: Speed = setting("0.5 m/s");
        /// Down a scaffold stair. Assumed, measure yours.
        scaffold_down_speed: Speed = setting("0.7 m/s");
        /// In a hoist or lift. Assumed, measure yours.
        hoist_speed: Speed = setting("0.5 m/s");
        /// Until the hoist has come. Assumed, measure yours.
        hoist_wait: Millis = setting("30 s");
        /// In a vehicle on the site. Assumed, measure yours.
        vehicle_speed: Speed = setting("3 m/s");
        /// Until the vehicle moves. Assumed, measure yours.
        vehicle_wait: Millis = setting("20 s");
        /// A climb in one go after which a rescuer's grip is a quarter weaker. Source: Stewart and Mitchell 2018.
        tiring_climb: Millimetres = setting("80 m");
        /// Least strength of a fall-arrest anchorage for each person attached. Source: 29 CFR 1926.502(d)(15).
        anchor_strength: Limit<Newtons> = limit(&["5000 lbf", "22.2 kN"]);
        /// Least safety factor of an engineered anchorage. Source: 29 CFR 1926.502(d)(15).
        engineered_factor: Ratio = setting("2 x");
        /// Highest arresting force on the body. Source: 29 CFR 1926.502(d)(16).
        arrest_force: Limit<Newtons> = limit(&["1800 lbf", "8 kN"]);
        /// Longest free fall. Source: 29 CFR 1926.502(d)(16).
        free_fall: Limit<Millimetres> = limit(&["6 ft", "1.8 m"]);
        /// Longest deceleration. Source: 29 CFR 1926.502(d)(16).
        deceleration: Limit<Millimetres> = limit(&["3.5 ft", "1.07 m"]);
        /// Heaviest person with tools, unless the kit is rated for more. Source: test criteria of 29 CFR 1926.502 and 1910.140.
        person_mass: Limit<Grams> = limit(&["310 lb", "140 kg"]);
        /// Least strength of a connector. Source: 29 CFR 1926.502(d)(4)-(12).
        connector_strength: Limit<Newtons> = limit(&["5000 lbf", "22.2 kN"]);
        /// Least strength of a self-retracting line that limits the free fall to 2 ft. Source: 29 CFR 1926.502(d)(12).
        short_fall_line_strength: Limit<Newtons> = limit(&["3000 lbf"]);
        /// How far the harness ring slides up in an arrest. Source: OSHA Technical Manual, section V chapter 4.
        ring_shift: Millimetres = setting("1 ft");
        /// Height of the harness ring above the feet. Source: OSHA Technical Manual, section V chapter 4.
        ring_height: Millimetres = setting("5 ft");
        /// Margin below the feet. Source: OSHA Technical Manual, section V chapter 4; sources differ.
        clearance_margin: Millimetres = setting("3 ft");
        /// Least strength of rescue rigging as a multiple of the computed load, where the plan gives no rescue rating.
        rescue_factor: Ratio = setting("10 x");
        /// Highest descent on a rope. Source: 29 CFR 1910.27(b)(2)(i).
        rope_descent: Limit<Millimetres> = limit(&["300 ft", "91 m"]);
        /// A vertical entry deeper than this needs mechanical retrieval. Source: 29 CFR 1910.146(k)(3)(ii).
        entry_depth: Limit<Millimetres> = limit(&["5 ft"]);
        /// Slowest descent of a descender. Source: EN 341, from memory.
        descent_slowest: Speed = setting("0.5 m/s");
        /// Fastest descent of a descender. Source: EN 341, from memory.
        descent_fastest: Speed = setting("2 m/s");
        /// Efficiency of a pulley. Source: rigging training notes, 0.75 to 0.90.
        pulley_efficiency: Ratio = setting("90 %");
        /// Efficiency of a carabiner used as a pulley. Source: rigging training notes.
        carabiner_efficiency: Ratio = setting("50 %");
        /// Highest pull that is asked of each person who hauls. A judgement without a source: have a rescue trainer read it.
        haul_pull: Newtons = setting("400 N");
        /// Working length of a portable ladder for each part its foot stands out. Source: 29 CFR 1926.1053(b)(5)(i), from memory.
        ladder_slope: Ratio = setting("4 x");
        /// How far a portable ladder stands above its landing. Source: 29 CFR 1926.1053(b)(1), from memory.
        ladder_above_landing: Millimetres = setting("3 ft");
        /// A position not drilled for this long is due.
        drill_every: Millis = setting("180 d");
        /// Times from fewer drills are marked as assumed.
        drills_enough: u32 = count(5);
        /// Chance of a method whose plan does not say one. Assumed, measure yours.
        assumed_success: Ratio = setting("60 %");
        /// From a fall to the touch that starts the clock, for looking ahead. Assumed, measure yours.
        alarm_time: Millis = setting("30 s");
        /// How long a signed shift holds.
        shift_length: Millis = setting("12 h");
        /// How far a crew's pace spreads: the quickest is this much quicker than the likely one, the slowest twice as much slower. Assumed, measure yours.
        crew_spread: Ratio = setting("20 %");
        /// How much longer everything takes in the dark. Assumed, measure yours.
        dark_factor: Ratio = setting("1.3 x");
        /// Longest hang of a live person in a drill.
        drill_hang: Millis = setting("3 min");
        /// An agreement with outside rescuers is confirmed again after this.
        agreement_every: Millis = setting("365 d");
        /// How long before a date somebody is reminded of it.
        warn_before: Millis = setting("30 d");
    }
}

table! {
    /// A named point where people or kit can be.
    Place {
        /// Table key.
        id: String = id();
        /// Name as spoken.
        name: String = text("the yard");
        /// Level as spoken, e.g. `5`.
        level: String = text("0");
        /// East and north of a corner of the site, for the sketch.
        at: Option<[Millimetres; 2]> = point();
    }
}

table! {
    /// A drawing of a level of the site, to lie under the sketch of that level.
    Drawing {
        /// Table key.
        id: String = id();
        /// The level it shows, as its places have it, e.g. `5`.
        level: String = text("0");
        /// A PNG file in the folder of the plan, north up.
        file: String = text("level-0.png");
        /// Where its lower left corner is, east and north of the same corner of the site as the places.
        south_west: Option<[Millimetres; 2]> = point();
        /// Where its upper right corner is.
        north_east: Option<[Millimetres; 2]> = point();
    }
}

table! {
    /// A way between two places, usable in both directions.
    Link {
        /// Table key.
        id: String = id();
        /// Place at the lower or nearer end.
        from: String = reference(Places, "yard");
        /// Place at the other end.
        to: String = reference(Places, "roof");
        /// What kind of way it is.
        kind: LinkKind = word();
        /// Distance travelled along the way.
        length: Millimetres = quantity("12 m");
        /// Height gained from `from` to `to`; negative where it goes down.
        rise: Millimetres = signed("6 m");
        /// Measured time, which goes before the computed one.
        time: Option<ThreePoint> = optional_three_point();
        /// True where a litter does not pass.
        no_litter: bool = flag();
        /// Why nobody can pass at present; leave it out where the way is open.
        closed: Option<String> = optional_text("stair 2 is being painted");
    }
}

words! {
    /// Kinds of ways.
    LinkKind {
        /// Level or sloping ground.
        Walk = "walk";
        /// Stairs.
        Stairs = "stairs";
        /// A fixed ladder.
        FixedLadder = "fixed-ladder";
        /// The stair tower of a scaffold.
        ScaffoldStair = "scaffold-stair";
        /// A hoist or lift for persons.
        Hoist = "hoist";
        /// A vehicle, or a boat.
        Vehicle = "vehicle";
    }
}

table! {
    /// Where kit is kept.
    Station {
        /// Table key.
        id: String = id();
        /// Name as spoken, e.g. `station C`.
        name: String = text("station A");
        /// Where it is.
        place: String = reference(Places, "yard");
        /// How it is opened, where it is locked.
        locked: Option<String> = optional_text("key in the control room");
        /// What is kept here.
        kit: Vec<KitItem> = named();
    }
}

table! {
    /// Something kept at a station.
    KitItem {
        /// Table key, unique within the station.
        id: String = id();
        /// Name as spoken, e.g. `ladder E-2`.
        name: String = text("ladder 2");
        /// Kind that roles ask for, e.g. `ladder`. `AED` and `first-aid kit` are kinds that the plan is checked for.
        kind: String = text("ladder");
        /// How many of it.
        count: u32 = count(1);
        /// Number on the thing itself.
        identifier: Option<String> = optional_text("E-2");
        /// What it weighs.
        mass: Option<Grams> = optional_quantity("14 kg");
        /// Length of a rope, line or ladder.
        length: Option<Millimetres> = optional_quantity("8 m");
        /// Height that a lift reaches.
        reach: Option<Millimetres> = optional_quantity("26 m");
        /// Distance sideways that a lift reaches at that height.
        outreach: Option<Millimetres> = optional_quantity("11 m");
        /// Heaviest load of persons that it is rated for.
        rated_mass: Option<Written<Grams>> = written("200 kg");
        /// Persons that it is rated for.
        persons: Option<u32> = optional_count();
        /// Strength that it is rated for.
        strength: Option<Written<Newtons>> = written("22 kN");
        /// Rating for a rescue load, where the maker gives one.
        rescue_strength: Option<Written<Newtons>> = written("15 kN");
        /// Energy class of a descender.
        descent_class: Option<DescentClass> = optional_word();
        /// Ideal mechanical advantage of a haul system.
        haul: Option<Ratio> = optional_quantity("3 x");
        /// Efficiency of its pulleys, where the maker gives it.
        pulley_efficiency: Option<Ratio> = optional_quantity("90 %");
        /// Highest wind that it may be used in.
        wind_max: Option<Written<Speed>> = written("12.5 m/s");
        /// True for a connector that locks by itself.
        self_locking: bool = flag();
        /// The day of its last inspection.
        inspected: Option<NaiveDate> = date();
        /// The day by which it must be inspected again.
        inspection_due: Option<NaiveDate> = date();
        /// Why it must not be used; leave it out where it may be.
        out_of_service: Option<String> = optional_text("rope cut, sent away");
    }
}

words! {
    /// Descent energy classes of EN 341.
    DescentClass {
        /// 7,500,000 J.
        A = "A";
        /// 1,500,000 J.
        B = "B";
        /// 500,000 J.
        C = "C";
        /// One descent.
        D = "D";
    }
}

table! {
    /// Somebody who can be sent.
    #[derive(Default)]
    Responder {
        /// Table key.
        id: String = id();
        /// Name as spoken.
        name: String = text("Rua");
        /// Where this person usually is.
        place: String = reference(Places, "yard");
        /// Who employs this person.
        employer: Option<String> = optional_text("Quillbank");
        /// Languages this person speaks, as BCP 47 tags.
        languages: Vec<String> = texts("en");
        /// Weight with tools.
        mass: Option<Grams> = optional_quantity("84 kg");
        /// Qualifications held, each with the day it ends.
        qualifications: Vec<Holding> = holdings();
        /// True where this person may work at height with nobody else there.
        may_work_alone: bool = flag();
        /// True for a competent person, who may approve the plan, inspect kit and lift a stop-work.
        competent: bool = flag();
    }
}

table! {
    /// A qualification and the day it ends. A text alone is one whose end the plan does not say.
    Holding {
        /// The qualification, as roles name it.
        name: String = text("rope rescue");
        /// The last day it holds.
        until: Option<NaiveDate> = date();
    }
}

table! {
    /// Where somebody works at height.
    Position {
        /// Table key.
        id: String = id();
        /// Name as spoken.
        name: String = text("North roof, hatch");
        /// Where it is.
        place: String = reference(Places, "hatch");
        /// The place beyond which nobody goes until it is safe.
        approach: String = reference(Places, "roof");
        /// The place where the casualty is brought to.
        landing: String = reference(Places, "yard");
        /// Height of a hanging worker's feet above the ground.
        feet_above_ground: Option<Written<Millimetres>> = written("8 m");
        /// One line on what is below, as spoken.
        below: Option<String> = optional_text("Concrete yard below: keep it clear");
        /// What a casualty would be lowered onto.
        ground: Option<Ground> = optional_word();
        /// How lowering onto that is made safe.
        ground_control: Option<String> = optional_text("safety boat stands by");
        /// Responders who work here and may be the casualty.
        workers: Vec<String> = references(Worker);
        /// How many people work here at once.
        people: Option<u32> = optional_count();
        /// Weight of the heaviest of them with tools.
        heaviest: Option<Written<Grams>> = written("120 kg");
        /// Who can see or hear those who work here.
        watched_by: Vec<String> = references(Responders);
        /// How a fall is noticed where nobody watches.
        noticed_by: Option<String> = optional_text("fall alarm to the control room");
        /// How the place of work moves, and what that changes; leave it out where it stays.
        moves: Option<String> = optional_text("9 m downriver every shift: check reach and anchorage anew");
        /// The outside rescue that this position relies on; leave it out where the crew can do it alone.
        relies_on: Option<String> = optional_reference(OutsideRescues);
        /// The day of the last drill here.
        last_drill: Option<NaiveDate> = date();
        /// What the worker is tied to.
        anchorage: Option<Anchorage> = optional_table();
        /// What stops a fall.
        arrest: Option<Arrest> = optional_table();
        /// The rules of a confined space, where it is one.
        confined_space: Option<ConfinedSpace> = optional_table();
        /// What can hurt a rescuer here.
        hazards as "hazard": Vec<Hazard> = named();
        /// Concrete ways to do the rungs here, in the ladder's order.
        methods as "method": Vec<Method> = named();
    }
}

words! {
    /// What a casualty would be lowered onto.
    Ground {
        /// Ground that one can stand on.
        Firm = "firm";
        /// Water.
        Water = "water";
        /// Plant that can start.
        LivePlant = "live-plant";
        /// A roof or cover that one can fall through.
        FragileRoof = "fragile-roof";
        /// Where the public passes.
        Public = "public";
    }
}

table! {
    /// What the worker is tied to.
    Anchorage {
        /// Name as spoken.
        name: String = text("roof anchor 3");
        /// Strength that it is rated for.
        strength: Option<Written<Newtons>> = written("5000 lbf");
        /// People it is meant for.
        persons: u32 = count(1);
        /// Safety factor, where a qualified person designed it instead.
        engineered: Option<Ratio> = optional_quantity("2 x");
        /// Rating for a rescue load, where somebody gives one.
        rescue_strength: Option<Written<Newtons>> = written("15 kN");
        /// True where it is rated to hold on after it has arrested a fall.
        holds_on: bool = flag();
    }
}

table! {
    /// What stops a fall, and how far one falls.
    Arrest {
        /// What it is.
        kind: ArrestKind = word();
        /// Length of the lanyard or line.
        length: Option<Written<Millimetres>> = written("6 ft");
        /// Height of the anchorage above the harness ring; negative where it is below.
        anchor_above_ring: Option<Millimetres> = optional_signed("0 ft");
        /// Free fall before anything brakes, where the maker gives it; else it follows from the two above.
        free_fall: Option<Written<Millimetres>> = written("6 ft");
        /// How far it brakes.
        deceleration: Option<Written<Millimetres>> = written("3.5 ft");
        /// Strength of the line and its connectors.
        strength: Option<Written<Newtons>> = written("22.2 kN");
        /// Highest force on the body.
        force: Option<Written<Newtons>> = written("6 kN");
        /// Distance sideways from below the anchorage, which makes a swing.
        offset: Option<Millimetres> = optional_quantity("1 m");
        /// Free height below the harness ring of a standing worker.
        clearance: Option<Written<Millimetres>> = written("18.5 ft");
    }
}

words! {
    /// Kinds of fall arrest.
    ArrestKind {
        /// A lanyard with an absorber.
        Lanyard = "lanyard";
        /// A line that pays out and locks by itself.
        SelfRetracting = "self-retracting";
        /// A grab that runs along a vertical line.
        VerticalLine = "vertical-line";
        /// A lanyard that runs along a horizontal line.
        HorizontalLine = "horizontal-line";
    }
}

table! {
    /// The rules of a confined space.
    ConfinedSpace {
        /// True where rescuers may go in once every condition is met; otherwise only without entry.
        entry_allowed: bool = flag();
        /// What must be confirmed before anybody goes in, one thing a line.
        conditions: Vec<String> = texts("air tested at three heights");
        /// How somebody is brought out without anybody going in.
        retrieval: Option<String> = optional_text("tripod winch over the hatch");
        /// How deep it goes.
        depth: Option<Written<Millimetres>> = written("18 m");
        /// Qualification of the attendant outside.
        attendant: Option<String> = optional_text("entry attendant");
    }
}

table! {
    /// Something that can hurt a rescuer, and how it is made safe.
    Hazard {
        /// Table key.
        id: String = id();
        /// Name as spoken.
        name: String = text("fan");
        /// What kind of harm.
        kind: HazardKind = word();
        /// What makes it safe, e.g. `lock off the dust fan`.
        task: String = text("lock off the fan");
        /// The repeated finished action, e.g. `Fan is locked off`.
        done: String = text("Fan is locked off");
        /// Who does it; nobody named means the person in command asks for it.
        by: Option<String> = optional_reference(Responders);
        /// How one knows that it is safe, e.g. `start button tried, nothing moves`.
        proof: Option<String> = optional_text("start button tried, nothing moves");
    }
}

words! {
    /// Kinds of hazards.
    HazardKind {
        /// Electric supply: nobody touches anything until it is confirmed off.
        Electric = "electric";
        /// Plant that moves.
        MovingPlant = "moving-plant";
        /// Air that cannot be breathed, or a confined space.
        Air = "air";
        /// Dust or gas that can explode.
        Explosive = "explosive";
        /// Water below.
        Water = "water";
        /// Vehicles, trains or vessels.
        Traffic = "traffic";
        /// Anything else.
        Other = "other";
    }
}

words! {
    /// The four rungs of the escalation ladder, in their order.
    Rung {
        /// The casualty gets out alone.
        SelfRescue = "self-rescue";
        /// The casualty gets out with something brought or lowered.
        AssistedSelfRescue = "assisted-self-rescue";
        /// A machine or a haul or lowering system brings the casualty down without a rescuer on the line.
        MechanicallyAided = "mechanically-aided";
        /// A rescuer goes to the casualty and brings them down.
        PickOff = "pick-off";
    }
}

words! {
    /// What the casualty must be able to do for a method.
    Need {
        /// Answer and follow a spoken order.
        Answering = "answering";
        /// Climb.
        Climbing = "climbing";
        /// Hold on.
        HoldingOn = "holding-on";
        /// Clip or unclip alone.
        Clipping = "clipping";
    }
}

table! {
    /// A concrete way to do a rung at a position.
    Method {
        /// Table key, unique within the position.
        id: String = id();
        /// Name as spoken, e.g. `boom lift`.
        name: String = text("boom lift");
        /// Which rung it is.
        rung: Rung = word();
        /// Time after its start by which to decide to change, for where none can be computed. Leave it out: it is computed from steps, ways, people and chances.
        change_after: Option<Millis> = optional_quantity("3 min");
        /// What it asks of the casualty.
        needs: Vec<Need> = words();
        /// True where the casualty is lowered onto what is below.
        lowers: bool = flag();
        /// The place where this method brings the casualty to, where it is another one than the position's.
        landing: Option<String> = optional_reference(Places);
        /// Highest wind that it may be tried in.
        wind_max: Option<Written<Speed>> = written("12 m/s");
        /// What stops it at once, one thing a line.
        stop_if: Vec<String> = texts("the lift alarm sounds");
        /// The role that stays in control of the exposed person's line or lift.
        control: Option<String> = optional_reference(Roles);
        /// How a rescuer who hangs would be rescued, with other kit.
        rescuer_rescue: Option<String> = optional_text("haul system from station C");
        /// Chance that it works when everything it needs is there.
        success: Option<Ratio> = optional_quantity("90 %");
        /// What that chance and the times rest on.
        evidence: Option<String> = optional_text("6 drills, 2026");
        /// Number of drills that the times come from.
        drills: Option<u32> = optional_count();
        /// Who it takes.
        roles as "role": Vec<Role> = named();
        /// What is done, in order.
        steps as "step": Vec<Step> = listed();
    }
}

table! {
    /// What one responder does in a method.
    Role {
        /// Table key, unique within the method.
        id: String = id();
        /// Qualification it needs.
        qualification: Option<String> = optional_text("rope rescue");
        /// Kind of kit it brings.
        kit: Option<String> = optional_text("ladder");
        /// Where it stands.
        place: String = reference(Places, "roof");
        /// What an exposed person in this role is tied to, other than what arrested the fall.
        anchorage: Option<String> = optional_text("roof anchor 4");
        /// Strength of that anchorage.
        anchorage_strength: Option<Written<Newtons>> = written("5000 lbf");
        /// True where it goes into a confined space.
        enters: bool = flag();
    }
}

table! {
    /// One thing done.
    Step {
        /// The role of who does it; nobody named means the person in command sees to it.
        role as "who": Option<String> = optional_reference(Roles);
        /// What is done, as it is said after the name: verb, thing, place.
        say: String = text("bring the ladder to the hatch");
        /// The repeated finished action on the answer, e.g. `Ladder is there`.
        done: String = text("Ladder is there");
        /// One line of caution below the prompt.
        caution: Option<String> = optional_text("Ties off first, partner checks.");
        /// How long it takes: shortest, likeliest, longest.
        time: ThreePoint = three_point();
        /// When it shows that it will not work.
        fails_after: Option<Millis> = optional_quantity("60 s");
        /// True where it takes somebody past the approach point.
        near: bool = flag();
        /// True while its holder is over an edge, on rope, on a ladder or in a basket.
        exposed: bool = flag();
        /// True from the first connection to the casualty until the weight is on a stable surface.
        committed: bool = flag();
        /// What its end means, if anything.
        milestone: Option<Milestone> = optional_word();
        /// What is tried when it fails, before the next rung.
        fallback: Vec<Fallback> = listed();
    }
}

table! {
    /// A way to get a failing step done after all.
    Fallback {
        /// The role of who does it; the step's own where none is named.
        role as "who": Option<String> = optional_reference(Roles);
        /// What is done.
        say: String = text("use the hand pump");
        /// The repeated finished action.
        done: String = text("Basket is down");
        /// How long it takes: shortest, likeliest, longest.
        time: Option<ThreePoint> = optional_three_point();
    }
}

words! {
    /// What the end of a step means.
    Milestone {
        /// A responder can touch the casualty.
        FirstContact = "first-contact";
        /// The weight no longer hangs, confirmed by somebody in contact.
        OffHarness = "off-harness";
        /// The casualty is at the landing place.
        Landing = "landing";
    }
}

/// Shortest, likeliest and longest time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ThreePoint {
    /// When all goes well.
    pub short: Millis,
    /// Likeliest.
    pub likely: Millis,
    /// On a bad day.
    pub long: Millis,
}

impl Drawing {
    /// True where its file is a PNG beside the plan and nowhere else.
    pub fn is_beside(&self) -> bool {
        let ends = self.file.to_ascii_lowercase().ends_with(".png");
        ends && !self.file.contains(['/', '\\', ':'])
    }
}

impl Plan {
    /// The position with this id.
    pub fn position(&self, id: &str) -> Option<&Position> {
        self.positions.iter().find(|p| p.id == id)
    }

    /// The place with this id.
    pub fn place(&self, id: &str) -> Option<&Place> {
        self.places.iter().find(|p| p.id == id)
    }

    /// The responder with this id.
    pub fn responder(&self, id: &str) -> Option<&Responder> {
        self.responders.iter().find(|r| r.id == id)
    }

    /// The station with this id.
    pub fn station(&self, id: &str) -> Option<&Station> {
        self.stations.iter().find(|s| s.id == id)
    }

    /// The outside rescue with this id.
    pub fn outside_rescue(&self, id: &str) -> Option<&OutsideRescue> {
        self.outside_rescues.iter().find(|o| o.id == id)
    }
}

impl Responder {
    /// True where this person has the qualification, whether or not it has ended.
    pub fn holds(&self, qualification: &str) -> bool {
        self.qualifications
            .iter()
            .any(|it| it.name == qualification)
    }

    /// True where this person is trained in first aid, by the name of a qualification.
    pub fn gives_first_aid(&self) -> bool {
        self.qualifications
            .iter()
            .any(|it| it.name.to_lowercase().contains("first aid"))
    }
}

impl KitItem {
    /// True where it carries people and nobody says how much it holds.
    pub fn lacks_rating(&self) -> bool {
        let rated =
            self.rated_mass.is_some() || self.strength.is_some() || self.rescue_strength.is_some();
        self.carries() && !rated
    }

    /// True where people hang from it, stand on it or are moved by it.
    pub fn carries(&self) -> bool {
        self.length.is_some()
            || self.reach.is_some()
            || self.descent_class.is_some()
            || self.haul.is_some()
            || self.kind == KitItem::CONNECTOR
    }

    /// The kind of an AED.
    pub const AED: &str = "AED";
    /// The kind of a first-aid kit.
    pub const FIRST_AID: &str = "first-aid kit";
    /// The kind of connectors.
    pub const CONNECTOR: &str = "connector";

    /// True where it may be used.
    pub fn in_service(&self) -> bool {
        self.out_of_service.is_none()
    }
}

impl Position {
    /// The method with this id.
    pub fn method(&self, id: &str) -> Option<&Method> {
        self.methods.iter().find(|m| m.id == id)
    }
}

impl Method {
    /// The likely times of its steps up to and including off the harness, one after the other.
    pub fn likely_work(&self) -> Millis {
        let release = self
            .steps
            .iter()
            .position(|step| step.milestone == Some(Milestone::OffHarness));
        let steps = &self.steps[..release.map_or(self.steps.len(), |release| release + 1)];
        steps.iter().fold(Millis::ZERO, |sum, step| {
            sum.saturating_add(step.time.likely)
        })
    }

    /// From its start to when to change, where nothing was computed: what the plan says, else as long as it likely takes.
    pub fn planned_change(&self) -> Millis {
        self.change_after.unwrap_or_else(|| self.likely_work())
    }

    /// The likely times of its steps up to and including the one that ends in this, where one does.
    pub fn likely_until(&self, milestone: Milestone) -> Option<Millis> {
        let last = self
            .steps
            .iter()
            .position(|step| step.milestone == Some(milestone))?;
        let steps = self.steps[..=last].iter();
        Some(steps.fold(Millis::ZERO, |sum, step| {
            sum.saturating_add(step.time.likely)
        }))
    }

    /// The role with this id.
    pub fn role(&self, id: &str) -> Option<&Role> {
        self.roles.iter().find(|it| it.id == id)
    }

    /// True where a role goes past the approach point in some step or fallback of it.
    pub fn goes_near(&self, role: &str) -> bool {
        let does = |step: &&Step| {
            let own = step.role.as_deref() == Some(role);
            own || step
                .fallback
                .iter()
                .any(|it| it.role.as_deref() == Some(role))
        };
        let mut steps = self.steps.iter().filter(does);
        steps.any(|step| step.near || step.exposed || step.committed)
    }

    /// True where somebody in it goes into a confined space.
    pub fn enters(&self) -> bool {
        self.roles.iter().any(|role| role.enters)
    }

    /// True where somebody in it is over an edge, on rope, on a ladder or in a basket.
    pub fn exposes(&self) -> bool {
        self.steps.iter().any(|step| step.exposed)
    }
}

impl Default for Policy {
    fn default() -> Policy {
        source::Table::ask(&mut super::describe::Describer::default())
    }
}
