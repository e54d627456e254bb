//! Checks the rescue cards: that the paper says everything the plan does, in the right order, and that nothing is cut off.
//!
//! The pages are looked at from outside with poppler (`pdfinfo`, `pdftotext`) where it is installed; where it is not, those
//! tests say so and check nothing more. Sizes of paper: ISO 216 (A4) and ANSI/ASME Y14.1 (Letter), at 72 points to the inch.

use std::path::Path;
use std::process::{Command, Output};

use groundward::plan::{self, Plan};
use groundward::report::cards::{self, Card, Kind, Line, Mark};
use groundward::report::{Paper, html, pdf};
use groundward::words::Language;

const DEMOS: [(&str, &str); 2] = [
    ("grain-terminal.toml", plan::DEMO),
    ("bridge-repaint.toml", plan::DEMO_BRIDGE),
];
const PAPERS: [(Paper, f64, f64); 2] = [(Paper::A4, 595.28, 841.89), (Paper::Letter, 612.0, 792.0)];

/// Most words in what is said on the radio: the design's rule for words to say, judgement.
const RADIO_WORDS_MAX: usize = 20;

fn read(name: &str, text: &str) -> Plan {
    let reading = plan::read(name, text.as_bytes());
    let errors: Vec<String> = reading
        .findings
        .iter()
        .map(|it| format!("{}: {}", it.place, it.message))
        .collect();
    reading
        .plan
        .unwrap_or_else(|| panic!("{name} is fit: {errors:#?}"))
}

fn made(name: &str, text: &str) -> Vec<Card> {
    cards::all(&read(name, text), text.as_bytes(), Language::English)
}

fn made_pdf(made: &[Card], paper: Paper) -> Vec<u8> {
    pdf::cards(made, paper).expect("the cards become a PDF")
}

/// What a reader of the HTML sees, on one line, in small letters, with ordinary spaces.
fn seen(html: &[u8]) -> String {
    let text = std::str::from_utf8(html).expect("HTML is UTF-8");
    let (_, body) = text.split_once("<body>").expect("there is a body");
    let mut out = String::new();
    let mut inside = false;
    for letter in body.chars() {
        match letter {
            '<' => inside = true,
            '>' => inside = false,
            letter if !inside => out.push(letter),
            _ => {}
        }
    }
    let out = [
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&quot;", "\""),
        ("&#39;", "'"),
        ("&amp;", "&"),
    ]
    .iter()
    .fold(out, |out, (entity, letter)| out.replace(entity, letter));
    flat(&out)
}

fn flat(text: &str) -> String {
    text.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .to_lowercase()
}

/// Everything that a position's card must say, each with what it is.
fn promised(plan: &Plan, id: &str) -> Vec<(String, String)> {
    let position = plan.position(id).expect("the position is in the plan");
    let place = |id: &str| {
        plan.place(id)
            .expect("the place is in the plan")
            .name
            .clone()
    };
    let mut all = vec![
        ("name".to_owned(), position.name.clone()),
        ("landing".to_owned(), place(&position.landing)),
    ];
    let mut add = |what: &str, text: &str| all.push((what.to_owned(), text.to_owned()));
    add("approach", &place(&position.approach));
    for text in [&position.below, &position.ground_control, &position.moves]
        .into_iter()
        .flatten()
    {
        add("position", text);
    }
    for hazard in &position.hazards {
        add("hazard", &hazard.name);
        add("task", &hazard.task);
        add("hazard done", &hazard.done);
        hazard.proof.iter().for_each(|it| add("proof", it));
        let by = hazard.by.as_ref().and_then(|id| plan.responder(id));
        by.iter().for_each(|it| add("hazard by", &it.name));
    }
    if let Some(space) = &position.confined_space {
        space
            .conditions
            .iter()
            .chain(&space.retrieval)
            .chain(&space.attendant)
            .for_each(|it| add("entry", it));
    }
    for outside in &plan.outside_rescues {
        add("outside", &outside.name);
        outside.telephone.iter().for_each(|it| add("telephone", it));
    }
    for method in &position.methods {
        add("method", &method.name);
        method
            .stop_if
            .iter()
            .chain(&method.rescuer_rescue)
            .for_each(|it| add("method", it));
        method
            .landing
            .iter()
            .for_each(|it| add("landing of the method", &place(it)));
        for role in &method.roles {
            add("role", &role.id.replace(['-', '_'], " "));
            role.qualification
                .iter()
                .chain(&role.anchorage)
                .for_each(|it| add("role", it));
            add("role stands", &place(&role.place));
            let Some(kind) = &role.kit else { continue };
            add("kind of kit", kind);
            for station in &plan.stations {
                for item in station
                    .kit
                    .iter()
                    .filter(|it| it.kind == *kind && it.in_service())
                {
                    add(
                        "kit",
                        item.name
                            .strip_prefix(kind.as_str())
                            .unwrap_or(&item.name)
                            .trim(),
                    );
                    add("station", &station.name);
                    add("place of the station", &place(&station.place));
                }
            }
        }
        for step in &method.steps {
            add("step", &step.say);
            add("step done", &step.done);
            step.caution.iter().for_each(|it| add("caution", it));
            for fallback in &step.fallback {
                add("fallback", &fallback.say);
                add("fallback done", &fallback.done);
            }
        }
    }
    if let Some(own) = &plan.first_aid {
        own.lines
            .iter()
            .chain(&own.source)
            .for_each(|it| add("first aid", it));
    }
    all
}

