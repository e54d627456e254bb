//! Holds the timeline to the record: nothing is left out, nothing lies outside the picture, and no two texts meet.
//!
//! The journals are the golden ones here, and every simulated life looks at its own (`simulate`). Python's `xml.etree`, which
//! is strict, reads each picture as XML. To look at them: `cargo test --test all -- timeline::to_look_at --ignored` writes
//! those of the journals in the folder `GROUNDWARD_JOURNALS` beside them.

use crate::support::oracle;
use groundward::incident::{Event, Record, State};
use groundward::journal::disk::RealDisk;
use groundward::journal::read;
use groundward::report::drawing::{Anchor, Drawing, Ink, Shape, Text};
use groundward::report::face::Faces;
use groundward::report::timeline::{Frame, TimelineDrawing};
use groundward::review::timeline::{About, Ended, Kind, Of, Planned, Timeline};
use groundward::review::{self, Sign};
use groundward::units::Millis;
use groundward::words::Language;
use serde_json::json;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

const QUIET: &str = "20261125T194636Z-7adc";
const TURNS: &str = "20261126T013609Z-6779";
const LANGUAGES: [Language; 3] = [Language::English, Language::Spanish, Language::Pseudo];

/// How high letters reach above their line and below it, in parts of their size: capitals of the face are 0.75 high.
const ABOVE: f32 = 0.75;
const BELOW: f32 = 0.22;

fn golden() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join("golden")
}

fn records(folder: &Path, incident: &str) -> Vec<Record> {
    let found =
        read::read(&RealDisk, &[folder.to_owned()], incident).expect("the journal is there");
    let lines = found.records.iter();
    lines
        .map(|it| Record::from_json(&it.text).expect("it can be read"))
        .collect()
}

/// The journal in which nearly everything turned.
pub(crate) fn turns() -> Vec<Record> {
    records(&golden(), TURNS)
}

fn timeline(records: &[Record]) -> Timeline {
    Timeline::of(records).expect("an incident began")
}

fn drawn(records: &[Record], language: Language, size: f32, width: f32) -> Drawing {
    let timeline = timeline(records);
    let lines = review::lines(records, language);
    let drawing = TimelineDrawing {
        timeline: &timeline,
        lines: &lines,
        language,
        faces: &Faces::new(),
    };
    drawing.draw(&Frame::whole(&timeline, width, size))
}

/// Left, top, right and bottom of what is drawn.
fn bounds(shape: &Shape, faces: &Faces) -> [f32; 4] {
    match shape {
        Shape::Line { from, to, .. } => [
            from.x.min(to.x),
            from.y.min(to.y),
            from.x.max(to.x),
            from.y.max(to.y),
        ],
        Shape::Rectangle {
            at, width, height, ..
        } => [at.x, at.y, at.x + width, at.y + height],
        Shape::Polygon { corners, .. } => {
            let first = corners.first().expect("an area has corners");
            let start = [first.x, first.y, first.x, first.y];
            corners.iter().fold(start, |[l, t, r, b], it| {
                [l.min(it.x), t.min(it.y), r.max(it.x), b.max(it.y)]
            })
        }
        Shape::Circle { middle, radius, .. } => [
            middle.x - radius,
            middle.y - radius,
            middle.x + radius,
            middle.y + radius,
        ],
        Shape::Text(text) => of_text(text, faces),
        Shape::Group { .. } => unreachable!("groups are taken apart"),
    }
}

fn of_text(text: &Text, faces: &Faces) -> [f32; 4] {
    let wide = faces.width(&text.text, text.strong) * text.size;
    let left = match text.anchor {
        Anchor::Start => text.at.x,
        Anchor::Middle => text.at.x - wide / 2.0,
        Anchor::End => text.at.x - wide,
    };
    let (top, bottom) = (text.at.y - text.size * ABOVE, text.at.y + text.size * BELOW);
    [left, top, left + wide, bottom]
}

