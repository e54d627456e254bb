//! Makes odd rescue plans from a seed: nobody on site, one person, forty; no kit, no ways, no methods or nine; confined
//! spaces, live supplies, names in many scripts, settings at their ends.
//!
//! Nobody would write such a plan on purpose, and somebody will. Most are read with warnings, a few are refused, and both
//! are wanted: the rescue has to go on with either. The same seed gives the same text on every machine.

use super::Chance;
use std::fmt::Write;

/// A plan as TOML. Nothing in it exists.
pub(crate) fn odd_plan_toml(seed: u64) -> String {
    let mut chance = Chance(seed ^ 0x0dd);
    let people = chance.among(&[0, 1, 1, 2, 2, 3, 4, 5, 7, 12, 40]);
    let positions = chance.among(&[0, 1, 1, 1, 2, 2, 3, 6, 12]);
    let places = chance.among(&[0, 1, 2, 3, 5, 9]).max(positions.min(1));
    let mut odd = Odd {
        stations: match places {
            0 => 0,
            _ => chance.among(&[0, 0, 1, 1, 2, 4]),
        },
        people: if places == 0 { 0 } else { people },
        chance,
        positions,
        places,
        out: String::new(),
    };
    odd.plan(seed);
    odd.out
}

const NAMES: [&str; 16] = [
    "Ola",
    "Ana María",
    "Łucja",
    "Ṣadé",
    "Йва",
    "林",
    "عمرة",
    "Zo\u{308}e",
    "\u{1f9d7}",
    "Wilhelmina-Theodora-Evangelina",
    "Bo {1}",
    "Kit \\\"Ladder\\\" Moss",
    "O'Dell",
    "50 %",
    "<b>Ivo</b>",
    "Ngọc",
];
const SKILLS: [&str; 5] = ["line work", "first aid", "climbing", "wärmedämmung", "boat"];
const KINDS: [&str; 6] = [
    "steps",
    "AED",
    "first-aid kit",
    "line bag",
    "connector",
    "lift",
];
const HAZARDS: [&str; 7] = [
    "electric",
    "moving-plant",
    "air",
    "explosive",
    "water",
    "traffic",
    "other",
];
const GROUNDS: [&str; 5] = ["firm", "water", "live-plant", "fragile-roof", "public"];
const RUNGS: [&str; 4] = [
    "self-rescue",
    "assisted-self-rescue",
    "mechanically-aided",
    "pick-off",
];
const NEEDS: [&str; 4] = ["answering", "climbing", "holding-on", "clipping"];

struct Odd {
    chance: Chance,
    out: String,
    people: u64,
    positions: u64,
    places: u64,
    stations: u64,
}

impl Odd {
    fn line(&mut self, line: &str) {
        writeln!(self.out, "{line}").expect("a text takes every line");
    }

    fn text(&mut self, key: &str, value: &str) {
        self.line(&format!("{key} = \"{value}\""));
    }

    fn below(&mut self, end: u64) -> u64 {
        self.chance.below(end)
    }

    fn name(&mut self, number: u64) -> String {
        let index = self.below(NAMES.len() as u64) as usize;
        format!("{} {number}", NAMES[index])
            .replace(' ', if number.is_multiple_of(2) { "" } else { " " })
    }

