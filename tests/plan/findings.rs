//! Tries every kind of finding on a plan that has none: one change, what is found, and exactly where.

use groundward::plan::{
    BYTES_MAX, FINDINGS_MAX, Finding, Kind, LEVELS_MAX, Level, Reading, Rung, read, read_on,
};

/// A small plan without a finding on the day below.
const SOUND: &str = include_str!("sound.toml");

/// What is found, what is replaced (its first occurrence), and by what; `‸` marks where it must be found. A `…` in what
/// is replaced stands for everything between. A `+` means that other findings follow from it.
const CASES: &[(&str, &str, &str)] = &[
    ("syntax", "rise = \"12 m\"", "rise =‸"),
    ("syntax", "[place.edge]", "[place.edge‸"),
    ("syntax", "name = \"the edge\"", "name = ‸the edge"),
    (
        "duplicate-id",
        "[place.edge]",
        "[place.‸roof]\n[place.edge]",
    ),
    (
        "duplicate-id",
        "level = \"2\"",
        "level = \"2\"\n‸level = \"3\"",
    ),
    ("format-unknown", "format = 1", "format = ‸2"),
    ("format-unknown", "format = 1", "format = ‸\"1\""),
    ("format-unknown", "format = 1", "‸"),
    ("unknown-key", "near = true", "‸nera = true\nnear = true"),
    (
        "unknown-key",
        "[policy]",
        "[‸weather]\nwind = \"1\"\n[policy]",
    ),
    (
        "missing-key",
        "[place.roof]\nname = \"the roof\"",
        "[place.‸roof]",
    ),
    (
        "missing-key",
        "[[position.edge.method.ladder.step]]\nwho = \"first\"\nsay = \"help the casualty up\"",
        "‸[[position.edge.method.ladder.step]]\nwho = \"first\"",
    ),
    ("wrong-type", "level = \"0\"", "level = ‸0"),
    ("wrong-type", "near = true", "near = ‸\"yes\""),
    ("wrong-type", "workers = [\"ben\"]", "workers = ‸\"ben\""),
    ("wrong-type", "length = \"24 m\"", "length = ‸true"),
    ("wrong-type", "count = 2", "count = ‸\"2\""),
    (
        "wrong-type",
        "[station.a.kit.ladder]",
        "[station.a.kit]\nbox = ‸3\n[station.a.kit.ladder]",
    ),
    ("wrong-type", "rung = \"pick-off\"", "rung = ‸4"),
    (
        "wrong-type",
        "time = [\"20 s\", \"40 s\", \"90 s\"]",
        "time = ‸false",
    ),
    (
        "bad-id",
        "[place.yard]",
        "[place.‸\"back yard\"]\nname = \"x\"\nlevel = \"0\"\n[place.yard]",
    ),
    ("bad-text", "name = \"the yard\"", "name = ‸\" \""),
    ("bad-text", "name = \"the yard\"", "name = ‸\"a\\nb\""),
    ("bad-count", "count = 2", "count = ‸0"),
    ("bad-count", "count = 2", "count = ‸99999999999999999999"),
    ("bare-number", "length = \"24 m\"", "length = ‸24"),
    ("bare-number", "length = \"24 m\"", "length = ‸24.5"),
    ("bare-number", "length = \"24 m\"", "length = ‸\"24\""),
    (
        "bare-number",
        "[\"30 s\", \"60 s\", \"2 min\"]",
        "[\"30 s\", ‸60, \"2 min\"]",
    ),
    ("unknown-unit", "length = \"24 m\"", "length = ‸\"24 yd\""),
    ("unknown-unit", "target = \"9 min\"", "target = ‸\"9 m\""),
    ("bad-quantity", "length = \"24 m\"", "length = ‸\"-24 m\""),
    ("bad-quantity", "length = \"24 m\"", "length = ‸\"long\""),
    (
        "bad-three-point",
        "time = [\"20 s\", \"40 s\", \"90 s\"]",
        "time = ‸\"45 s\"",
    ),
    (
        "bad-three-point",
        "time = [\"20 s\", \"40 s\", \"90 s\"]",
        "time = ‸[\"20 s\", \"90 s\"]",
    ),
    (
        "bad-three-point",
        "time = [\"20 s\", \"40 s\", \"90 s\"]",
        "time = ‸[\"20 s\", \"90 s\", \"40 s\"]",
    ),
    ("unknown-word", "rung = \"pick-off\"", "rung = ‸\"pickoff\""),
    (
        "unknown-word",
        "needs = [\"answering\", \"climbing\"]",
        "needs = [\"answering\", ‸\"climing\"]",
    ),
    ("dangling-reference", "by = \"ada\"", "by = ‸\"eve\""),
    ("dangling-reference", "who = \"first\"", "who = ‸\"third\""),
    ("dangling-reference", "who = \"second\"", "who = ‸\"secnd\""),
    (
        "dangling-reference",
        "landing = \"yard\"",
        "landing = ‸\"quay\"",
    ),
    (
        "method-without-release+",
        "[position.edge.method.ladder]",
        "[position.edge.method.‸x]\nname = \"x\"\nrung = \"self-rescue\"\nchange_after = \"60 s\"\n[position.edge.method.ladder]",
    ),
    (
        "milestone-order+",
        "milestone = \"off-harness\"\n\n[[position.edge.method.pick",
        "milestone = \"off-harness\"\n\n[[position.edge.method.pick-off.step]]\nsay = \"x\"\ndone = \"x\"\nnear = true\n\
         time = [\"1 s\", \"1 s\", \"1 s\"]\nmilestone = ‸\"first-contact\"\n[[position.edge.method.pick",
    ),
    (
        "worker-unknown",
        "workers = [\"ben\"]",
        "workers = [‸\"bem\"]",
    ),
    (
        "no-position+",
        "format = 1…[position.edge]…",
        "‸format = 1\n[site]\nname = \"x\"\nrevision = \"1\"\nemergency_number = \"1\"\n\
        meeting_point = \"x\"\n[place.yard]\nname = \"x\"\nlevel = \"0\"\n[responder.ada]\nname = \"Ada\"\nplace = \"yard\"\n",
    ),
    (
        "no-method+",
        "[position.edge]",
        "[position.‸mast]\nname = \"Mast\"\nplace = \"edge\"\napproach = \"roof\"\nlanding = \"yard\"\n[position.edge]",
    ),
    (
        "approach-is-position",
        "approach = \"roof\"",
        "approach = ‸\"edge\"",
    ),
    (
        "contact-not-near+",
        "near = true\nexposed = true\nmilestone = \"first-contact\"",
        "exposed = true\nmilestone = ‸\"first-contact\"",
    ),
    (
        "exposed-without-second-person+",
        "say = \"lower the casualty to the yard\"",
        "exposed = ‸true\nsay = \"lower the casualty to the yard\"",
    ),
    (
        "prompt-too-long",
        "say = \"bring the ladder to the edge\"",
        "say = ‸\"bring the long ladder to the edge of roof\"",
    ),
    (
        "prompt-too-long",
        "task = \"lock off the fan\"",
        "task = ‸\"lock off the fan in the old shed outside\"",
    ),
    (
        "prompt-punctuation",
        "say = \"lay the casualty flat\"",
        "say = ‸\"lay the casualty flat.\"",
    ),
    (
        "change-after-target",
        "change_after = \"5 min\"",
        "change_after = ‸\"9 min\"",
    ),
    (
        "change-before-likely",
        "change_after = \"3 min\"",
        "change_after = ‸\"79 s\"",
    ),
    (
        "policy-order",
        "first_contact = \"6 min\"",
        "first_contact = ‸\"10 min\"",
    ),
    (
        "no-holder",
        "qualification = \"rope\"",
        "qualification = ‸\"winch\"",
    ),
    (
        "kit-nowhere",
        "kit = \"ladder\"\nplace",
        "kit = ‸\"laddr\"\nplace",
    ),
    (
        "link-loop",
        "[link.walk]",
        "[link.loop]\nfrom = \"roof\"\nto = ‸\"roof\"\nkind = \"walk\"\nlength = \"1 m\"\n[link.walk]",
    ),
    ("rise-over-length", "rise = \"12 m\"", "rise = ‸\"25 m\""),
    ("rise-over-length", "rise = \"12 m\"", "rise = ‸\"-25 m\""),
    ("same-name", "name = \"Ben\"", "name = ‸\"ada\""),
    (
        "repeated-entry",
        "{ name = \"first aid\", until",
        "‸{ name = \"rope\", until",
    ),
    (
        "bad-date",
        "date = \"2026-03-02\"",
        "date = ‸\"2026-02-30\"",
    ),
    (
        "bad-date",
        "date = \"2026-03-02\"",
        "date = ‸\"2 March 2026\"",
    ),
    ("wrong-type", "date = \"2026-03-02\"", "date = ‸2026-03-02"),
    ("bad-point", "at = [\"0 m\", \"0 m\"]", "at = ‸[\"0 m\"]"),
    (
        "bad-quantity",
        "target = \"9 min\"",
        "target = \"9 min\"\nfree_fall = ‸[\"6 ft\", \"1.8 m\", \"2 m\"]",
    ),
    (
        "bad-language",
        "languages = [\"en\"]",
        "languages = [‸\"English\", \"en\"]",
    ),
    (
        "dates-reversed+",
        "review_by = \"2027-03-02\"",
        "review_by = ‸\"2026-03-01\"",
    ),
    (
        "dates-reversed+",
        "inspected = \"2026-02-01\"\ninspection_due = \"2027-02-01\"",
        "inspected = \"2026-02-01\"\ninspection_due = ‸\"2026-02-01\"",
    ),
    (
        "no-radio-fallback",
        "[radio]\nchannel = \"channel 4\"\nfallback = \"a runner\"",
        "[‸radio]\nchannel = \"channel 4\"",
    ),
    (
        "first-aid-upright",
        "lines = [\"Lay the casualty flat.\"]",
        "lines = [\"Lay the casualty flat.\", ‸\"Keep them sitting.\"]",
    ),
    (
        "review-overdue",
        "review_by = \"2027-03-02\"",
        "review_by = ‸\"2026-11-24\"",
    ),
    (
        "review-soon",
        "review_by = \"2027-03-02\"",
        "review_by = ‸\"2026-11-25\"",
    ),
    (
        "inspection-overdue",
        "inspected = \"2026-02-01\"\ninspection_due = \"2027-02-01\"",
        "inspection_due = ‸\"2026-11-24\"",
    ),
    (
        "inspection-soon",
        "inspected = \"2026-02-01\"\ninspection_due = \"2027-02-01\"",
        "inspection_due = ‸\"2026-12-25\"",
    ),
    (
        "qualification-expired",
        "{ name = \"first aid\", until = \"2027-04-01\" }",
        "{ name = \"first aid\", until = ‸\"2026-11-24\" }",
    ),
    (
        "qualification-ending",
        "{ name = \"first aid\", until = \"2027-04-01\" }",
        "{ name = \"first aid\", until = ‸\"2026-12-01\" }",
    ),
    (
        "agreement-old",
        "confirmed = \"2026-05-01\"",
        "confirmed = ‸\"2025-11-24\"",
    ),
    (
        "drill-overdue",
        "last_drill = \"2026-09-14\"",
        "last_drill = ‸\"2026-05-28\"",
    ),
    (
        "future-date",
        "last_drill = \"2026-09-14\"",
        "last_drill = ‸\"2026-11-26\"",
    ),
    (
        "future-date",
        "inspected = \"2026-02-01\"",
        "inspected = ‸\"2026-12-01\"",
    ),
    (
        "way-too-fast",
        "time = [\"20 s\", \"30 s\", \"60 s\"]",
        "time = ‸[\"1 s\", \"2 s\", \"60 s\"]",
    ),
    (
        "drawing-file",
        "[link.stair]",
        "[drawing.a]\nlevel = \"0\"\nfile = ‸\"plans/a.png\"\nsouth_west = [\"0 m\", \"0 m\"]\nnorth_east = [\"9 m\", \"9 m\"]\n[link.stair]",
    ),
    (
        "drawing-file",
        "[link.stair]",
        "[drawing.a]\nlevel = \"0\"\nfile = ‸\"a.jpg\"\nsouth_west = [\"0 m\", \"0 m\"]\nnorth_east = [\"9 m\", \"9 m\"]\n[link.stair]",
    ),
    (
        "drawing-corners",
        "[link.stair]",
        "[drawing.‸a]\nlevel = \"0\"\nfile = \"a.png\"\nsouth_west = [\"0 m\", \"0 m\"]\n[link.stair]",
    ),
    (
        "drawing-corners",
        "[link.stair]",
        "[drawing.a]\nlevel = \"0\"\nfile = \"a.png\"\nsouth_west = [\"0 m\", \"0 m\"]\nnorth_east = ‸[\"9 m\", \"0 m\"]\n[link.stair]",
    ),
    (
        "drawing-level",
        "[link.stair]",
        "[drawing.a]\nlevel = ‸\"7\"\nfile = \"a.png\"\nsouth_west = [\"0 m\", \"0 m\"]\nnorth_east = [\"9 m\", \"9 m\"]\n[link.stair]",
    ),
    (
        "drawing-twice",
        "[link.stair]",
        "[drawing.a]\nlevel = \"0\"\nfile = \"a.png\"\nsouth_west = [\"0 m\", \"0 m\"]\nnorth_east = [\"9 m\", \"9 m\"]\n[drawing.b]\nlevel = ‸\"0\"\nfile = \"b.png\"\nsouth_west = [\"0 m\", \"0 m\"]\nnorth_east = [\"9 m\", \"9 m\"]\n[link.stair]",
    ),
    (
        "same-point",
        "at = [\"28 m\", \"0 m\"]",
        "at = ‸[\"10 m\", \"0 m\"]",
    ),
    (
        "kit-short+",
        "role.second]\nplace",
        "role.second]\nkit = \"lift\"\nplace = \"edge\"\n[position.edge.method.ladder.role.third]\nkit = ‸\"lift\"\nplace",
    ),
    (
        "duplicate-identifier",
        "identifier = \"H-1\"",
        "identifier = ‸\"L-1\"",
    ),
    (
        "connector-weak",
        "strength = \"5000 lbf\"\nself_locking",
        "strength = ‸\"4999 lbf\"\nself_locking",
    ),
    (
        "connector-weak",
        "force = \"6 kN\"",
        "force = \"6 kN\"\nstrength = ‸\"22.1 kN\"",
    ),
    (
        "connector-weak+",
        "kind = \"lanyard\"\nlength = \"6 ft\"",
        "kind = \"self-retracting\"\nfree_fall = \"2 ft\"\nstrength = ‸\"2999 lbf\"",
    ),
    (
        "no-holder",
        "[position.edge.anchorage]",
        "[position.edge.confined_space]\nattendant = ‸\"warden\"\nconditions = [\"air tested\"]\n[position.edge.anchorage]",
    ),
    (
        "identifier-for-many",
        "count = 2",
        "count = 2\nidentifier = ‸\"E-1\"",
    ),
    (
        "no-common-language",
        "place = \"yard\"\nlanguages = [\"en\"]",
        "place = \"yard\"\nlanguages = ‸[\"uk\"]",
    ),
    (
        "no-expiry",
        "{ name = \"first aid\", until = \"2027-04-01\" }",
        "‸\"first aid\"",
    ),
    (
        "no-expiry",
        "{ name = \"first aid\", until = \"2027-04-01\" }",
        "‸{ name = \"first aid\" }",
    ),
    (
        "watcher-works-there",
        "watched_by = [\"ada\"]",
        "watched_by = [\"ada\", ‸\"ben\"]",
    ),
    ("works-alone", "people = 2", "people = ‸1"),
    (
        "more-workers-than-people+",
        "workers = [\"ben\"]\npeople = 2",
        "workers = [\"ben\", \"cay\"]\npeople = ‸1",
    ),
    (
        "anchorage-weak",
        "name = \"roof anchor 1\"\nstrength = \"5000 lbf\"",
        "name = \"roof anchor 1\"\nstrength = ‸\"22 kN\"",
    ),
    (
        "anchorage-weak",
        "name = \"roof anchor 1\"\nstrength = \"5000 lbf\"",
        "name = \"roof anchor 1\"\npersons = 2\nstrength = ‸\"5000 lbf\"",
    ),
    (
        "anchorage-weak",
        "name = \"roof anchor 1\"\nstrength = \"5000 lbf\"",
        "name = \"roof anchor 1\"\nengineered = ‸\"1.9 x\"",
    ),
    (
        "anchorage-weak",
        "anchorage_strength = \"22.2 kN\"",
        "anchorage_strength = ‸\"4999 lbf\"",
    ),
    (
        "free-fall-long+",
        "length = \"6 ft\"",
        "length = ‸\"6.1 ft\"",
    ),
    (
        "free-fall-long+",
        "length = \"6 ft\"\nanchor_above_ring = \"0 ft\"",
        "free_fall = ‸\"1.9 m\"",
    ),
    (
        "free-fall-contradicts",
        "anchor_above_ring = \"0 ft\"",
        "anchor_above_ring = \"0 ft\"\nfree_fall = ‸\"5 ft\"",
    ),
    (
        "deceleration-long+",
        "deceleration = \"3.5 ft\"",
        "deceleration = ‸\"1.08 m\"",
    ),
    (
        "arrest-force-high",
        "force = \"6 kN\"",
        "force = ‸\"8.1 kN\"",
    ),
    (
        "clearance-short",
        "clearance = \"18.5 ft\"",
        "clearance = ‸\"18.4 ft\"",
    ),
    (
        "clearance-short",
        "anchor_above_ring = \"0 ft\"\ndeceleration = \"3.5 ft\"\nforce = \"6 kN\"\nclearance = \"18.5 ft\"",
        "anchor_above_ring = \"4 ft\"\noffset = \"3 ft\"\ndeceleration = \"3.5 ft\"\nforce = \"6 kN\"\nclearance = ‸\"15.4 ft\"",
    ),
    (
        "too-heavy",
        "heaviest = \"120 kg\"",
        "heaviest = ‸\"311 lb\"",
    ),
    (
        "heavier-than-heaviest+",
        "workers = [\"ben\"]\npeople = 2\nheaviest = \"120 kg\"",
        "workers = [\"ben\", ‸\"ada\"]\npeople = 2\nheaviest = \"79 kg\"",
    ),
    ("impossible-value", "mass = \"80 kg\"", "mass = ‸\"800 kg\""),
    (
        "impossible-value",
        "success = \"90 %\"",
        "success = ‸\"120 %\"",
    ),
    (
        "impossible-value",
        "wind_max = \"12.5 m/s\"",
        "wind_max = ‸\"1250 m/s\"",
    ),
    (
        "rope-descent-high",
        "feet_above_ground = \"8 m\"",
        "feet_above_ground = ‸\"92 m\"",
    ),
    ("hazard-by-worker", "by = \"ada\"", "by = ‸\"ben\""),
    (
        "no-entry-conditions",
        "[position.edge.anchorage]",
        "[position.edge.‸confined_space]\nattendant = \"rope\"\n[position.edge.anchorage]",
    ),
    (
        "no-attendant",
        "[position.edge.anchorage]",
        "[position.edge.‸confined_space]\nconditions = [\"air tested\"]\n[position.edge.anchorage]",
    ),
    (
        "no-retrieval",
        "[position.edge.anchorage]",
        "[position.edge.confined_space]\nattendant = \"rope\"\nconditions = [\"air tested\"]\ndepth = ‸\"5.1 ft\"\n[position.edge.anchorage]",
    ),
    (
        "entry-without-space",
        "role.second]\nplace",
        "role.second]\nenters = ‸true\nplace",
    ),
    (
        "exposed-not-near+",
        "near = true\nexposed = true\nmilestone = \"first-contact\"",
        "exposed = ‸true\nmilestone = \"first-contact\"",
    ),
    (
        "same-anchorage",
        "anchorage = \"roof anchor 2\"",
        "anchorage = ‸\"Roof anchor 1\"",
    ),
    (
        "controller-exposed",
        "control = \"second\"",
        "control = ‸\"first\"",
    ),
    (
        "fails-after-longest",
        "fails_after = \"60 s\"",
        "fails_after = ‸\"91 s\"",
    ),
    (
        "chance-without-evidence",
        "success = \"90 %\"\nevidence = \"3 drills\"\n",
        "success = ‸\"90 %\"\n",
    ),
];