#[test]
fn the_html_says_everything_that_the_plan_says_of_a_position() {
    for (name, text) in DEMOS {
        let plan = read(name, text);
        for card in made(name, text) {
            let seen = seen(&html::cards(std::slice::from_ref(&card), Paper::A4));
            for (what, text) in promised(&plan, &card.id) {
                assert!(
                    seen.contains(&flat(&text)),
                    "{name}, {}: {what} `{text}` is missing",
                    card.id
                );
            }
        }
    }
}

#[test]
fn what_a_plan_says_is_never_read_as_html() {
    let hostile = r#"<script>alert("1 & 2")</script> 'x'"#;
    let named = format!("name = '''{hostile}'''");
    let text = plan::BARE.replace("name = \"Place not in a plan\"", &named);
    let made = made("hostile.toml", &text);
    let html = html::cards(&made, Paper::A4);
    assert!(seen(&html).contains(&flat(hostile)));
    let html = String::from_utf8(html).expect("HTML is UTF-8");
    assert!(!html.contains("<script"), "a tag came through");
    assert!(html.contains("&lt;script&gt;alert(&quot;1 &amp; 2&quot;)&lt;/script&gt; &#39;x&#39;"));
}

#[test]
fn the_html_names_its_language_and_has_headings_in_order() {
    let html = String::from_utf8(html::cards(&made(DEMOS[0].0, DEMOS[0].1), Paper::Letter))
        .expect("HTML is UTF-8");
    assert!(html.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
    assert!(html.contains("@page{size:letter;margin:0}"));
    let headings: Vec<char> = html
        .match_indices("<h")
        .filter_map(|(at, _)| html[at + 2..].chars().next())
        .collect();
    let headings: Vec<u32> = headings.iter().filter_map(|it| it.to_digit(10)).collect();
    assert_eq!(headings.first(), Some(&1));
    assert!(
        headings.windows(2).all(|two| two[1] <= two[0] + 1),
        "a level of headings is skipped"
    );
    for outside in ["http:", "https:", "<script", "<link", "<img"] {
        assert!(
            !html.contains(outside),
            "{outside} asks for something that is not in the file"
        );
    }
}

#[test]
fn the_same_cards_give_the_same_bytes() {
    let made = made(DEMOS[0].0, DEMOS[0].1);
    for (paper, ..) in PAPERS {
        assert_eq!(made_pdf(&made, paper), made_pdf(&made, paper));
        assert_eq!(html::cards(&made, paper), html::cards(&made, paper));
    }
}

/// The order of first aid: lay flat, bleeding, airway (HSE first-aid advice 2008; ICAR MedCom 2023; Mortimer 2011).
#[test]
fn aftercare_lays_flat_first_and_nobody_is_kept_upright() {
    let order = [
        "flat",
        "bleeding",
        "airway",
        "cpr",
        "on the side",
        "warm",
        "every minute",
        "doctor",
    ];
    let plans = DEMOS.into_iter().chain([("bare.toml", plan::BARE)]);
    for card in plans.flat_map(|(name, text)| made(name, text)) {
        let part = card
            .parts
            .iter()
            .find(|it| it.kind == Kind::Aftercare)
            .expect("every card has aftercare");
        let entries = part.lines.iter().filter_map(|line| match line {
            Line::Entry(entry) => Some(entry),
            _ => None,
        });
        let entries: Vec<_> = entries.collect();
        let first = entries
            .iter()
            .find(|entry| entry.mark == Mark::Number(1))
            .expect("there is a first thing to do");
        assert!(
            first.text().to_lowercase().contains("flat"),
            "{}: {}",
            card.id,
            first.text()
        );
        // The built-in lines are the last eight, or one text of eight sentences below the plan's own.
        let own = entries
            .iter()
            .rposition(|entry| entry.text().contains("Lay the casualty flat."))
            .expect("it is there");
        let built_in: Vec<String> = entries[own..]
            .iter()
            .map(|entry| entry.text().to_lowercase())
            .collect();
        let built_in = built_in.join(" ");
        let places: Vec<usize> = order
            .iter()
            .map(|word| {
                built_in
                    .find(word)
                    .unwrap_or_else(|| panic!("{}: no `{word}` in {built_in}", card.id))
            })
            .collect();
        assert!(places.is_sorted(), "{}: {built_in}", card.id);
        for text in card.texts() {
            let text = text.to_lowercase();
            for word in ["upright", "sitting", "sit up", "seated"] {
                assert!(!text.contains(word), "{}: {text}", card.id);
            }
        }
    }
}

#[test]
fn no_time_is_called_safe_and_no_chance_is_shown() {
    for card in DEMOS.into_iter().flat_map(|(name, text)| made(name, text)) {
        assert!(
            card.foot
                .iter()
                .any(|it| it.contains("No time in suspension is safe."))
        );
        let methods = card.parts.iter().filter(|it| it.kind == Kind::Method);
        for line in methods.flat_map(|part| &part.lines) {
            if let Line::Entry(entry) = line {
                assert!(!entry.text().contains('%'), "{}: {}", card.id, entry.text());
            }
        }
    }
}

#[test]
fn the_words_to_say_are_short_and_begin_as_they_must() {
    let long = "The very long name of a place that somebody wrote down with every word that came to mind on that day";
    let text = plan::BARE.replace(
        "name = \"Place not in a plan\"",
        &format!("name = \"{long}\""),
    );
    let all = DEMOS.into_iter().flat_map(|(name, text)| made(name, text));
    for card in all.chain(made("long.toml", &text)) {
        let entries = |kind: Kind| {
            let part = card
                .parts
                .iter()
                .find(|it| it.kind == kind)
                .expect("every card has this part");
            part.lines.iter().filter_map(|line| match line {
                Line::Entry(entry) => Some(entry.text()),
                _ => None,
            })
        };
        let radio = entries(Kind::Radio)
            .next()
            .expect("there are words for the radio");
        assert!(
            radio.split_whitespace().count() <= RADIO_WORDS_MAX,
            "{radio}"
        );
        let place = card
            .name
            .split_whitespace()
            .next()
            .expect("the position has a name");
        assert!(radio.contains(place), "{radio} does not say where");
        let call: Vec<String> = entries(Kind::Call).collect();
        let said = call
            .iter()
            .find(|it| it.starts_with('\u{201c}'))
            .expect("there are words for the call");
        assert_eq!(
            said,
            "\u{201c}Person hanging in a harness at height. We need height rescue and an ambulance.\u{201d}"
        );
    }
}

#[test]
fn a_position_without_a_method_says_stop_first() {
    let mut stopped = 0;
    for card in DEMOS.into_iter().flat_map(|(name, text)| made(name, text)) {
        let methods = card
            .parts
            .iter()
            .filter(|it| it.kind == Kind::Method)
            .count();
        let stop = card.parts.first().is_some_and(|it| it.kind == Kind::Stop);
        assert_eq!(stop, methods == 0, "{}", card.id);
        if stop {
            stopped += 1;
            let said = card.texts().join(" ");
            assert!(
                said.contains("STOP") && said.contains("No rescue method. Nobody works here."),
                "{said}"
            );
        }
    }
    let text = "format = 1\n[site]\nname = \"Yard\"\nrevision = \"1\"\nemergency_number = \"112\"\nmeeting_point = \"gate\"\n\
                [place.a]\nname = \"a\"\nlevel = \"0\"\n[position.p]\nname = \"Mast\"\nplace = \"a\"\napproach = \"a\"\nlanding = \"a\"\n";
    assert_eq!(made("stop.toml", text)[0].parts[0].kind, Kind::Stop);
    assert!(stopped >= 1, "the examples show a place where nobody works");
}

#[test]
fn electric_supply_and_confined_spaces_are_told_before_the_hazards_are_dealt_with() {
    let text = DEMOS[0].1;
    for card in made(DEMOS[0].0, text) {
        let plan = read(DEMOS[0].0, text);
        let position = plan
            .position(&card.id)
            .expect("the position is in the plan");
        let part = card
            .parts
            .iter()
            .find(|it| it.kind == Kind::MakeSafe)
            .expect("every card begins with make safe");
        let said: Vec<String> = part
            .lines
            .iter()
            .filter_map(|line| match line {
                Line::Entry(entry) => Some(entry.text()),
                _ => None,
            })
            .collect();
        let electric = said
            .iter()
            .position(|it| it.contains("until the supply is confirmed off"));
        let has_electric = position
            .hazards
            .iter()
            .any(|it| it.kind == plan::HazardKind::Electric);
        assert_eq!(electric.is_some(), has_electric, "{}", card.id);
        if let (Some(electric), Some(hazard)) = (electric, position.hazards.first()) {
            let first = said
                .iter()
                .position(|it| flat(it).starts_with(&flat(&hazard.name)));
            assert!(first > Some(electric), "{}: {said:#?}", card.id);
        }
        if let Some(space) = &position.confined_space {
            let rule = if space.entry_allowed {
                "until each line is confirmed"
            } else {
                "Nobody goes in, not for a rescue"
            };
            assert!(
                said.iter().any(|it| it.contains(rule)),
                "{}: {said:#?}",
                card.id
            );
            assert!(
                said.iter()
                    .any(|it| it.starts_with("Out without going in:")),
                "{}: {said:#?}",
                card.id
            );
        }
    }
}

#[test]
fn two_plans_are_told_apart_by_their_bytes() {
    // SHA-256 of "abc" is ba7816bf 8f01cfea ... (FIPS 180-4).
    assert_eq!(cards::fingerprint(b"abc"), "ba7816bf8f01cfea");
    let card = &made(DEMOS[0].0, DEMOS[0].1)[0];
    assert!(
        card.foot
            .iter()
            .any(|it| it.contains(&cards::fingerprint(DEMOS[0].1.as_bytes())))
    );
}

#[test]
fn letters_that_the_typeface_lacks_are_named() {
    let text = plan::BARE.replace("name = \"Place not in a plan\"", "name = \"Дах 2\"");
    let made = made("letters.toml", &text);
    let missing: String = pdf::missing(&made).into_iter().collect();
    assert_eq!(missing, "Дах");
    for (name, text) in DEMOS {
        assert!(
            pdf::missing(&self::made(name, text)).is_empty(),
            "{name} has letters that paper cannot show"
        );
    }
}

// ---------------------------------------------------------------------------------------------------------------
// The pages, looked at from outside.

/// Runs a program of poppler on a PDF; nothing where it is not installed.
fn poppler(program: &str, arguments: &[&str], pdf: &Path) -> Option<String> {
    let run = Command::new(program)
        .args(arguments)
        .arg(pdf)
        .arg("-")
        .output();
    let run = match run {
        Err(_) => {
            eprintln!("{program} is not installed: this test checks nothing");
            return None;
        }
        Ok(run) => run,
    };
    assert!(
        run.status.success(),
        "{program}: {}",
        String::from_utf8_lossy(&run.stderr)
    );
    Some(String::from_utf8_lossy(&run.stdout).into_owned())
}

fn info(pdf: &Path, pages: usize) -> Option<String> {
    let last = pages.to_string();
    let run = Command::new("pdfinfo")
        .args(["-f", "1", "-l", &last])
        .arg(pdf)
        .output()
        .ok()?;
    Some(String::from_utf8_lossy(&run.stdout).into_owned())
}

/// A word on a page: its box, left, top, right, bottom.
struct Word {
    page: usize,
    text: String,
    edges: [f64; 4],
}

/// The words of a PDF with their boxes.
fn words(pdf: &Path) -> Option<(Vec<[f64; 2]>, Vec<Word>)> {
    let said = poppler("pdftotext", &["-bbox"], pdf)?;
    let number = |line: &str, name: &str| -> f64 {
        let (_, rest) = line
            .split_once(&format!("{name}=\""))
            .expect("the box has all its edges");
        let (number, _) = rest.split_once('"').expect("the attribute ends");
        number.parse().expect("an edge is a number")
    };
    let mut pages = Vec::new();
    let mut words = Vec::new();
    for line in said.lines().map(str::trim) {
        if line.starts_with("<page ") {
            pages.push([number(line, "width"), number(line, "height")]);
        } else if line.starts_with("<word ") {
            let (_, rest) = line.split_once('>').expect("the tag ends");
            let text = rest.trim_end_matches("</word>").to_owned();
            let edges = ["xMin", "yMin", "xMax", "yMax"].map(|name| number(line, name));
            words.push(Word {
                page: pages.len(),
                text,
                edges,
            });
        }
    }
    Some((pages, words))
}

fn saved(folder: &Path, name: &str, bytes: &[u8]) -> std::path::PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).expect("a file is written to a fresh folder");
    path
}

