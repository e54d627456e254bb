//! Makes whole plans that nobody wrote, so that what works with the demo site alone is found out.
//!
//! Every seed gives other names, another number of people, places, positions, methods and steps, hazards and fallbacks or
//! none. A plan from here is fit and without a warning; a test beside the reader holds it to that. It needs nothing but
//! the seeded chance beside it and gives the same text for the same seed on every machine.

use super::Chance;

/// A plan as TOML.
pub(crate) fn plan_toml(seed: u64) -> String {
    let mut maker = Maker {
        chance: Chance(seed),
        out: String::new(),
    };
    maker.plan(seed);
    maker.out
}

const SYLLABLES: [&str; 16] = [
    "ba", "che", "dor", "eli", "fen", "gu", "hal", "iso", "jur", "kem", "lo", "mav", "nis", "oru",
    "pel", "tiz",
];
const SKILLS: [&str; 4] = ["line work", "platform", "care", "winch"];
const KIT: [&str; 5] = ["steps", "platform", "winch", "line bag", "carry sheet"];
const VERBS: [&str; 8] = [
    "bring", "fix", "check", "lower", "raise", "hold", "fetch", "turn",
];
const THINGS: [&str; 8] = [
    "steps",
    "line",
    "platform",
    "winch",
    "hook",
    "gate",
    "carry sheet",
    "tail rope",
];
const RUNGS: [(&str, &str); 4] = [
    ("self-rescue", "own way"),
    ("assisted-self-rescue", "steps"),
    ("mechanically-aided", "winch"),
    ("pick-off", "line team"),
];

struct Maker {
    chance: Chance,
    out: String,
}

impl Maker {
    fn from(&mut self, first: u64, last: u64) -> u64 {
        first + self.chance.below(last - first + 1)
    }