/// The same where the finding stands away from the change: the fourth text is what stands there.
const ELSEWHERE: &[(&str, &str, &str, &str)] = &[
    ("missing-key", "[site]…[radio]", "[radio]", "format = 1"),
    (
        "no-responder+",
        "[responder.ada]…[position.edge]",
        "[position.edge]",
        "format = 1",
    ),
    (
        "no-landing",
        "milestone = \"landing\"",
        "",
        "ladder]\nname = \"ladder\"",
    ),
    (
        "method-without-release",
        "milestone = \"landing\"",
        "milestone = \"off-harness\"",
        "ladder]\nname = \"ladder\"",
    ),
    (
        "prompt-too-long",
        "name = \"Ada\"",
        "name = \"Ada of the early shift\"",
        "\"bring the ladder",
    ),
    (
        "unreachable-place+",
        "[link.walk]…[station.a]",
        "[station.a]",
        "role.first]\nqualification = \"rope\"\nkit = \"ladder\"\nplace = ‸\"edge\"",
    ),
    (
        "unreachable-place+",
        "place = \"yard\"\n\n[station.a.kit",
        "place = \"isle\"\n[place.isle]\nname = \"isle\"\nlevel = \"0\"\n[station.a.kit",
        "\"ladder\"\nplace",
    ),
    (
        "rung-order",
        "rung = \"pick-off\"",
        "rung = \"self-rescue\"",
        "ladder]\nname = \"ladder\"",
    ),
    (
        "dangling-reference+",
        "to = \"edge\"",
        "to = \"egde\"",
        "\"egde\"",
    ),
    (
        "unreachable-place",
        "[station.a]",
        "[place.isle]\nname = \"isle\"\nlevel = \"0\"\n[station.b]\nname = \"station B\"\nplace = \"isle\"\n[station.a]",
        "‸\"isle\"\n[station.a]",
    ),
    (
        "link-twice+",
        "[link.walk]",
        "[link.way]\nfrom = \"edge\"\nto = \"roof\"\nkind = \"walk\"\nlength = \"19 m\"\n[link.walk]",
        "[link.‸walk]",
    ),
    (
        "no-rating",
        "rated_mass = \"150 kg\"\ninspected = \"2026-02-01\"\n",
        "",
        "[station.a.kit.‸ladder]",
    ),
    (
        "no-inspection-date",
        "reach = \"20 m\"\nwind_max = \"12.5 m/s\"\nrated_mass = \"200 kg\"\ninspection_due = \"2027-02-01\"",
        "reach = \"20 m\"\nwind_max = \"12.5 m/s\"\nrated_mass = \"200 kg\"",
        "[station.a.kit.‸lift]",
    ),
    (
        "no-wind-limit",
        "wind_max = \"12.5 m/s\"\n",
        "",
        "[station.a.kit.‸lift]",
    ),
    (
        "connector-not-locking",
        "self_locking = true\n",
        "",
        "[station.a.kit.‸hook]",
    ),
    (
        "kit-out-of-service",
        "count = 2",
        "count = 2\nout_of_service = \"rope cut\"",
        "\"ladder\"\nplace = \"edge\"\nanch",
    ),
    (
        "landing-not-listed",
        "landing_places = [\"yard\"]",
        "landing_places = [\"roof\"]",
        "\"yard\"\nfeet",
    ),
    (
        "dead-spot",
        "fallback = \"a runner\"",
        "fallback = \"a runner\"\ndead_spots = [\"edge\"]",
        "\"edge\"\napproach",
    ),
    (
        "nobody-watches",
        "watched_by = [\"ada\"]\n",
        "",
        "[position.‸edge]",
    ),
    (
        "anchorage-unrated",
        "name = \"roof anchor 1\"\nstrength = \"5000 lbf\"",
        "name = \"roof anchor 1\"",
        "[position.edge.‸anchorage]",
    ),
    (
        "free-fall-unknown",
        "anchor_above_ring = \"0 ft\"\n",
        "",
        "[position.edge.‸arrest]",
    ),
    (
        "free-fall-long+",
        "anchor_above_ring = \"0 ft\"",
        "anchor_above_ring = \"-5 ft\"",
        "\"6 ft\"",
    ),
    (
        "lowering-uncontrolled",
        "ground = \"firm\"",
        "ground = \"water\"",
        "‸true\nsuccess",
    ),
    (
        "hazard-not-proven",
        "proof = \"start button tried, nothing moves\"\n",
        "",
        "[position.edge.hazard.‸fan]",
    ),
    (
        "no-rescuer-anchorage",
        "anchorage = \"roof anchor 2\"\n",
        "",
        "[position.edge.method.ladder.role.‸first]",
    ),
    (
        "no-controller",
        "control = \"second\"\n",
        "",
        "[position.edge.method.‸ladder]",
    ),
    (
        "no-rescuer-rescue",
        "rescuer_rescue = \"lift from station A\"\n",
        "",
        "[position.edge.method.‸ladder]",
    ),
    (
        "rescuer-works-there+",
        "workers = [\"ben\"]",
        "workers = [\"ben\", \"ada\"]",
        "‸\"rope\"\nkit",
    ),
    (
        "crew-too-small",
        "[responder.cay]\nname = \"Cay\"\nplace = \"yard\"\n",
        "",
        "[position.edge.method.‸ladder]",
    ),
    (
        "committed-gap",
        "committed = true\nmilestone = \"off-harness\"\n\n[[position.edge.method.ladder.step]]\nsay = \"bring",
        "milestone = \"off-harness\"\n\n[[position.edge.method.ladder.step]]\ncommitted = true\nsay = \"bring",
        "[[position.edge.method.ladder.step]]\ncommitted",
    ),
    (
        "no-chance",
        "success = \"90 %\"\nevidence = \"3 drills\"\n",
        "",
        "[position.edge.method.‸ladder]",
    ),
    (
        "no-address",
        "address = \"3 Kiln Road, Pellow\"\n",
        "",
        "[‸site]",
    ),
    ("no-gate", "gate = \"west gate\"\n", "", "[‸site]"),
    (
        "no-hospital",
        "hospital = \"Pellow Infirmary, 9 km\"\n",
        "",
        "[‸site]",
    ),
    (
        "no-landing-place",
        "landing_places = [\"yard\"]\n",
        "",
        "[‸site]",
    ),
    (
        "no-approver",
        "approved_by = \"Ada Venn, works manager\"\n",
        "",
        "[‸site]",
    ),
    ("no-date", "date = \"2026-03-02\"\n", "", "[‸site]"),
    (
        "no-review-date",
        "review_by = \"2027-03-02\"\n",
        "",
        "[‸site]",
    ),
    (
        "no-jurisdiction",
        "jurisdiction = \"the land of Pellow\"\n",
        "",
        "[‸site]",
    ),
    ("no-language", "languages = [\"en\"]\n", "", "[‸site]"),
    (
        "no-anchorage",
        "[position.edge.anchorage]\nname = \"roof anchor 1\"\nstrength = \"5000 lbf\"\n",
        "",
        "[position.‸edge]",
    ),
    ("no-ground", "ground = \"firm\"\n", "", "[position.‸edge]"),
    (
        "no-heaviest",
        "heaviest = \"120 kg\"\n",
        "",
        "[position.‸edge]",
    ),
    (
        "never-drilled",
        "last_drill = \"2026-09-14\"\n",
        "",
        "[position.‸edge]",
    ),
    (
        "no-arrest",
        "[position.edge.arrest]…clearance = \"18.5 ft\"\n",
        "",
        "[position.‸edge]",
    ),
    (
        "no-radio",
        "[radio]\nchannel = \"channel 4\"\nfallback = \"a runner\"\n",
        "",
        "format = 1",
    ),
    (
        "no-first-aid-text",
        "[first_aid]\nlines = [\"Lay the casualty flat.\"]\n",
        "",
        "format = 1",
    ),
    (
        "no-outside-rescue",
        "[outside_rescue.fire]…telephone = \"00 555 0148\"\n",
        "",
        "format = 1",
    ),
    (
        "no-aed",
        "[station.a.kit.aed]\nname = \"AED\"\nkind = \"AED\"\n",
        "",
        "[‸station.a]",
    ),
    (
        "no-first-aid-kit",
        "[station.a.kit.aid]\nname = \"first-aid bag\"\nkind = \"first-aid kit\"\n",
        "",
        "[‸station.a]",
    ),
    (
        "aed-far",
        "[station.a]\nname = \"station A\"\nplace = \"yard\"",
        "[place.far]\nname = \"far shed\"\nlevel = \"0\"\n[link.far]\nfrom = \"yard\"\nto = \"far\"\nkind = \"walk\"\nlength = \"217 m\"\n[station.a]\nname = \"station A\"\nplace = \"far\"",
        "\"yard\"\nfeet",
    ),
    (
        "no-competent-person",
        "competent = true\n",
        "",
        "[‸responder.ada]",
    ),
];