/// Nothing stands nearer to the edge than printers reach: 5 mm, common practice, no source.
const EDGE_PT: f64 = 5.0 / 25.4 * 72.0;

#[track_caller]
fn check_pages(made: &[Card], pdf: &Path, size: (f64, f64)) -> Option<usize> {
    let (pages, words) = words(pdf)?;
    for page in &pages {
        assert!(
            (page[0] - size.0).abs() < 0.5 && (page[1] - size.1).abs() < 0.5,
            "{page:?}"
        );
    }
    for word in &words {
        let [left, top, right, bottom] = word.edges;
        let inside = left >= EDGE_PT
            && top >= EDGE_PT
            && right <= size.0 - EDGE_PT
            && bottom <= size.1 - EDGE_PT;
        assert!(
            inside,
            "`{}` leaves page {}: {:?}",
            word.text, word.page, word.edges
        );
    }
    // Every text of every card is on the paper, word for word; poppler may cut words apart where the weight changes.
    let letters = |text: &str| {
        text.chars()
            .filter(|it| !it.is_whitespace())
            .collect::<String>()
    };
    let plain = poppler("pdftotext", &["-raw"], pdf)?;
    let plain = letters(&plain);
    for card in made {
        for part in &card.parts {
            let heading = part.heading.as_deref().unwrap_or_default();
            assert!(
                plain.contains(&letters(heading)),
                "{}: heading `{heading}` is missing",
                card.id
            );
        }
        for text in [&card.name, &card.site, &card.place] {
            assert!(
                plain.contains(&letters(text)),
                "{}: `{text}` is missing",
                card.id
            );
        }
    }
    Some(pages.len())
}