/// What is wrong with a picture: outside of itself, texts over each other, nothing to be seen of a text.
fn faults(drawing: &Drawing, faces: &Faces) -> Vec<String> {
    let mut faults = Vec::new();
    let slack = 0.05;
    let mut texts: Vec<([f32; 4], &str)> = Vec::new();
    for shape in drawing.flat() {
        let [left, top, right, bottom] = bounds(shape, faces);
        let inside = left >= -slack
            && top >= -slack
            && right <= drawing.width + slack
            && bottom <= drawing.height + slack;
        if !inside || !left.is_finite() || !bottom.is_finite() {
            faults.push(format!("outside: {shape:?}"));
        }
        if let Shape::Text(text) = shape {
            texts.push(([left, top, right, bottom], &text.text));
        }
    }
    texts.sort_by(|one, other| one.0[1].total_cmp(&other.0[1]));
    for (index, (one, said)) in texts.iter().enumerate() {
        let below = texts[index + 1..].iter();
        for (other, other_said) in below.take_while(|it| it.0[1] < one[3] - slack) {
            if one[0] < other[2] - slack && other[0] < one[2] - slack {
                faults.push(format!("{said:?} meets {other_said:?}"));
            }
        }
    }
    faults
}

/// The records that neither the timeline nor the list of what came after the end tells of.
fn left_out(records: &[Record], timeline: &Timeline) -> Vec<u64> {
    let marks = timeline.tracks.iter().flat_map(|it| &it.marks);
    let spans = timeline.tracks.iter().flat_map(|it| &it.spans);
    let told: BTreeSet<u64> = marks
        .map(|it| it.record)
        .chain(spans.flat_map(|it| it.records.clone()))
        .chain(timeline.afterwards.iter().copied())
        .collect();
    // A mark of the clock says nothing; every prompt counts, but the last ones ask nothing.
    let lines = review::lines(records, Language::English);
    let lines = lines.iter().filter(|it| !it.inner);
    lines
        .map(|it| it.seq)
        .filter(|it| !told.contains(it))
        .collect()
}

/// Holds an incident to all that is true of every timeline.
pub(crate) fn holds(records: &[Record]) {
    let Some(timeline) = Timeline::of(records) else {
        let opened = records
            .iter()
            .any(|it| matches!(it.event, Event::Opened(_)));
        assert!(!opened, "an incident that began has a timeline");
        return;
    };
    assert_eq!(left_out(records, &timeline), Vec::<u64>::new());
    for track in &timeline.tracks {
        for span in &track.spans {
            assert!(span.from <= span.to, "{span:?}");
            assert!(!span.records.is_empty(), "{span:?}");
        }
        let in_order = track.marks.is_sorted_by_key(|it| it.at);
        assert!(in_order, "time runs from left to right: {:?}", track.of);
    }
    let asked = timeline.tracks.iter().filter(|it| it.of == Of::Prompts);
    for pair in asked.flat_map(|it| it.spans.windows(2)) {
        assert_eq!(pair[0].to, pair[1].from, "one prompt at a time");
    }
    let state = State::replay(records.iter().cloned());
    let cases: Vec<_> = state.facts.cases().collect();
    assert_eq!(timeline.hung.len(), cases.len());
    for (hung, case) in timeline.hung.iter().zip(cases) {
        let end = Millis(timeline.ends.0 + timeline.fell.0);
        let long = hung.off.unwrap_or(timeline.ends).0 - hung.fell.0;
        assert_eq!(long, case.hanging(end).0, "hung as long as the clock says");
    }
    let faces = Faces::new();
    let lines = review::lines(records, Language::English);
    let drawing = TimelineDrawing {
        timeline: &timeline,
        lines: &lines,
        language: Language::English,
        faces: &faces,
    };
    let picture = drawing.draw(&Frame::whole(&timeline, 770.0, 8.0));
    assert_eq!(faults(&picture, &faces), Vec::<String>::new());
}

#[test]
fn every_record_of_a_journal_of_version_1_has_its_place() {
    for incident in [QUIET, TURNS] {
        holds(&records(&golden(), incident));
    }
}

#[test]
fn nothing_lies_outside_and_no_two_texts_meet_in_any_language_and_width() {
    let faces = Faces::new();
    for incident in [QUIET, TURNS] {
        let records = records(&golden(), incident);
        for language in LANGUAGES {
            for (width, size) in [(770.0, 8.0), (523.0, 7.0), (1200.0, 13.0), (400.0, 14.0)] {
                let drawing = drawn(&records, language, size, width);
                let faults = faults(&drawing, &faces);
                assert_eq!(faults, Vec::<String>::new(), "{language:?} {width}");
            }
        }
    }
}