/// The same with two changes.
const TWICE: &[(&str, [(&str, &str); 2])] = &[
    (
        "entry-not-allowed",
        [
            (
                "[position.edge.anchorage]",
                "[position.edge.confined_space]\nattendant = \"rope\"\nconditions = [\"air tested\"]\n[position.edge.anchorage]",
            ),
            ("role.second]\nplace", "role.second]\nenters = ‸true\nplace"),
        ],
    ),
    (
        "outside-without-agreement",
        [
            ("agreement = \"letter 14\"\n", ""),
            ("people = 2", "people = 2\nrelies_on = ‸\"fire\""),
        ],
    ),
    (
        "outside-not-capable",
        [
            ("height_capable = true\n", ""),
            ("people = 2", "people = 2\nrelies_on = ‸\"fire\""),
        ],
    ),
];

/// What takes more than one change has tests of its own below.
const OWN_TESTS: [Kind; 6] = [
    Kind::TooManyParts,
    Kind::TooLarge,
    Kind::NotUtf8,
    Kind::TooDeep,
    Kind::TooMany,
    Kind::CrewTooLarge,
];

fn reading(text: &str) -> Reading {
    let reading = read_on("small.toml", text.as_bytes(), crate::support::day());
    let fit = reading
        .findings
        .iter()
        .all(|finding| finding.level != Level::Error);
    assert_eq!(
        reading.plan.is_some(),
        fit,
        "a plan is handed out exactly when nothing is of error level"
    );
    reading
}