#[test]
fn pages_have_the_size_of_the_paper_and_nothing_leaves_them() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    for (name, text) in DEMOS {
        let made = made(name, text);
        for (paper, width, height) in PAPERS {
            let path = saved(folder.path(), "cards.pdf", &made_pdf(&made, paper));
            let Some(pages) = check_pages(&made, &path, (width, height)) else {
                return;
            };
            let Some(said) = poppler("pdftotext", &["-raw"], &path) else {
                return;
            };
            // A position takes one page unless the page says that it goes on.
            let continued: usize = (2..=9)
                .map(|of| {
                    let first = format!("Page 1 of {of} for this position");
                    (of - 1) * said.matches(&first).count()
                })
                .sum();
            assert_eq!(pages, made.len() + continued, "{name}");
            assert!(
                pages <= 3 * made.len(),
                "{name} takes {pages} pages for {} positions",
                made.len()
            );
        }
    }
}

/// The longer language keeps to the paper as well, and nothing of the plan is lost on the way.
#[test]
fn spanish_cards_keep_to_the_paper() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    for (name, text) in DEMOS {
        let made = cards::all(&read(name, text), text.as_bytes(), Language::Spanish);
        for (paper, width, height) in PAPERS {
            let path = saved(folder.path(), "tarjetas.pdf", &made_pdf(&made, paper));
            let Some(pages) = check_pages(&made, &path, (width, height)) else {
                return;
            };
            assert!(pages <= 3 * made.len(), "{name} takes {pages} pages");
        }
    }
}

