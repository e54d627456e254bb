//! Measures looking at a whole large site, at one position again, and what would help most, beside plainer ways of the same.
//!
//! The site is made from a seed: 200 positions, 1,000 places, 3,000 links, 60 responders, 12 stations. A look at it uses all
//! cores and 10,000 draws a position. Baselines in the same run: the same on one thread; a quarter of the positions, for the
//! growth; and per position the bare simulation of one method without any choice. Limits: a made site is more even than a
//! real one.

use groundward::compute::{looks, what_ifs};
use groundward::plan::{Plan, read};
use groundward::readiness::{Aim, Basis, Conditions, Depth, Outlook, Site, Terrain, Trials};
use std::fmt::Write;
use std::hint::black_box;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

/// In turn, each this often; the median counts.
const TURNS: usize = 5;

fn main() {
    // cargo asks every bench for its tests, and this one has none.
    if std::env::args().any(|it| it == "--test") {
        return;
    }
    let plan = plan(200);
    let conditions = Conditions::everybody(&plan, day());
    let never = AtomicBool::new(false);
    let whole = median(|| {
        black_box(looks(&plan, &conditions, Depth::SITE, &never));
    });
    let alone = median(|| {
        let site = Site::new(&plan, &conditions, Depth::SITE);
        for index in 0..site.len() {
            black_box(site.look(index));
        }
    });
    println!(
        "whole site, {} positions, {} draws: {:.2} s on all cores, {:.2} s on one, ratio {:.2}",
        plan.positions.len(),
        Depth::SITE.value_on,
        whole.as_secs_f64(),
        alone.as_secs_f64(),
        alone.as_secs_f64() / whole.as_secs_f64()
    );
    println!("growth, seconds on all cores, and ratio to straight growth from the smallest:");
    let mut first = None;
    for count in [25, 50, 100, 200, 400] {
        let plan = self::plan(count);
        let conditions = Conditions::everybody(&plan, day());
        let time = median(|| {
            black_box(looks(&plan, &conditions, Depth::SITE, &never));
        });
        let each = time.as_secs_f64() / count as f64;
        let straight: f64 = *first.get_or_insert(each);
        let bar = "#".repeat((time.as_secs_f64() * 20.0).round() as usize);
        println!(
            "  {count:4} positions  {:6.2}  {:5.2}  {bar}",
            time.as_secs_f64(),
            each / straight
        );
    }
    replanned(&plan);
    helps(&plan, &conditions, &never);
}

/// One position again in the middle of a rescue, as the tablet does it.
fn replanned(plan: &Plan) {
    let basis = |index: usize, aim| Basis {
        position: plan.positions[index].id.clone(),
        present: plan.responders.iter().map(|it| it.id.clone()).collect(),
        since_fall: groundward::units::Millis(95_000),
        aim,
        seed: 7,
        ..Basis::default()
    };
    let terrain = Terrain::new(plan);
    for (aim, what) in [
        (Aim::OffHarness, "off the harness"),
        (Aim::Hands, "hands first"),
    ] {
        let mut worst = Duration::ZERO;
        let mut all = Duration::ZERO;
        for index in 0..plan.positions.len() {
            let basis = basis(index, aim);
            let begun = Instant::now();
            black_box(Outlook::new(&terrain, &basis, Depth::LIVE, None));
            worst = worst.max(begun.elapsed());
            all += begun.elapsed();
        }
        println!(
            "one position re-planned, {what}: {:.1} ms in the mean, {:.1} ms at most",
            all.as_secs_f64() * 1e3 / plan.positions.len() as f64,
            worst.as_secs_f64() * 1e3
        );
    }
    let begun = Instant::now();
    black_box(Terrain::new(plan));
    println!(
        "  and {:.1} ms for the ways of the whole plan, once",
        begun.elapsed().as_secs_f64() * 1e3
    );
}

fn helps(plan: &Plan, conditions: &Conditions, never: &AtomicBool) {
    let begun = Instant::now();
    let seen = looks(plan, conditions, Trials::DEPTH, never).unwrap_or_default();
    let looked = begun.elapsed();
    let found = what_ifs(plan, conditions, &seen, never, |_| {});
    let all = begun.elapsed();
    println!(
        "what would help most: {} changes at the 10 worst positions in {:.1} s; one change costs {:.2} looks at the whole site",
        found.all,
        all.as_secs_f64(),
        (all - looked).as_secs_f64() / f64::from(found.all.max(1)) / looked.as_secs_f64()
    );
    let best = found.gains.iter().filter(|it| it.is_measurable()).count();
    println!("  measurable: {best}");
}

fn median(mut work: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..TURNS)
        .map(|_| {
            let begun = Instant::now();
            work();
            begun.elapsed()
        })
        .collect();
    times.sort_unstable();
    times[TURNS / 2]
}

fn day() -> chrono::NaiveDate {
    chrono::NaiveDate::from_ymd_opt(2031, 5, 12).unwrap_or_default()
}

/// A small seeded generator, so that the site is the same every time.
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % end
    }
}