/// The sound plan with one change in it.
fn changed(from: &str, to: &str) -> String {
    let mut parts = from.split('…');
    let first = parts.next().unwrap_or_default();
    let start = SOUND
        .find(first)
        .unwrap_or_else(|| panic!("the sound plan has no {first}"));
    let mut end = start + first.len();
    for part in parts {
        end = match part {
            "" => SOUND.len(),
            part => {
                end + SOUND[end..]
                    .find(part)
                    .unwrap_or_else(|| panic!("no {part} follows"))
                    + part.len()
            }
        };
    }
    format!("{}{to}{}", &SOUND[..start], &SOUND[end..])
}

/// Line and column of a place in a text, counted from its beginning as a person would.
fn line_and_column(text: &str, at: usize) -> (usize, usize) {
    let before = &text[..at];
    (
        before.split('\n').count(),
        before
            .rsplit('\n')
            .next()
            .map_or(0, |line| line.chars().count())
            + 1,
    )
}

/// What does not hold of a case, if anything.
fn wrong(case: &str, text: &str, at: usize) -> Option<String> {
    let (id, alone) = case
        .strip_suffix('+')
        .map_or((case, true), |id| (id, false));
    let findings = reading(text).findings;
    let place = line_and_column(text, at);
    let found = findings
        .iter()
        .filter(|finding| finding.id == id && (finding.line, finding.column) == place)
        .count();
    let said = findings
        .iter()
        .all(|finding| !finding.message.is_empty() && !finding.help.is_empty());
    let holds = found == 1 && said && (!alone || findings.len() == 1);
    let all: Vec<_> = findings
        .iter()
        .map(|it| (it.id, it.line, it.column, &it.message))
        .collect();
    (!holds).then(|| format!("{case} at {place:?} in {all:#?}"))
}