    fn any<'a>(&mut self, words: &[&'a str]) -> &'a str {
        let index = self.chance.below(words.len() as u64);
        words[usize::try_from(index).expect("an index below a length fits")]
    }

    /// A name that no other number has, e.g. `Fenlo3`.
    fn name(&mut self, number: u64) -> String {
        let (first, second) = (self.any(&SYLLABLES), self.any(&SYLLABLES));
        format!(
            "{}{}{second}{number}",
            first[..1].to_uppercase(),
            &first[1..]
        )
    }

    fn line(&mut self, line: &str) {
        self.out.push_str(line);
        self.out.push('\n');
    }

    fn table(&mut self, header: &str) {
        self.line("");
        self.line(header);
    }

    fn text(&mut self, key: &str, value: &str) {
        self.line(&format!("{key} = \"{value}\""));
    }

    fn plan(&mut self, seed: u64) {
        self.line("# Made by a program for a test. Nothing in it exists.");
        self.line("format = 1");
        self.table("[site]");
        let site = self.name(0);
        self.text("name", &format!("{site} works (invented)"));
        self.text("revision", &seed.to_string());
        self.text("date", "2026-02-01");
        self.text("approved_by", "the works manager");
        self.text("review_by", "2039-02-01");
        self.text("jurisdiction", "none");
        self.line("languages = [\"en\"]");
        self.text("address", "1 Made Road");
        self.text("gate", "west gate");
        self.text("hospital", "the infirmary, 5 km");
        self.text("emergency_number", "112");
        self.text("meeting_point", "the west gate");
        self.line("invented = true");
        let positions = self.from(1, 4);
        let landings: Vec<String> = (1..=positions).map(|n| format!("\"land-{n}\"")).collect();
        self.line(&format!("landing_places = [{}]", landings.join(", ")));
        self.table("[radio]");
        self.text("channel", "channel 1");
        self.text("fallback", "a runner");
        self.table("[first_aid]");
        self.line("lines = [\"Lay the casualty flat.\"]");
        self.table("[outside_rescue.far]");
        self.text("name", "rescuers from far away");
        if self.chance.one_in(2) {
            self.table("[policy]");
            let target = self.from(8, 15);
            self.text("target", &format!("{target} min"));
            let ask_again = self.from(10, 30);
            self.text("ask_again", &format!("{ask_again} s"));
        }

        self.places(positions);
        let people = self.people();
        for number in 1..=positions {
            self.position(number, people);
        }
    }

    /// A yard and a store on the ground, and for every position a way up, an approach point and a spot.
    fn places(&mut self, positions: u64) {
        let mut place = |id: &str, name: &str, level: u64| {
            self.table(&format!("[place.{id}]"));
            self.text("name", name);
            self.text("level", &level.to_string());
        };
        place("yard", "the yard", 0);
        place("store", "the store", 0);
        for number in 1..=positions {
            place(&format!("land-{number}"), &format!("landing {number}"), 0);
            place(
                &format!("wait-{number}"),
                &format!("waiting point {number}"),
                number,
            );
            place(&format!("spot-{number}"), &format!("spot {number}"), number);
        }
        self.link("yard", "store", "walk", false);
        for number in 1..=positions {
            let up = self.any(&["stairs", "scaffold-stair", "fixed-ladder", "hoist"]);
            self.link("yard", &format!("land-{number}"), "walk", false);
            self.link(
                &format!("land-{number}"),
                &format!("wait-{number}"),
                up,
                true,
            );
            self.link(
                &format!("wait-{number}"),
                &format!("spot-{number}"),
                "walk",
                false,
            );
        }

        self.table("[station.main]");
        self.text("name", "station M");
        self.text("place", "store");
        for (number, kind) in KIT.iter().enumerate() {
            self.table(&format!("[station.main.kit.k{number}]"));
            self.text("name", &format!("{kind} {}", number + 1));
            self.text("kind", kind);
            // A crew has at most three roles, and each may bring the same kind.
            let count = self.from(3, 5);
            self.line(&format!("count = {count}"));
        }
        for (id, name, kind) in [
            ("aed", "AED", "AED"),
            ("aid", "first-aid bag", "first-aid kit"),
        ] {
            self.table(&format!("[station.main.kit.{id}]"));
            self.text("name", name);
            self.text("kind", kind);
        }
        if self.chance.one_in(2) {
            self.table("[station.second]");
            self.text("name", "station S");
            self.text("place", "wait-1");
            self.table("[station.second.kit.k]");
            self.text("name", "line bag S");
            self.text("kind", "line bag");
        }
    }

    fn link(&mut self, from: &str, to: &str, kind: &str, rises: bool) {
        self.table(&format!("[link.{from}-{to}]"));
        self.text("from", from);
        self.text("to", to);
        self.text("kind", kind);
        let length = self.from(8, 60);
        self.text("length", &format!("{length} m"));
        if rises {
            let rise = self.from(3, length);
            self.text("rise", &format!("{rise} m"));
        }
        if self.chance.one_in(3) {
            self.time();
        }
    }

    /// At least four people; the first two hold every skill, so that no role is without a holder.
    fn people(&mut self) -> u64 {
        let people = self.from(4, 9);
        for number in 1..=people {
            self.table(&format!("[responder.r{number}]"));
            let name = self.name(number);
            self.text("name", &name);
            let place = self.any(&["yard", "store", "wait-1", "land-1"]);
            self.text("place", place);
            let held: Vec<String> = SKILLS
                .iter()
                .filter(|_| number <= 2 || self.chance.below(2) == 0)
                .map(|skill| format!("{{ name = \"{skill}\", until = \"2039-01-01\" }}"))
                .collect();
            self.line(&format!("qualifications = [{}]", held.join(", ")));
            if number == 1 {
                self.line("competent = true");
            }
        }
        people
    }

    fn position(&mut self, number: u64, people: u64) {
        let at = format!("position.p{number}");
        self.table(&format!("[{at}]"));
        let name = self.name(number);
        self.text("name", &format!("{name} deck, spot {number}"));
        self.text("place", &format!("spot-{number}"));
        self.text("approach", &format!("wait-{number}"));
        self.text("landing", &format!("land-{number}"));
        if self.chance.one_in(2) {
            let feet = self.from(3, 40);
            self.text("feet_above_ground", &format!("{feet} m"));
        }
        let worker = self.chance.one_in(2).then(|| self.from(3, people));
        if let Some(worker) = worker {
            self.line(&format!("workers = [\"r{worker}\"]"));
        }
        self.line("watched_by = [\"r1\"]");
        let ground = self.any(&["firm", "water", "live-plant", "fragile-roof", "public"]);
        self.text("ground", ground);
        self.text("ground_control", "kept clear and off");
        self.text("heaviest", "110 kg");
        self.text("last_drill", "2026-03-01");
        self.table(&format!("[{at}.anchorage]"));
        self.text("name", &format!("anchor {number}"));
        self.text("strength", "25 kN");
        self.table(&format!("[{at}.arrest]"));
        self.text("kind", "self-retracting");
        for hazard in 0..self.chance.below(3) {
            self.table(&format!("[{at}.hazard.h{hazard}]"));
            let kind = self.any(&["electric", "moving-plant", "air", "water", "other"]);
            self.text("name", &format!("drive {number}{hazard}"));
            self.text("kind", kind);
            self.text("task", &format!("lock off drive {number}{hazard}"));
            self.text("done", &format!("Drive {number}{hazard} is locked off"));
            if self.chance.one_in(2) {
                let by = self.from(1, 2);
                self.text("by", &format!("r{by}"));
            }
            self.text("proof", "tried, nothing moves");
        }
        let left_out = self.chance.below(8);
        for (rung, words) in (0..).zip(RUNGS) {
            if rung != left_out {
                self.method(&format!("{at}.method.m{rung}"), rung, words, number);
            }
        }
    }

    fn method(&mut self, at: &str, rung: u64, (kind, name): (&str, &str), position: u64) {
        let roles = self.from(2, 3);
        // The last step but one takes the weight off the harness, the last one goes to the landing place.
        let steps = self.from(2, 7);
        let likely: Vec<u64> = (0..steps).map(|_| self.from(5, 50)).collect();
        let release = likely.len() - 2;
        let change_after = likely[..=release].iter().sum::<u64>() + self.from(10, 60);

        self.table(&format!("[{at}]"));
        self.text("name", &format!("{name} {position}"));
        self.text("rung", kind);
        self.text("change_after", &format!("{change_after} s"));
        match rung {
            0 => self.line("needs = [\"answering\", \"climbing\", \"holding-on\", \"clipping\"]"),
            1 => self.line("needs = [\"answering\", \"holding-on\"]"),
            _ => {}
        }
        self.text("control", &format!("w{roles}"));
        self.text("rescuer_rescue", "the other line");
        self.text("success", "80 %");
        self.text("evidence", "assumed");
        for role in 1..=roles {
            self.table(&format!("[{at}.role.w{role}]"));
            if self.chance.one_in(2) {
                let skill = self.any(&SKILLS);
                self.text("qualification", skill);
            }
            if self.chance.one_in(2) {
                let kit = self.any(&KIT);
                self.text("kit", kit);
            }
            let place = if rung == 0 || self.chance.one_in(3) {
                "land"
            } else {
                "spot"
            };
            self.text("place", &format!("{place}-{position}"));
            self.text("anchorage", &format!("beam {position}{role}"));
        }
        // From some step on, or never, until the weight is off.
        let committed_from = usize::try_from(self.chance.below(release as u64 + 2)).unwrap_or(0);
        for (step, likely) in likely.iter().enumerate() {
            let milestone = match step {
                _ if step > release => Some("landing"),
                _ if step == release => Some("off-harness"),
                _ if step + 1 == release && rung > 0 => Some("first-contact"),
                _ => None,
            };
            let committed = (committed_from..=release).contains(&step);
            self.step(at, rung, roles, *likely, milestone, committed);
        }
    }

    fn step(
        &mut self,
        at: &str,
        rung: u64,
        roles: u64,
        likely: u64,
        milestone: Option<&str>,
        committed: bool,
    ) {
        self.table(&format!("[[{at}.step]]"));
        let who = (!self.chance.one_in(6)).then(|| self.from(1, roles));
        if let Some(who) = who {
            self.text("who", &format!("w{who}"));
        }
        let (verb, thing) = (self.any(&VERBS), self.any(&THINGS));
        let mark = self.chance.below(100);
        let (say, done) = if rung == 0 {
            (
                format!("ask the casualty for {thing} {mark}"),
                format!("Casualty has {thing} {mark}"),
            )
        } else {
            (
                format!("{verb} the {thing} at mark {mark}"),
                format!("Mark {mark} has the {thing}"),
            )
        };
        self.text("say", &say);
        self.text("done", &done);
        let (short, long) = (
            likely - self.chance.below(5),
            likely + self.chance.below(90),
        );
        self.line(&format!(
            "time = [\"{short} s\", \"{likely} s\", \"{long} s\"]"
        ));
        let near = milestone.is_some() || self.chance.one_in(2);
        // The last role stays in control and is never over the edge.
        let exposed = near && rung > 0 && who != Some(roles) && self.chance.one_in(2);
        for (key, on) in [
            ("near", near),
            ("exposed", exposed),
            ("committed", committed),
        ] {
            if on {
                self.line(&format!("{key} = true"));
            }
        }
        if exposed && self.chance.one_in(2) {
            self.text("caution", "Ties off first, partner checks.");
        }
        if let Some(milestone) = milestone {
            self.text("milestone", milestone);
        }
        if self.chance.one_in(4) {
            let other = self.any(&THINGS);
            self.line(&format!(
                "fallback = [{{ say = \"use the {other} by hand\", done = \"{done} by hand\" }}]"
            ));
        }
    }

    fn time(&mut self) {
        let short = self.from(8, 30);
        let likely = short + self.chance.below(30);
        let long = likely + self.chance.below(60);
        self.line(&format!(
            "time = [\"{short} s\", \"{likely} s\", \"{long} s\"]"
        ));
    }
}