/// What says DRILL on a card in each language.
const DRILL_WORDS: [(Language, &str); 2] = [
    (Language::English, "DRILL"),
    (Language::Spanish, "SIMULACRO"),
];

fn for_drills(name: &str, text: &str, language: Language) -> Vec<Card> {
    let made = cards::all(&read(name, text), text.as_bytes(), language);
    made.into_iter().map(Card::for_drills).collect()
}

#[test]
fn a_card_for_drills_says_so_above_below_and_where_something_is_called_and_no_other_does() {
    for (name, text) in DEMOS {
        for (language, word) in DRILL_WORDS {
            let plain = cards::all(&read(name, text), text.as_bytes(), language);
            for (card, plain) in for_drills(name, text, language).iter().zip(&plain) {
                assert!(card.kicker.contains(word), "{}", card.kicker);
                assert!(card.name.starts_with(word), "{}", card.name);
                assert!(card.name.ends_with(&plain.name), "the place stays");
                let foot = card.foot.first().expect("a card has a foot");
                assert!(foot.starts_with(word), "{foot}");
                for kind in [Kind::Call, Kind::Radio] {
                    let part = card.parts.iter().find(|it| it.kind == kind);
                    let first = part.and_then(|it| it.lines.first());
                    let Some(Line::Entry(first)) = first else {
                        panic!("the part begins with a text: {first:?}");
                    };
                    let said = first.text().to_uppercase();
                    assert!(said.contains(word), "{said}");
                }
                // All else is the card that hangs there.
                let (texts, others) = (card.texts(), plain.texts());
                assert_eq!(texts.len(), others.len() + 3, "foot, call, radio");
                for other in others {
                    let changed = other == plain.kicker || other == plain.name;
                    assert!(changed || texts.contains(&other), "{other}");
                }
                let says = |it: &String| it.to_uppercase().contains(word);
                assert!(
                    !plain.texts().iter().any(says),
                    "a rescue card is no drill's"
                );
            }
        }
    }
}