const PLACES: usize = 1_000;
const LINKS: usize = 3_000;
const PEOPLE: usize = 60;
const STATIONS: usize = 12;
const SKILLS: [&str; 4] = ["rope rescue", "height rescue", "boom lift", "first aid"];
const KINDS: [&str; 4] = ["rope set", "pick-off kit", "boom lift", "litter"];

/// An invented site with that many positions.
fn plan(positions: usize) -> Plan {
    let mut chance = Chance(20_310_512);
    let mut text = String::from(
        "format = 1\n[site]\nname = \"Made site (invented)\"\nrevision = \"1\"\ninvented = true\nmeeting_point = \"gate\"\nemergency_number = \"112\"\n",
    );
    // Writing to a string cannot fail.
    for place in 0..PLACES {
        let _ = writeln!(
            text,
            "[place.p{place}]\nname = \"place {place}\"\nlevel = \"{}\"",
            place % 7
        );
    }
    for link in 0..LINKS {
        // A thread through all places keeps the site in one piece.
        let (from, to) = match link + 1 < PLACES {
            true => (link, link + 1),
            false => {
                let from = chance.below(PLACES);
                (from, (from + 1 + chance.below(60)) % PLACES)
            }
        };
        let (kind, rise) =
            [("walk", 0), ("stairs", 3), ("walk", 0), ("fixed-ladder", 4)][chance.below(4)];
        let _ = writeln!(
            text,
            "[link.l{link}]\nfrom = \"p{from}\"\nto = \"p{to}\"\nkind = \"{kind}\"\nlength = \"{} m\"\nrise = \"{rise} m\"",
            6 + chance.below(30)
        );
    }
    for station in 0..STATIONS {
        let _ = writeln!(
            text,
            "[station.s{station}]\nname = \"station {station}\"\nplace = \"p{}\"",
            station * 83
        );
        for (number, kind) in KINDS.iter().enumerate() {
            let count = chance.below(3);
            if count > 0 {
                let _ = writeln!(
                    text,
                    "[station.s{station}.kit.k{number}]\nname = \"{kind} {station}\"\nkind = \"{kind}\"\ncount = {count}"
                );
            }
        }
    }
    for person in 0..PEOPLE {
        let held: Vec<String> = SKILLS
            .iter()
            .filter(|_| chance.below(3) > 0)
            .map(|skill| format!("\"{skill}\""))
            .collect();
        let _ = writeln!(
            text,
            "[responder.r{person}]\nname = \"Person {person:02}\"\nplace = \"p{}\"\nqualifications = [{}]",
            chance.below(PLACES),
            held.join(", ")
        );
    }
    for position in 0..positions {
        let at = (position * 5 + 2) % PLACES;
        let _ = writeln!(
            text,
            "[position.w{position}]\nname = \"Work {position}\"\nplace = \"p{at}\"\napproach = \"p{}\"\nlanding = \"p{}\"\nground = \"firm\"\nworkers = [\"r{}\"]",
            (at + 1) % PLACES,
            (at + 2) % PLACES,
            position % PEOPLE
        );
        for method in 0..4 {
            method_text(&mut text, &mut chance, position, at, method);
        }
    }
    let reading = read("made.toml", text.as_bytes());
    let findings = reading.findings;
    reading
        .plan
        .unwrap_or_else(|| panic!("the made plan is refused: {:?}", findings.first()))
}

fn method_text(text: &mut String, chance: &mut Chance, position: usize, at: usize, method: usize) {
    let rung = [
        "assisted-self-rescue",
        "mechanically-aided",
        "mechanically-aided",
        "pick-off",
    ][method];
    let head = format!("position.w{position}.method.m{method}");
    let _ = writeln!(
        text,
        "[{head}]\nname = \"way {method}\"\nrung = \"{rung}\"\nsuccess = \"{} %\"\ndrills = 6",
        60 + chance.below(35)
    );
    for role in 0..3 {
        let _ = writeln!(
            text,
            "[{head}.role.a{role}]\nqualification = \"{}\"\nplace = \"p{}\"",
            SKILLS[(role + method) % 3],
            (at + role) % PLACES
        );
        if role < 2 {
            let _ = writeln!(text, "kit = \"{}\"", KINDS[(role + method) % KINDS.len()]);
        }
    }
    for step in 0..7 {
        let likely = 10 + chance.below(50);
        let milestone = [
            "",
            "",
            "milestone = \"first-contact\"\n",
            "",
            "",
            "milestone = \"off-harness\"\n",
            "milestone = \"landing\"\n",
        ][step];
        let fails = if step == 1 {
            "fails_after = \"90 s\"\n"
        } else {
            ""
        };
        let committed = step == 3 || step == 4 || step == 5;
        let _ = writeln!(
            text,
            "[[{head}.step]]\nwho = \"a{}\"\nsay = \"do part {step}\"\ndone = \"Part {step} is done\"\ntime = [\"{} s\", \"{likely} s\", \"{} s\"]\ncommitted = {committed}\n{fails}{milestone}",
            step % 3,
            likely / 2,
            likely * 3
        );
    }
}