#[test]
fn a_picture_in_parts_says_what_the_whole_one_does_and_none_is_too_high() {
    let faces = Faces::new();
    // The room on A4 and Letter, upright and across, in points.
    for (width, height) in [(770.0, 500.0), (523.0, 740.0), (720.0, 520.0)] {
        for incident in [QUIET, TURNS] {
            let records = records(&golden(), incident);
            let timeline = timeline(&records);
            let lines = review::lines(&records, Language::Spanish);
            let drawing = TimelineDrawing {
                timeline: &timeline,
                lines: &lines,
                language: Language::Spanish,
                faces: &faces,
            };
            let frame = Frame::whole(&timeline, width, 7.5);
            let texts = |pages: &[Drawing]| -> BTreeSet<String> {
                let shapes = pages.iter().flat_map(Drawing::flat);
                let texts = shapes.filter_map(|it| match it {
                    Shape::Text(text) => Some(text.text.clone()),
                    _ => None,
                });
                texts.collect()
            };
            let pages = drawing.pages(&frame, height);
            assert!(pages.len() > 1 || incident == QUIET);
            for page in &pages {
                assert!(page.height <= height, "{} of {height}", page.height);
                assert_eq!(faults(page, &faces), Vec::<String>::new());
            }
            assert_eq!(texts(&pages), texts(&[drawing.draw(&frame)]));
        }
    }
}

/// The quiet journal as a drill in which a surprise was given and somebody then really fell.
fn turned_real() -> Vec<Record> {
    let mut records = records(&golden(), QUIET);
    let mut marks = records
        .iter_mut()
        .filter(|it| matches!(it.event, Event::ClockMarked {}));
    let mut next = |ahead: usize| marks.nth(ahead).expect("the clock was marked often enough");
    next(6).event = Event::SurpriseGiven { index: 0 };
    next(12).event = Event::RealCalled {};
    records
}

#[test]
fn a_drill_that_turned_real_is_called_no_drill_and_says_when() {
    let records = turned_real();
    holds(&records);
    let timeline = timeline(&records);
    let real = records.iter().find(|it| it.event == Event::RealCalled {});
    let at = real.map(|it| it.elapsed);
    assert_eq!(timeline.turned_real, at);
    let drill = timeline.tracks.iter().find(|it| it.of == Of::Drill);
    let signs: Vec<Sign> = drill
        .into_iter()
        .flat_map(|it| it.marks.iter().map(|it| it.sign))
        .collect();
    assert_eq!(signs, [Sign::Surprise, Sign::Real]);
    let title = |records: &[Record]| drawn(records, Language::English, 8.0, 770.0).title;
    assert!(!title(&records).contains("DRILL"));
    assert!(title(&self::records(&golden(), QUIET)).contains("DRILL"));
}

#[test]
fn the_check_of_pictures_sees_a_text_over_another_and_one_that_hangs_out() {
    let faces = Faces::new();
    let mut drawing = drawn(&records(&golden(), QUIET), Language::English, 8.0, 770.0);
    let first = drawing.flat().into_iter().find_map(|it| match it {
        Shape::Text(text) => Some(text.clone()),
        _ => None,
    });
    let mut over = first.expect("there is a text");
    over.at.x += 1.0;
    drawing.shapes.push(Shape::Text(over.clone()));
    assert_eq!(faults(&drawing, &faces).len(), 1);
    over.at = groundward::report::drawing::Spot { x: 769.0, y: 40.0 };
    drawing.shapes.push(Shape::Text(over));
    assert!(
        faults(&drawing, &faces)
            .iter()
            .any(|it| it.starts_with("outside"))
    );
}