#[test]
fn every_page_for_drills_says_so_above_and_below_and_keeps_to_the_paper() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    for (name, text) in DEMOS {
        for (language, word) in DRILL_WORDS {
            let made = for_drills(name, text, language);
            let html = String::from_utf8(html::cards(&made, Paper::A4)).expect("it is UTF-8");
            let pages = html.matches("<div class=\"page\"").count();
            let heads = html.split("<div class=\"page\"").skip(1);
            for page in heads {
                let (head, rest) = page.split_once("<section").expect("a page has parts");
                assert!(head.contains(word), "{head}");
                let foot = rest.split_once("<footer").expect("a page has a foot").1;
                assert!(foot.contains(word), "{foot}");
            }
            let title = html
                .split_once("<title>")
                .and_then(|it| it.1.split_once("</title>"));
            assert!(title.is_some_and(|it| it.0.contains(word)), "{title:?}");
            let pdf = saved(folder.path(), "drill.pdf", &made_pdf(&made, Paper::A4));
            let Some(said) = poppler("pdftotext", &["-layout"], &pdf) else {
                continue;
            };
            let (_, width, height) = PAPERS[0];
            assert_eq!(check_pages(&made, &pdf, (width, height)), Some(pages));
            for page in said.split('\u{c}').filter(|it| !it.trim().is_empty()) {
                let lines: Vec<&str> = page.lines().filter(|it| !it.trim().is_empty()).collect();
                let (first, last) = (lines[0], &lines[lines.len().saturating_sub(6)..]);
                assert!(first.contains(word), "{first}");
                assert!(last.iter().any(|it| it.contains(word)), "{last:?}");
            }
        }
    }
}