#[test]
fn the_sound_plan_has_no_finding() {
    assert_eq!(reading(SOUND).findings, []);
}

#[test]
fn every_kind_is_found_where_it_stands() {
    let mut failed = Vec::new();
    for (case, from, to) in CASES {
        let marked = changed(from, to);
        let at = marked.find('‸').expect("every case marks where");
        failed.extend(wrong(case, &marked.replace('‸', ""), at));
    }
    for (case, from, to, there) in ELSEWHERE {
        let text = changed(from, to);
        let (before, after) = there.split_once('‸').unwrap_or(("", there));
        let found = text.find(&format!("{before}{after}"));
        failed.extend(match found {
            Some(found) => wrong(case, &text, found + before.len()),
            None => Some(format!("{case}: no {there}")),
        });
    }
    for (case, changes) in TWICE {
        let marked = changes.iter().fold(SOUND.to_owned(), |text, (from, to)| {
            assert!(text.contains(from), "{case}: no {from}");
            text.replacen(from, to, 1)
        });
        let at = marked.find('‸').expect("every case marks where");
        failed.extend(wrong(case, &marked.replace('‸', ""), at));
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

#[test]
fn every_kind_has_a_case_and_a_sentence() {
    let ids = CASES
        .iter()
        .map(|case| case.0)
        .chain(ELSEWHERE.iter().map(|case| case.0))
        .chain(TWICE.iter().map(|case| case.0))
        .map(|case| case.trim_end_matches('+'));
    let tried: Vec<&str> = ids.chain(OWN_TESTS.map(Kind::id)).collect();
    for kind in Kind::ALL {
        assert!(tried.contains(&kind.id()), "{} has no case", kind.id());
        assert!(
            kind.about().ends_with('.') && kind.about().starts_with(char::is_uppercase),
            "{}",
            kind.about()
        );
        assert!(kind.mend().ends_with('.'), "{}", kind.mend());
        assert_eq!(Kind::named(kind.id()), Some(*kind));
    }
    assert!(Kind::ALL.len() >= 60);
}

#[test]
fn columns_count_characters_and_paths_count_from_one() {
    let text = SOUND.replace(
        "needs = [\"answering\", \"climbing\"]",
        "needs = [\"ähm\", \"answering\", \"x\"]",
    );
    let findings = reading(&text).findings;
    let found: Vec<_> = findings
        .iter()
        .map(|it| (it.column, it.place.as_str(), &text[it.span.clone()]))
        .collect();
    let at = "position.edge.method.ladder.needs";
    assert_eq!(
        found,
        [
            (10, &*format!("{at}.1"), "\"ähm\""),
            (30, &*format!("{at}.3"), "\"x\"")
        ]
    );
}

#[test]
fn ten_mistakes_are_ten_findings() {
    let mistakes = [
        (
            "name = \"Pellow works (invented)\"",
            "nmae = \"Pellow works (invented)\"\nname = \"Pellow\"",
            "unknown-key",
        ),
        ("target = \"9 min\"", "target = 9", "bare-number"),
        ("level = \"0\"", "level = 0", "wrong-type"),
        ("length = \"24 m\"", "length = \"24 yards\"", "unknown-unit"),
        ("kind = \"walk\"", "kind = \"wlak\"", "unknown-word"),
        ("count = 2", "count = -2", "bad-count"),
        ("place = \"roof\"\nqual", "qual", "missing-key"),
        (
            "landing = \"yard\"",
            "landing = \"yrad\"",
            "dangling-reference",
        ),
        (
            "time = [\"20 s\", \"40 s\", \"90 s\"]",
            "time = \"40 s\"",
            "bad-three-point",
        ),
        ("say = \"lay the casualty flat\"", "say = \"\"", "bad-text"),
    ];
    let text = mistakes
        .iter()
        .fold(SOUND.to_owned(), |text, (from, to, _)| {
            text.replacen(from, to, 1)
        });
    let findings = reading(&text).findings;
    let found: Vec<&str> = findings.iter().map(|finding| finding.id).collect();
    assert_eq!(found, mistakes.map(|(_, _, id)| id), "{findings:#?}");
}

#[test]
fn a_line_that_is_not_toml_does_not_hide_the_others() {
    let text =
        SOUND
            .replacen("rise = \"12 m\"", "rise = ", 1)
            .replacen("count = 2", "count = 0", 1);
    let text = text.replacen("by = \"ada\"", "by \"ada\"", 1);
    let found: Vec<&str> = reading(&text)
        .findings
        .iter()
        .map(|finding| finding.id)
        .collect();
    assert_eq!(found, ["syntax", "bad-count", "syntax"]);
}

#[test]
fn advice_names_what_is_probably_meant() {
    let help = |from: &str, to: &str| match &reading(&SOUND.replacen(from, to, 1)).findings[..] {
        [Finding { help, .. }] => help.clone(),
        findings => panic!("one finding is expected: {findings:#?}"),
    };
    assert_eq!(
        help("near = true", "nera = true\nnear = true"),
        "perhaps `near` is meant"
    );
    assert_eq!(
        help("by = \"ada\"", "by = \"adda\""),
        "perhaps `ada` is meant"
    );
    assert_eq!(
        help("length = \"24 m\"", "length = 24"),
        "write \"24 m\" if metres are meant, or \"24 ft\" if feet are meant"
    );
    assert_eq!(
        help("level = \"0\"", "level = 0"),
        "put it in quotes: \"0\""
    );
    assert!(help("length = \"24 m\"", "length = \"24 yd\"").contains("m, cm, mm, ft, in"));
    assert!(help("kit = \"ladder\"\nplace", "kit = \"laddr\"\nplace").contains("`ladder`"));
}

#[test]
fn methods_come_in_the_order_of_the_ladder() {
    let text = SOUND.replacen("rung = \"pick-off\"", "rung = \"self-rescue\"", 1);
    let plan = reading(&text)
        .plan
        .expect("a notice leaves the plan usable");
    let methods: Vec<_> = plan.positions[0]
        .methods
        .iter()
        .map(|method| (method.id.as_str(), method.rung))
        .collect();
    assert_eq!(
        methods,
        [
            ("pick-off", Rung::SelfRescue),
            ("ladder", Rung::AssistedSelfRescue)
        ]
    );
}

#[test]
fn places_and_people_keep_the_order_of_the_file() {
    let plan = reading(SOUND).plan.expect("the sound plan is fit");
    let places: Vec<&str> = plan.places.iter().map(|place| place.id.as_str()).collect();
    assert_eq!(places, ["yard", "roof", "edge"]);
    assert_eq!(
        plan.positions[0].methods[0].steps[0].fallback[0]
            .role
            .as_deref(),
        Some("second")
    );
}

#[track_caller]
fn whole_file(bytes: &[u8], kind: Kind, line: usize, column: usize) {
    let reading = read("odd.toml", bytes);
    assert!(reading.plan.is_none());
    let found: Vec<_> = reading
        .findings
        .iter()
        .map(|it| (it.id, it.line, it.column))
        .collect();
    assert_eq!(found, [(kind.id(), line, column)]);
}

#[test]
fn what_is_no_plan_file_is_refused_before_it_is_parsed() {
    whole_file(b"format = 1\nna\xFFme", Kind::NotUtf8, 2, 3);
    whole_file(&vec![b'#'; BYTES_MAX + 1], Kind::TooLarge, 1, 1);
    whole_file(
        format!("a = {}", "[".repeat(100_000)).as_bytes(),
        Kind::TooDeep,
        1,
        5 + LEVELS_MAX,
    );
    whole_file(
        format!("a = {}", "{b=".repeat(100_000)).as_bytes(),
        Kind::TooDeep,
        1,
        5 + 3 * LEVELS_MAX,
    );
    whole_file(
        format!("[{}a]", "a.".repeat(LEVELS_MAX)).as_bytes(),
        Kind::TooDeep,
        1,
        1 + 2 * LEVELS_MAX,
    );
    let both = format!(
        "[{}a]\nb = {}",
        "a.".repeat(LEVELS_MAX / 2),
        "[".repeat(LEVELS_MAX / 2)
    );
    assert_eq!(
        read("odd.toml", both.as_bytes()).findings[0].id,
        Kind::TooDeep.id()
    );
}

#[test]
fn brackets_and_dots_in_texts_and_comments_are_not_nesting() {
    let brackets = "[".repeat(100) + &".".repeat(100);
    for text in [
        format!("# {brackets}\n{SOUND}"),
        SOUND.replacen("the yard", &brackets, 1),
        SOUND.replacen("\"the yard\"", &format!("'{brackets}'"), 1),
        SOUND.replacen("\"the yard\"", &format!("\"\"\"{brackets}\\\"\"\"\""), 1),
    ] {
        assert_eq!(reading(&text).findings, [], "{text}");
    }
}

#[test]
fn a_crew_that_is_too_large_is_refused() {
    let roles: String = (0..23)
        .map(|n| format!("[position.edge.method.ladder.role.x{n}]\nplace = \"edge\"\n"))
        .collect();
    let text = SOUND.replacen(
        "[position.edge.method.ladder.role.first]",
        &format!("{roles}[position.edge.method.ladder.role.first]"),
        1,
    );
    let at = text
        .find("ladder]\nname = \"ladder\"")
        .expect("the method is there");
    assert_eq!(wrong("crew-too-large+", &text, at), None);
}

#[test]
fn an_unknown_worker_is_left_out_of_the_plan() {
    let plan =
        reading(&SOUND.replacen("workers = [\"ben\"]", "workers = [\"bem\", \"ben\"]", 1)).plan;
    assert_eq!(
        plan.expect("a warning leaves the plan usable").positions[0].workers,
        ["ben"]
    );
}

#[test]
fn an_error_is_listed_even_after_too_many_warnings() {
    let links: String = (0..FINDINGS_MAX)
        .map(|n| {
            format!(
                "[link.x{n}]\nfrom = \"yard\"\nto = \"yard\"\nkind = \"walk\"\nlength = \"1 m\"\n"
            )
        })
        .collect();
    let reading = reading(
        &format!("{links}{SOUND}")
            .replacen("landing = \"yard\"", "landing = \"quay\"", 1)
            .replacen("format = 1", "", 1)
            .replacen("[link.x0]", "format = 1\n[link.x0]", 1),
    );
    assert_eq!(
        reading
            .findings
            .iter()
            .filter(|it| it.level == Level::Error)
            .count(),
        1
    );
    assert_eq!(reading.findings.len(), FINDINGS_MAX);
}

#[test]
fn too_many_findings_are_counted_and_left_out() {
    let text = format!(
        "{SOUND}\n[policy.x]\n{}",
        (0..FINDINGS_MAX + 5)
            .map(|n| format!("[extra{n}]\n"))
            .collect::<String>()
    );
    let reading = reading(&text);
    assert_eq!(reading.findings.len(), FINDINGS_MAX);
    assert_eq!(
        reading
            .findings
            .iter()
            .filter(|it| it.id == Kind::TooMany.id())
            .count(),
        1
    );
}