#[test]
fn the_times_are_those_of_the_rescue() {
    let timeline = timeline(&records(&golden(), QUIET));
    // As `golden` has them from the fold of the same journal.
    let hung = &timeline.hung[0];
    assert_eq!(
        (hung.fell, timeline.target),
        (Millis::ZERO, Millis(540_000))
    );
    assert_eq!(hung.off, Some(Millis(305_000)));
    assert_eq!(hung.landed, Some(Millis(390_000)));
    assert_eq!(timeline.all_off(), Some(Millis(305_000)));
    assert!(timeline.drill && !timeline.at_least, "it was rehearsed");
    let spans = |about: &About, kind: Kind| {
        let of = Of::Casualty(1, about.clone());
        let track = timeline.tracks.iter().find(|it| it.of == of);
        let spans = track.into_iter().flat_map(|it| &it.spans);
        let spans = spans.filter(|it| it.kind == kind);
        spans.map(|it| (it.from.0, it.to.0)).collect::<Vec<_>>()
    };
    assert_eq!(spans(&About::Clock, Kind::Hanging), [(0, 305_000)]);
    assert_eq!(spans(&About::Clock, Kind::ComingDown), [(305_000, 390_000)]);
    let tried: Vec<&str> = timeline
        .tracks
        .iter()
        .filter(|it| it.spans.iter().any(|it| it.kind == Kind::Tried))
        .map(|it| it.name.as_str())
        .collect();
    // `golden` has the two that were left; the third brought the casualty down.
    assert_eq!(tried, ["self-rescue", "ladder", "boom lift"]);
    let clock = &timeline.tracks[0];
    let target = clock.pins.iter().find(|it| it.what == Planned::Target);
    assert_eq!(target.map(|it| it.at), Some(Millis(540_000)));
}

#[test]
fn a_touch_taken_back_is_struck_through_and_begins_nothing() {
    let records = records(&golden(), TURNS);
    let timeline = timeline(&records);
    let corrected: Vec<u64> = records
        .iter()
        .filter_map(|it| match it.event {
            Event::Corrected { cause } => Some(cause),
            _ => None,
        })
        .collect();
    assert!(!corrected.is_empty());
    let marks = timeline.tracks.iter().flat_map(|it| &it.marks);
    let back: BTreeSet<u64> = marks
        .filter(|it| it.taken_back)
        .map(|it| it.record)
        .collect();
    let causes: BTreeSet<u64> = records
        .iter()
        .filter(|it| back.contains(&it.seq))
        .map(|it| it.cause)
        .collect();
    assert!(!back.is_empty() && causes.iter().all(|it| corrected.contains(it)));
    let spans = timeline.tracks.iter().flat_map(|it| &it.spans);
    for span in spans {
        assert!(!back.contains(&span.records[0]), "{span:?}");
    }
}

#[test]
fn a_prompt_says_how_its_time_ended() {
    let records = records(&golden(), TURNS);
    let timeline = timeline(&records);
    let track = timeline.tracks.iter().find(|it| it.of == Of::Prompts);
    let spans = &track.expect("there were prompts").spans;
    let ended = |ended: Ended| {
        spans
            .iter()
            .filter(|it| it.kind == Kind::Asked(ended))
            .count()
    };
    assert!(ended(Ended::Answered) > ended(Ended::GaveWay));
    assert!(ended(Ended::GaveWay) > 0 && ended(Ended::TakenBack) > 0);
}

/// Reads each picture as XML and says what texts, ids and links it has.
const XML: &str = r##"
import json, sys, xml.etree.ElementTree as tree
answers = []
for svg in json.load(sys.stdin):
    root = tree.fromstring(svg)
    space = "{http://www.w3.org/2000/svg}"
    assert root.tag == space + "svg", root.tag
    answers.append({
        "texts": [it.text or "" for it in root.iter(space + "text")],
        "ids": [it.get("id") for it in root.iter() if it.get("id")],
        "links": [it.get("href") for it in root.iter(space + "a")],
        "labelled": root.get("aria-labelledby").split() + root.get("aria-describedby").split(),
        "role": root.get("role"),
        "title": root.find(space + "title").text,
    })
json.dump(answers, sys.stdout)
"##;