#[test]
fn a_pdf_has_a_title_and_tags() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let made = made(DEMOS[0].0, DEMOS[0].1);
    let bytes = made_pdf(&made, Paper::A4);
    assert!(bytes.starts_with(b"%PDF-"));
    let path = saved(folder.path(), "cards.pdf", &bytes);
    let Some(said) = info(&path, 1) else { return };
    assert!(
        said.contains(&format!("Title:           Rescue cards: {}", made[0].site)),
        "{said}"
    );
    assert!(said.contains("Tagged:          yes"), "{said}");
    assert!(!said.contains("CreationDate"), "{said}");
}

/// A plan whose every text is long and whose methods have many steps.
fn endless() -> String {
    let name = "a name that goes on and on until nobody remembers how it began ".repeat(12);
    let mut text = format!(
        "format = 1\n[site]\nname = \"{name}\"\nrevision = \"{name}\"\napproved_by = \"{name}\"\nemergency_number = \"112\"\n\
         meeting_point = \"{name}\"\n[place.a]\nname = \"{name}\"\nlevel = \"{name}\"\n[station.s]\nname = \"{name}\"\nplace = \"a\"\n\
         [station.s.kit.k]\nname = \"{name}\"\nkind = \"{name}\"\n[position.p]\nname = \"{name}\"\nplace = \"a\"\napproach = \"a\"\n\
         landing = \"a\"\nbelow = \"{}\"\n",
        "x".repeat(900)
    );
    for method in 0..5 {
        text.push_str(&format!(
            "[position.p.method.m{method}]\nname = \"way {method}\"\nrung = \"mechanically-aided\"\nchange_after = \"3 min\"\n\
             stop_if = [\"{name}\"]\n[position.p.method.m{method}.role.r]\nplace = \"a\"\nkit = \"{name}\"\n"
        ));
        for step in 0..40 {
            text.push_str(&format!(
                "[[position.p.method.m{method}.step]]\nwho = \"r\"\nsay = \"do the thing with number {method}x{step}\"\n\
                 done = \"Done {method}y{step}\"\ncaution = \"{name}.\"\ntime = [\"1 s\", \"2 s\", \"3 s\"]\n{}",
                if step == 39 { "milestone = \"off-harness\"\n" } else { "" }
            ));
        }
    }
    text
}

#[test]
fn an_endless_plan_goes_on_over_further_pages_and_loses_nothing() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let text = endless();
    let made = made("endless.toml", &text);
    let html = seen(&html::cards(&made, Paper::A4));
    for (paper, width, height) in PAPERS {
        let path = saved(folder.path(), "cards.pdf", &made_pdf(&made, paper));
        let Some((pages, words)) = words(&path) else {
            return;
        };
        assert!(pages.len() > 5, "{} pages", pages.len());
        for word in &words {
            let [left, top, right, bottom] = word.edges;
            let inside = left >= EDGE_PT
                && top >= EDGE_PT
                && right <= width - EDGE_PT
                && bottom <= height - EDGE_PT;
            assert!(
                inside,
                "`{}` leaves page {}: {:?}",
                word.text, word.page, word.edges
            );
        }
        let Some(said) = poppler("pdftotext", &["-raw"], &path) else {
            return;
        };
        let letters: String = said.chars().filter(|it| !it.is_whitespace()).collect();
        for method in 0..5 {
            for step in 0..40 {
                for mark in [
                    format!("number{method}x{step}"),
                    format!("Done{method}y{step}."),
                ] {
                    assert!(letters.contains(&mark), "{mark} is cut off");
                }
                assert!(
                    html.contains(&format!("number {method}x{step}")),
                    "the HTML loses {method}x{step}"
                );
            }
        }
    }
}