    fn word<'a>(&mut self, words: &[&'a str]) -> &'a str {
        words[self.chance.below(words.len() as u64) as usize]
    }

    fn place(&mut self) -> String {
        format!("p{}", self.chance.below(self.places))
    }

    fn person(&mut self) -> String {
        format!("r{}", self.chance.below(self.people))
    }

    /// Some of these words, each at most once, as a list.
    fn some(&mut self, words: &[&str]) -> String {
        let mut chosen = Vec::new();
        for word in words {
            if self.chance.one_in(3) {
                chosen.push(format!("\"{word}\""));
            }
        }
        format!("[{}]", chosen.join(", "))
    }

    fn some_people(&mut self, most: u64) -> String {
        let count = self.below(most + 1).min(self.people);
        let first = self.below(self.people);
        let people = (0..count).map(|it| format!("\"r{}\"", (first + it) % self.people.max(1)));
        format!("[{}]", people.collect::<Vec<_>>().join(", "))
    }

    fn three(&mut self) -> String {
        let short = self.below(40);
        let likely = short + self.below(60);
        let long = likely + self.below(600);
        format!("[\"{short} s\", \"{likely} s\", \"{long} s\"]")
    }

    fn plan(&mut self, seed: u64) {
        self.line("format = 1");
        self.line("[site]");
        let name = self.name(seed % 100);
        self.text("name", &name);
        self.text("revision", &seed.to_string());
        self.text("meeting_point", "the made gate");
        self.text("emergency_number", "112");
        self.line("invented = true");
        if self.places > 0 && self.chance.one_in(2) {
            let place = self.place();
            self.text("meeting_place", &place);
            self.line(&format!("landing_places = [\"{place}\"]"));
        }
        if self.chance.one_in(3) {
            self.line("[radio]");
            self.text("channel", "channel 9");
            if self.places > 0 {
                let place = self.place();
                self.line(&format!("dead_spots = [\"{place}\"]"));
            }
        }
        if self.chance.one_in(3) {
            self.line("[first_aid]");
            self.line("lines = [\"Lay the casualty flat.\", \"Call the works doctor.\"]");
        }
        self.policy();
        self.terrain();
        for number in 0..self.people {
            self.responder(number);
        }
        for number in 0..self.positions {
            self.position(number);
        }
    }

    fn policy(&mut self) {
        if self.chance.one_in(3) {
            return;
        }
        self.line("[policy]");
        for (key, ends) in [
            ("target", ["1 s", "9 min", "40 min"]),
            ("first_contact", ["1 s", "6 min", "20 min"]),
            ("call_confirm", ["1 s", "60 s", "2 h"]),
            ("call_gives_way", ["1 s", "10 s", "2 h"]),
            ("check_every", ["1 s", "60 s", "2 h"]),
            ("ask_again", ["1 s", "20 s", "2 h"]),
            ("recheck_after", ["1 s", "5 min", "2 h"]),
            ("order_answer", ["1 s", "30 s", "2 h"]),
            ("try_floor", ["0 %", "20 %", "100 %"]),
        ] {
            if self.chance.one_in(4) {
                let value = self.word(&ends);
                self.text(key, value);
            }
        }
        if self.chance.one_in(4) {
            let time = self.three();
            self.line(&format!("order_time = {time}"));
        }
    }

    fn terrain(&mut self) {
        for number in 0..self.places {
            self.line(&format!("[place.p{number}]"));
            self.text("name", &format!("place {number}"));
            self.text("level", &(number / 2).to_string());
        }
        // A chain of places with some stretches missing, and some ways beside it.
        for number in 1..self.places {
            if !self.chance.one_in(6) {
                self.link(number, number - 1);
            }
            if self.chance.one_in(4) {
                let to = self.below(number);
                self.link(number, to);
            }
        }
        for number in 0..self.stations {
            self.line(&format!("[station.s{number}]"));
            self.text("name", &format!("station {number}"));
            let place = self.place();
            self.text("place", &place);
            for item in 0..self.below(5) {
                self.line(&format!("[station.s{number}.kit.k{item}]"));
                let kind = self.word(&KINDS);
                self.text("name", &format!("{kind} {number}{item}"));
                self.text("kind", kind);
                let count = 1 + self.below(3);
                self.line(&format!("count = {count}"));
                if self.chance.one_in(6) {
                    self.text("out_of_service", "sent away");
                }
                if self.chance.one_in(6) {
                    self.text("inspection_due", "2020-01-01");
                }
            }
        }
    }

    fn link(&mut self, from: u64, to: u64) {
        let id = self.below(1_000_000);
        self.line(&format!("[link.l{id}-{from}-{to}]"));
        self.text("from", &format!("p{from}"));
        self.text("to", &format!("p{to}"));
        let kind = self.word(&[
            "walk",
            "stairs",
            "fixed-ladder",
            "scaffold-stair",
            "hoist",
            "vehicle",
        ]);
        self.text("kind", kind);
        let length = 1 + self.below(400);
        self.text("length", &format!("{length} m"));
        let rise = self.below(length + 1);
        self.text("rise", &format!("{rise} m"));
        if self.chance.one_in(8) {
            self.text("closed", "being painted");
        }
        if self.chance.one_in(4) {
            let time = self.three();
            self.line(&format!("time = {time}"));
        }
    }

    fn responder(&mut self, number: u64) {
        self.line(&format!("[responder.r{number}]"));
        let name = self.name(number);
        self.text("name", &name);
        let place = self.place();
        self.text("place", &place);
        let mut held = Vec::new();
        for skill in SKILLS {
            if self.chance.one_in(2) {
                let until = self.word(&["2020-01-01", "2039-01-01"]);
                held.push(format!("{{ name = \"{skill}\", until = \"{until}\" }}"));
            }
        }
        self.line(&format!("qualifications = [{}]", held.join(", ")));
        if self.chance.one_in(3) {
            self.line("competent = true");
        }
    }

    fn position(&mut self, number: u64) {
        let at = format!("position.o{number}");
        self.line(&format!("[{at}]"));
        let name = self.name(number);
        self.text("name", &name);
        for key in ["place", "approach", "landing"] {
            let place = self.place();
            self.text(key, &place);
        }
        if self.chance.one_in(2) {
            let ground = self.word(&GROUNDS);
            self.text("ground", ground);
        }
        if self.chance.one_in(3) {
            self.text("ground_control", "kept clear");
        }
        if self.people > 0 {
            let (workers, watchers) = (self.some_people(4), self.some_people(2));
            self.line(&format!("workers = {workers}"));
            self.line(&format!("watched_by = {watchers}"));
        }
        if self.chance.one_in(3) {
            self.line(&format!("[{at}.arrest]"));
            let kind = self.word(&[
                "lanyard",
                "self-retracting",
                "vertical-line",
                "horizontal-line",
            ]);
            self.text("kind", kind);
        }
        if self.chance.one_in(3) {
            self.line(&format!("[{at}.confined_space]"));
            let (allowed, conditions) = (self.chance.one_in(2), self.below(4));
            self.line(&format!("entry_allowed = {allowed}"));
            let conditions = (0..conditions).map(|it| format!("\"condition {it} holds\""));
            let conditions: Vec<String> = conditions.collect();
            self.line(&format!("conditions = [{}]", conditions.join(", ")));
        }
        for hazard in 0..self.chance.among(&[0, 0, 1, 2, 4]) {
            self.line(&format!("[{at}.hazard.h{hazard}]"));
            self.text("name", &format!("hazard {hazard}"));
            let kind = self.word(&HAZARDS);
            self.text("kind", kind);
            self.text("task", &format!("lock off hazard {hazard}"));
            self.text("done", &format!("Hazard {hazard} is locked off"));
            if self.people > 0 && self.chance.one_in(2) {
                let by = self.person();
                self.text("by", &by);
            }
        }
        for method in 0..self.chance.among(&[0, 1, 1, 2, 3, 4, 9]) {
            self.method(&format!("{at}.method.m{method}"), method);
        }
    }

    fn method(&mut self, at: &str, number: u64) {
        self.line(&format!("[{at}]"));
        self.text("name", &format!("way {number}"));
        let rung = match self.chance.one_in(4) {
            true => self.word(&RUNGS),
            false => RUNGS[(number % 4) as usize],
        };
        self.text("rung", rung);
        if self.chance.one_in(2) {
            let needs = self.some(&NEEDS);
            self.line(&format!("needs = {needs}"));
        }
        for key in ["change_after", "wind_max", "success", "rescuer_rescue"] {
            let value = match key {
                "change_after" => self.word(&["1 s", "3 min", "2 h"]),
                "wind_max" => self.word(&["1 m/s", "12 m/s"]),
                "success" => self.word(&["0 %", "50 %", "100 %"]),
                _ => "the other line",
            };
            if self.chance.one_in(3) {
                self.text(key, value);
            }
        }
        let (lowers, stops) = (self.chance.one_in(4), self.below(3));
        self.line(&format!("lowers = {lowers}"));
        let stops: Vec<String> = (0..stops).map(|it| format!("\"alarm {it}\"")).collect();
        self.line(&format!("stop_if = [{}]", stops.join(", ")));
        if self.chance.one_in(4) {
            let place = self.place();
            self.text("landing", &place);
        }
        let roles = self.chance.among(&[0, 1, 2, 2, 3, 6]);
        for role in 0..roles {
            self.line(&format!("[{at}.role.w{role}]"));
            let place = self.place();
            self.text("place", &place);
            if self.chance.one_in(2) {
                let skill = self.word(&SKILLS);
                self.text("qualification", skill);
            }
            if self.chance.one_in(2) {
                let kind = self.word(&KINDS);
                self.text("kit", kind);
            }
            if self.chance.one_in(3) {
                self.text("anchorage", "beam 3");
            }
            let enters = self.chance.one_in(3);
            self.line(&format!("enters = {enters}"));
        }
        let before = self.chance.among(&[0, 1, 2, 4, 8]);
        let after = self.chance.among(&[0, 1, 1, 2]);
        let contact = self.below(before + 1);
        for step in 0..=before + after {
            let milestone = match step {
                _ if step == before => Some("off-harness"),
                _ if step == before + after => Some("landing"),
                _ if step == contact && step < before => Some("first-contact"),
                _ => None,
            };
            self.step(at, step, roles, milestone);
        }
    }

    fn step(&mut self, at: &str, number: u64, roles: u64, milestone: Option<&str>) {
        self.line(&format!("[[{at}.step]]"));
        if roles > 0 && self.chance.one_in(2) {
            let role = self.below(roles);
            self.text("who", &format!("w{role}"));
        }
        self.text("say", &format!("do part {number}"));
        self.text("done", &format!("Part {number} is done"));
        let time = self.three();
        self.line(&format!("time = {time}"));
        for key in ["near", "exposed", "committed"] {
            if self.chance.one_in(3) {
                self.line(&format!("{key} = true"));
            }
        }
        if let Some(milestone) = milestone {
            self.text("milestone", milestone);
        }
        if self.chance.one_in(4) {
            let other = match roles {
                0 => String::new(),
                _ => format!("who = \"w{}\", ", self.below(roles)),
            };
            self.line(&format!(
                "fallback = [{{ {other}say = \"do it by hand\", done = \"Done by hand\" }}]"
            ));
        }
    }
}