#[test]
fn a_strict_reader_of_xml_finds_the_texts_ids_and_links_of_a_picture() {
    let mut records = records(&golden(), TURNS);
    // The worst that a plan or a person can call something.
    let odd = "<b>&amp;\"'\u{1}\u{fffe} \u{5d0}\u{5d1} \u{1f600}";
    for record in &mut records {
        if let Event::WordsSaid { text, .. } = &mut record.event {
            *text = odd.to_owned();
        }
        if let Event::OrderGiven { posting, .. } = &mut record.event {
            posting.kit = Some(odd.to_owned());
        }
    }
    let drawing = drawn(&records, Language::English, 8.0, 770.0);
    let pictures = [drawing.svg("one"), drawing.linked_svg("two")];
    let answers = oracle::ask(XML, &json!(pictures));
    let shown = |text: &str| text.replace(['\u{1}', '\u{fffe}'], "\u{fffd}");
    let texts: Vec<String> = drawing
        .flat()
        .into_iter()
        .filter_map(|it| match it {
            Shape::Text(text) => Some(shown(&text.text)),
            _ => None,
        })
        .collect();
    let seqs: BTreeSet<String> = records.iter().map(|it| format!("#r{}", it.seq)).collect();
    let mut ids = BTreeSet::new();
    for (answer, role) in answers
        .as_array()
        .expect("one each")
        .iter()
        .zip(["img", "group"])
    {
        assert_eq!(answer["texts"], json!(texts));
        assert_eq!(answer["role"], role);
        assert_eq!(answer["title"], json!(drawing.title));
        assert_eq!(answer["ids"], answer["labelled"]);
        for id in answer["ids"].as_array().expect("a list") {
            assert!(ids.insert(id.to_string()), "{id} is there twice");
        }
        let links = answer["links"].as_array().expect("a list");
        assert_eq!(links.is_empty(), role == "img");
        for link in links {
            let link = link.as_str().expect("a text");
            assert!(seqs.contains(link), "{link} leads nowhere");
        }
    }
}

#[test]
fn every_ink_has_a_style_and_a_colour_on_paper_that_is_told_from_the_ground() {
    use groundward::report::drawing::STYLE;
    let light = |ink: Ink| {
        // Relative luminance and contrast as WCAG 2.1 defines them.
        let part = |it: u8| {
            let it = f64::from(it) / 255.0;
            if it <= 0.040_45 {
                it / 12.92
            } else {
                ((it + 0.055) / 1.055).powf(2.4)
            }
        };
        let [red, green, blue] = ink.on_paper();
        0.2126 * part(red) + 0.7152 * part(green) + 0.0722 * part(blue)
    };
    let contrast = |one: Ink, other: Ink| {
        let (one, other) = (light(one), light(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    };
    for ink in Ink::ALL {
        assert!(
            STYLE.contains(&format!(".fill-{}{{", ink.name())),
            "{ink:?}"
        );
        assert!(
            STYLE.contains(&format!(".edge-{}{{", ink.name())),
            "{ink:?}"
        );
        let least = match ink {
            Ink::Paper | Ink::Panel => continue,
            // Marks that are not read, 1.4.11; everything else may be letters, 1.4.6.
            Ink::Line => 3.0,
            _ => 7.0,
        };
        assert!(
            contrast(ink, Ink::Paper) >= least,
            "{ink:?}: {}",
            contrast(ink, Ink::Paper)
        );
    }
    assert!(contrast(Ink::Text, Ink::Panel) >= 7.0);
}

#[test]
#[ignore = "writes pictures to look at"]
fn to_look_at() {
    let folder = std::env::var_os("GROUNDWARD_JOURNALS");
    let folder = folder.map_or_else(golden, PathBuf::from);
    let write = |name: &str, records: &[Record]| {
        let style = groundward::report::drawing::STYLE;
        for language in [Language::English, Language::Spanish] {
            let svg = drawn(records, language, 8.0, 770.0).svg("a");
            let svg = svg.replacen("<title", &format!("<style>{style}</style><title"), 1);
            let out = folder.join(format!("{name}-{}.svg", language.tag()));
            std::fs::write(&out, svg).expect("it can be written");
            println!("{}", out.display());
        }
    };
    for file in std::fs::read_dir(&folder).expect("the folder is there") {
        let path = file.expect("it can be read").path();
        let name = path.file_stem().and_then(|it| it.to_str());
        if path.extension().is_some_and(|it| it == "jsonl") {
            let name = name.expect("a journal has a name");
            write(name, &records(&folder, name));
        }
    }
    write("turned-real", &turned_real());
}