// ---------------------------------------------------------------------------------------------------------------
// The command.

fn run(arguments: &[&str]) -> Output {
    let run = Command::new(env!("CARGO_BIN_EXE_groundward"))
        .arg("cards")
        .args(arguments)
        .output();
    run.expect("the program starts")
}

#[track_caller]
fn check_run(arguments: &[&str], code: i32, says: &[&str]) {
    let run = run(arguments);
    let said = [run.stdout, run.stderr]
        .map(|it| String::from_utf8_lossy(&it).into_owned())
        .concat();
    assert_eq!(run.status.code(), Some(code), "{arguments:?}: {said}");
    for text in says {
        assert!(said.contains(text), "{arguments:?}: no `{text}` in {said}");
    }
}

#[test]
fn the_command_writes_one_file_or_says_why_not() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let at = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    saved(folder.path(), "site.toml", DEMOS[0].1.as_bytes());
    saved(folder.path(), "unfit.toml", b"format = 1\n");
    saved(folder.path(), "noise.toml", b"\xff\xfe");
    let (site, pdf, page) = (at("site.toml"), at("cards.pdf"), at("cards.HTML"));

    check_run(
        &[&site, "-o", &pdf],
        0,
        &["Wrote ", "A4", "nobody works there"],
    );
    assert!(std::fs::read(&pdf).is_ok_and(|bytes| bytes.starts_with(b"%PDF-")));
    check_run(
        &[
            &site,
            "--position",
            "silo3",
            "--paper",
            "letter",
            "-o",
            &page,
        ],
        0,
        &["Silo 3 roof, east hatch", "Letter"],
    );
    check_run(
        &[&site, "--position", "SHIP loader, boom tip", "-o", &page],
        0,
        &["rescue card of Ship loader"],
    );
    assert!(std::fs::read(&page).is_ok_and(|bytes| bytes.starts_with(b"<!DOCTYPE html>")));

    let drill = at("drill.html");
    check_run(
        &[&site, "--drill", "--position", "silo3", "-o", &drill],
        0,
        &["DRILL card of Silo 3 roof, east hatch"],
    );
    assert!(std::fs::read_to_string(&drill).is_ok_and(|it| it.contains("DRILL: Silo 3 roof")));
    std::fs::remove_file(&drill).expect("it was written");
    let hangs_there = std::fs::read_to_string(&page).expect("it was written");
    assert!(!hangs_there.contains("DRILL"), "without it nothing changes");

    check_run(
        &[&site, "--position", "shp loder", "-o", &page],
        2,
        &["no position `shp loder`", "`loader`"],
    );
    check_run(&[&site, "-o", &at("cards.doc")], 2, &[".pdf or .html"]);
    check_run(
        &[&at("unfit.toml"), "-o", &pdf],
        1,
        &["not fit to use", "groundward check"],
    );
    check_run(&[&at("noise.toml"), "-o", &pdf], 2, &["not fit to use"]);
    check_run(&[&at("nothing.toml"), "-o", &pdf], 2, &["cannot be read"]);
    check_run(&[&site], 2, &["--output"]);
    let mut left: Vec<String> = std::fs::read_dir(folder.path())
        .expect("the folder is there")
        .filter_map(|entry| Some(entry.ok()?.file_name().to_string_lossy().into_owned()))
        .collect();
    left.sort();
    assert_eq!(
        left,
        [
            "cards.HTML",
            "cards.pdf",
            "noise.toml",
            "site.toml",
            "unfit.toml"
        ]
    );
}
