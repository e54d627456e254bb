//! Looks at the sketch of a level in an incident: where everything stands, who is where by now, what lies under it.
//!
//! What a sketch shows is read from what the screen is given, so that a place can be compared with the plan's own
//! coordinates; ways are laid out here by the plan's ways, so that no test depends on whom a computation sends.

use super::{SCREENS, Screen, Tablet, in_language, read, write};
use crate::desk::Desk;
use groundward::cli::drawings;
use groundward::incident::{Facts, Order, Pick, Whereabouts};
use groundward::kiosk::{Actions, LevelRoom, State};
use groundward::plan::{Plan, Routes, link_time};
use groundward::readiness::{Passing, Posting};
use groundward::signal::{Snapshot, Tap};
use groundward::units::Millis;
use groundward::words::{Language, seconds};
use slint::{ComponentHandle, Global, Model};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A rectangle on the sketch: left, top, right, bottom, in units of the screen.
type Box4 = [f32; 4];

/// What stands on the sketch.
struct Sketch {
    size: (f32, f32),
    /// The sign, where it is, what is written on it.
    marks: Vec<(String, Box4, String)>,
    words: Vec<(Box4, String)>,
    under: String,
    lines: Vec<String>,
    level: String,
    seconds: String,
}

impl Sketch {
    fn of(tablet: &Tablet) -> Sketch {
        let (state, room) = (State::get(&tablet.app), LevelRoom::get(&tablet.app));
        let (width, height) = (room.get_width(), room.get_height());
        let rect = |x: f32, y: f32, w: f32, h: f32| {
            let (x, y, w, h) = (x * width, y * height, w * width, h * height);
            [x - w / 2.0, y - h / 2.0, x + w / 2.0, y + h / 2.0]
        };
        let marks = state.get_level_marks();
        let words = state.get_level_words();
        let map = state.get_level_map();
        Sketch {
            size: (width, height),
            marks: marks
                .iter()
                .map(|it| {
                    let area = rect(it.x, it.y, it.width, it.height);
                    (format!("{:?}", it.sign), area, it.text.to_string())
                })
                .collect(),
            words: words
                .iter()
                .map(|it| (rect(it.x, it.y, it.width, it.height), it.text.to_string()))
                .collect(),
            under: map.under.to_string(),
            lines: state
                .get_level_lines()
                .iter()
                .map(|it| it.to_string())
                .collect(),
            level: state.get_level().to_string(),
            seconds: map.seconds.to_string(),
        }
    }

    /// The middle of the one mark with this sign.
    #[track_caller]
    fn at(&self, sign: &str) -> (f32, f32) {
        let found: Vec<_> = self.marks.iter().filter(|it| it.0 == sign).collect();
        assert_eq!(found.len(), 1, "one {sign} of {:?}", self.marks);
        let [left, top, right, bottom] = found[0].1;
        ((left + right) / 2.0, (top + bottom) / 2.0)
    }

    fn has(&self, sign: &str) -> bool {
        self.marks.iter().any(|it| it.0 == sign)
    }
}

/// A rescue at the silo, its crew on the way.
fn sent(screen: Screen) -> Tablet {
    let mut tablet = Tablet::new(screen);
    bring(&mut tablet);
    tablet
}

/// Brings the rescue to the method that runs first.
fn bring(tablet: &mut Tablet) {
    tablet.desk.hang(Some("silo3"));
    tablet.desk.pass(4_000);
    tablet.desk.answer();
    tablet.desk.pass(4_000);
    while tablet.desk.facts().running().is_none() {
        match tablet.desk.prompt().main {
            Some(_) => tablet.desk.answer(),
            None => tablet.desk.pick(Pick::Option(0)),
        }
        tablet.desk.pass(4_000);
    }
    tablet.desk.pass(11_000);
    tablet.desk.save();
}

/// The way of an order by the plan's links, by way of its kit. False where no way leads there.
fn lay_out(plan: &Plan, posting: &mut Posting) -> bool {
    let person = plan
        .responder(&posting.responder)
        .expect("somebody of the plan");
    let routes = Routes::new(plan);
    let station = posting.station.as_ref().and_then(|it| plan.station(it));
    let by = station.map(|it| it.place.clone());
    let (mut at, mut time) = (person.place.clone(), 0);
    let mut way = vec![Passing(at.clone(), 0)];
    for (to, fetched) in by
        .map(|it| (it, true))
        .into_iter()
        .chain([(posting.place.clone(), false)])
    {
        let Some(route) = routes.between(&at, &to) else {
            return false;
        };
        for id in route.links {
            let link = plan.links.iter().find(|it| it.id == id).expect("it exists");
            let forwards = link.from == at;
            time += link_time(link, &plan.policy, forwards).0;
            at = if forwards {
                link.to.clone()
            } else {
                link.from.clone()
            };
            way.push(Passing(at.clone(), time));
        }
        if fetched {
            posting.fetch_ms = Some(time);
        }
    }
    posting.travel_ms = time;
    (posting.way, posting.behind) = (way, None);
    true
}

/// The same moment with every order laid out and said this long ago.
fn laid_out(tablet: &Tablet, ago: i64) -> Arc<Snapshot> {
    let mut snapshot = tablet.desk.engine.snapshot(&tablet.desk.now);
    let mut facts = Facts::clone(&snapshot.facts);
    let plan = facts.opened.as_ref().expect("it is open").plan.clone();
    let said = facts.line.at(&tablet.desk.now).saturating_sub(Millis(ago));
    for order in &mut facts.orders {
        assert!(lay_out(&plan, &mut order.posting));
        (order.said, order.heard, order.going) = (Some(said), None, None);
    }
    snapshot.facts = Arc::new(facts);
    Arc::new(snapshot)
}

fn show(tablet: &Tablet, snapshot: &Arc<Snapshot>) {
    tablet.presenter.show(snapshot, &tablet.desk.now, false);
    tablet.turn(20);
}

/// Opens the page for whoever has this order.
fn look_at(tablet: &Tablet, responder: &str) {
    Actions::get(&tablet.app).invoke_sketch(responder.into());
    tablet.turn(20);
}

/// The same moment where one person brings ropes from the yard up to the silo roof.
fn uphill(tablet: &Tablet, ago: i64) -> Arc<Snapshot> {
    let mut snapshot = Snapshot::clone(&laid_out(tablet, ago));
    let mut facts = Facts::clone(&snapshot.facts);
    let plan = facts.opened.as_ref().expect("it is open").plan.clone();
    let order = facts
        .orders
        .iter_mut()
        .find(|it| it.posting.role == "ground");
    let order = order.expect("somebody is sent for the litter");
    order.posting.place = "roof-stair".to_owned();
    assert!(lay_out(&plan, &mut order.posting));
    snapshot.facts = Arc::new(facts);
    Arc::new(snapshot)
}

#[test]
fn somebody_under_way_is_where_even_walking_brings_them() {
    let tablet = sent(SCREENS[2]);
    // From the rail gate by the transfer foot and the belt floor to the yard, which has the litter, and up to the roof.
    let way = |snapshot: &Snapshot| -> Vec<Passing> {
        let mut orders = snapshot.facts.orders.iter();
        let order = orders.find(|it| it.posting.role == "ground");
        order.expect("it is given").posting.way.clone()
    };
    let laid = way(&uphill(&tablet, 0));
    let index = |id: &str| {
        laid.iter()
            .position(|it| it.0 == id)
            .expect("it is on the way")
    };
    let (belt, yard) = (index("belt-floor"), index("yard"));
    let (from, to) = (laid[belt].1, laid[yard].1);
    // Nearer to the station than that, its mark has the place.
    for part in [0, 1, 3, 5, 7] {
        let ago = from + (to - from) * part / 10;
        let snapshot = uphill(&tablet, ago);
        show(&tablet, &snapshot);
        look_at(&tablet, "pilar");
        let shown = Sketch::of(&tablet);
        assert_eq!(shown.level, "Level 0", "the litter is not in hand yet");
        // Two marks that stand at their places give the scale: the yard at 80, 60 m and the silo foot at 104, 77 m.
        let (a, b) = (shown.at("Station"), shown.at("Landing"));
        let unit = (b.0 - a.0) / 24.0;
        assert!(
            ((a.1 - b.1) / 17.0 - unit).abs() < 0.02 * unit,
            "north is up and both axes have one scale: {a:?} {b:?}"
        );
        // The belt floor is at 60, 88 m.
        let gone = (ago - from) as f32 / (to - from) as f32;
        let (east, north) = (60.0 + 20.0 * gone, 88.0 - 28.0 * gone);
        let expected = (a.0 + (east - 80.0) * unit, a.1 - (north - 60.0) * unit);
        let own = shown.at("Own");
        assert!(
            (own.0 - expected.0).abs() < 1.5 && (own.1 - expected.1).abs() < 1.5,
            "after {part}/10 at {expected:?}: {own:?}"
        );
        let left = laid.last().expect("it ends").1 - ago;
        let left = seconds(Millis(left)).replace(' ', "\u{a0}");
        assert_eq!(shown.seconds, format!("{left} to go"));
    }
}

#[test]
fn the_level_is_that_of_the_kit_and_then_that_of_the_place() {
    let tablet = sent(SCREENS[2]);
    let fetched = |ago: i64| {
        let snapshot = uphill(&tablet, ago);
        show(&tablet, &snapshot);
        look_at(&tablet, "pilar");
        Sketch::of(&tablet)
    };
    let before = fetched(1_000);
    assert_eq!(before.level, "Level 0");
    assert!(before.has("Up") && before.has("Own"));
    assert_eq!(
        before.lines,
        [
            "take litter L-1 at station A, the yard",
            "to the silo foot",
            "go up 29\u{a0}m, hoist, level\u{a0}5",
            "to the roof stair"
        ]
    );
    let said: Vec<_> = before.words.iter().map(|it| it.1.as_str()).collect();
    assert!(
        said.contains(&"go up 29\u{a0}m, hoist, level\u{a0}5"),
        "{said:?}"
    );
    let after = fetched(80_000);
    assert_eq!(after.level, "Level 5", "with the litter in hand");
    assert!(after.has("Casualty") && !after.has("Own"));
    assert_eq!(after.lines[0], "with litter L-1");
    // And back by a touch: what is on another level is looked at too.
    tablet.control("Lower").invoke_accessible_default_action();
    tablet.turn(20);
    let lower = Sketch::of(&tablet);
    assert_ne!(lower.level, "Level 5");
}

#[test]
fn a_way_that_nobody_can_pass_is_crossed_out() {
    let tablet = sent(SCREENS[2]);
    let mut snapshot = Snapshot::clone(&laid_out(&tablet, 1_000));
    show(&tablet, &Arc::new(snapshot.clone()));
    look_at(&tablet, "duarte");
    let shut = |sketch: &Sketch| sketch.marks.iter().filter(|it| it.0 == "Shut").count();
    let before = shut(&Sketch::of(&tablet));
    let mut facts = Facts::clone(&snapshot.facts);
    facts.blocked = vec!["yard-belt-floor".to_owned()];
    snapshot.facts = Arc::new(facts);
    show(&tablet, &Arc::new(snapshot));
    assert_eq!(shut(&Sketch::of(&tablet)), before + 1);
}

/// Numbers that look random and are the same each time.
struct Dice(u64);

impl Dice {
    fn below(&mut self, count: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % count
    }
}

/// Up to six orders to anybody, with any kit, to anywhere, given some time ago.
fn any_orders(facts: &mut Facts, dice: &mut Dice, model: &Order, now: Millis) {
    let plan = facts.opened.as_ref().expect("it is open").plan.clone();
    let position = &plan.positions[dice.below(plan.positions.len())];
    facts.casualties[0].place = Whereabouts::Known(position.id.clone());
    facts.orders.clear();
    let first = dice.below(plan.responders.len());
    for index in 0..1 + dice.below(6) {
        let mut order = model.clone();
        let person = &plan.responders[(first + index) % plan.responders.len()];
        order.posting.responder = person.id.clone();
        let station = &plan.stations[dice.below(plan.stations.len())];
        let fetches = dice.below(3) > 0 && !station.kit.is_empty();
        order.posting.station = fetches.then(|| station.id.clone());
        order.posting.kit = fetches.then(|| station.kit[0].name.clone());
        order.posting.fetch_ms = None;
        order.posting.place = match dice.below(3) {
            0 => position.approach.clone(),
            1 => position.place.clone(),
            _ => plan.places[dice.below(plan.places.len())].id.clone(),
        };
        order.number = 1_000 + index as u64;
        if !lay_out(&plan, &mut order.posting) {
            continue;
        }
        let ago = dice.below(200_000) as i64;
        order.said = Some(now.saturating_sub(Millis(ago)));
        (order.heard, order.going) = (None, None);
        order.there = (dice.below(4) == 0).then_some(now);
        facts.orders.push(order);
    }
}

/// 600 scenes: two invented sites, any place of a fall, any orders, each level that can be turned to.
#[test]
fn nothing_lies_over_anything_else_and_what_matters_is_there() {
    let mut dice = Dice(7);
    let mut seen = 0;
    for (screen, text) in [
        (SCREENS[2], groundward::plan::DEMO),
        (SCREENS[3], groundward::plan::DEMO_BRIDGE),
        (SCREENS[1], groundward::plan::DEMO),
    ] {
        let mut tablet = sent(screen);
        let model = tablet.desk.facts().orders[0].clone();
        if text != groundward::plan::DEMO {
            tablet.desk = Desk::with(text);
            tablet.desk.hang(None);
        }
        for _ in 0..200 {
            tablet.desk.save();
            let mut snapshot = tablet.desk.engine.snapshot(&tablet.desk.now);
            let mut facts = Facts::clone(&snapshot.facts);
            let now = facts.line.at(&tablet.desk.now);
            any_orders(&mut facts, &mut dice, &model, now);
            let facts = Arc::new(facts);
            snapshot.facts = facts.clone();
            show(&tablet, &Arc::new(snapshot));
            let Some(order) = facts.orders.first() else {
                continue;
            };
            look_at(&tablet, &order.posting.responder);
            if dice.below(3) == 0 {
                tablet.control("Higher").invoke_accessible_default_action();
                tablet.turn(20);
            }
            judge(&Sketch::of(&tablet), &facts, order);
            seen += 1;
        }
    }
    assert!(seen > 500, "{seen}");
}

fn judge(shown: &Sketch, facts: &Facts, order: &Order) {
    let plan = &facts.opened.as_ref().expect("it is open").plan;
    let all = shown.marks.iter().map(|it| (&it.1, &it.0));
    let all: Vec<_> = all
        .chain(shown.words.iter().map(|it| (&it.0, &it.1)))
        .collect();
    for (index, (a, one)) in all.iter().enumerate() {
        assert!(
            a[0] >= -0.5
                && a[1] >= -0.5
                && a[2] <= shown.size.0 + 0.5
                && a[3] <= shown.size.1 + 0.5,
            "{one} is inside: {a:?} of {:?}",
            shown.size
        );
        for (b, other) in &all[index + 1..] {
            let apart = a[2] <= b[0] + 0.5
                || b[2] <= a[0] + 0.5
                || a[3] <= b[1] + 0.5
                || b[3] <= a[1] + 0.5;
            assert!(apart, "{one} {a:?} and {other} {b:?} do not overlap");
        }
    }
    let here = |id: &str| {
        let place = plan.place(id).expect("it is in the plan");
        shown.level == format!("Level {}", place.level) && place.at.is_some()
    };
    let position = facts.position().expect("it is known");
    assert_eq!(
        shown.has("Casualty"),
        here(&position.place),
        "{:?}",
        shown.marks
    );
    let station = order
        .posting
        .station
        .as_ref()
        .and_then(|it| plan.station(it));
    if let Some(station) = station.filter(|it| here(&it.place)) {
        assert!(shown.has("Station"), "{}: {:?}", station.name, shown.marks);
    }
    if here(&order.posting.place) {
        let ends = ["End", "Casualty", "Approach", "Landing"];
        assert!(ends.iter().any(|it| shown.has(it)), "{:?}", shown.marks);
    }
    // Every stretch of the way on this level is drawn as a whole: its ends are inside.
    let stretches = order.posting.way.windows(2);
    let stretches = stretches.filter(|it| here(&it[0].0) && here(&it[1].0) && it[0].0 != it[1].0);
    assert_eq!(
        shown.under.matches('M').count(),
        stretches.count(),
        "{}",
        shown.under
    );
    for pair in shown
        .under
        .split_whitespace()
        .filter(|it| it.parse::<f32>().is_ok())
        .collect::<Vec<_>>()
        .chunks(2)
    {
        let (x, y): (f32, f32) = (
            pair[0].parse().expect("a number"),
            pair[1].parse().expect("a number"),
        );
        assert!(
            x > 1.0 && x < shown.size.0 - 1.0 && y > 1.0 && y < shown.size.1 - 1.0,
            "{x} {y}"
        );
    }
}

/// Writes a drawing of so many pixels, black all over or as it is said.
fn png_file(path: &Path, size: (u32, u32), colour: png::ColorType, pixel: &[u8]) {
    let file = std::fs::File::create(path).expect("a folder for the test can be written");
    let mut encoder = png::Encoder::new(file, size.0, size.1);
    encoder.set_color(colour);
    if colour == png::ColorType::Indexed {
        encoder.set_palette(vec![255, 255, 255, 0, 0, 0]);
    }
    let mut writer = encoder.write_header().expect("it can be written");
    let all = pixel.repeat((size.0 * size.1) as usize);
    writer.write_image_data(&all).expect("it can be written");
}

fn with_drawing(level: &str, file: &str) -> String {
    let drawing = format!(
        "[drawing.it]\nlevel = \"{level}\"\nfile = \"{file}\"\nsouth_west = [\"55 m\", \"55 m\"]\n\
         north_east = [\"100 m\", \"84 m\"]\n\n[link.yard-control]"
    );
    groundward::plan::DEMO.replacen("[link.yard-control]", &drawing, 1)
}

fn plan_of(text: &str) -> Plan {
    let reading = groundward::plan::read("plan.toml", text.as_bytes());
    reading.plan.expect("it is fit")
}

#[test]
fn every_kind_of_png_is_read_as_shades() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    for (colour, pixel, dark) in [
        (png::ColorType::Grayscale, &[0][..], 255),
        (png::ColorType::Grayscale, &[255], 0),
        (png::ColorType::GrayscaleAlpha, &[0, 255], 255),
        (png::ColorType::Rgb, &[0, 0, 0], 255),
        (png::ColorType::Rgb, &[255, 255, 255], 0),
        (png::ColorType::Rgba, &[0, 0, 0, 255], 255),
        // What cannot be seen is paper.
        (png::ColorType::Rgba, &[0, 0, 0, 0], 0),
        (png::ColorType::Indexed, &[1], 255),
        (png::ColorType::Indexed, &[0], 0),
    ] {
        png_file(&folder.path().join("it.png"), (4, 3), colour, pixel);
        let read = drawings::read(&plan_of(&with_drawing("0", "it.png")), Some(folder.path()));
        assert_eq!(read.trouble, []);
        assert_eq!(read.all[0].size, [4, 3]);
        assert_eq!(read.all[0].dark, vec![dark; 12], "{colour:?} {pixel:?}");
    }
}

#[test]
fn a_drawing_that_cannot_be_read_is_named_and_stops_nothing() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let at = |name: &str| folder.path().join(name);
    png_file(&at("long.png"), (4_097, 1), png::ColorType::Grayscale, &[0]);
    std::fs::write(at("text.png"), "no picture").expect("it can be written");
    std::fs::write(at("large.png"), vec![0; 8 * 1_024 * 1_024 + 1]).expect("it can be written");
    png_file(&at("cut.png"), (40, 40), png::ColorType::Rgb, &[1, 2, 3]);
    let whole = std::fs::read(at("cut.png")).expect("it is there");
    std::fs::write(at("cut.png"), &whole[..whole.len() / 2]).expect("it can be written");
    png_file(&at("outside.png"), (2, 2), png::ColorType::Grayscale, &[0]);
    let inner = at("plans");
    std::fs::create_dir(&inner).expect("a folder can be made");
    for (file, why) in [
        (
            "long.png",
            "it is 4097 x 1 pixels, make no side longer than 4096",
        ),
        ("text.png", "it is no PNG that can be read"),
        ("large.png", "it has more than 8 MiB"),
        ("cut.png", "it is no PNG that can be read"),
        ("none.png", "it cannot be opened, put it beside the plan"),
        (
            "../outside.png",
            "it is not the name of a PNG file beside the plan",
        ),
    ] {
        let from = if file.starts_with("..") {
            &inner
        } else {
            folder.path()
        };
        let read = drawings::read(&plan_of(&with_drawing("0", file)), Some(from));
        assert!(read.all.is_empty(), "{file}");
        let [(named, said)] = read.trouble.as_slice() else {
            panic!("one sentence about {file}: {:?}", read.trouble)
        };
        assert_eq!(named, file);
        assert!(said.starts_with(why), "{file}: {said}");
    }
    let none = drawings::read(&plan_of(groundward::plan::DEMO), Some(folder.path()));
    assert_eq!(none, Default::default());
}

/// A rescue on a plan with a drawing of 45 by 29 m round the yard, all of it black.
fn drawn(screen: Screen, folder: &Path) -> Tablet {
    let mut tablet = Tablet::new(screen);
    let text = with_drawing("0", "it.png");
    tablet.desk = Desk::with(&text);
    bring(&mut tablet);
    let size = (64, 64);
    png_file(
        &folder.join("it.png"),
        size,
        png::ColorType::Grayscale,
        &[0],
    );
    tablet
}

fn with_pictures(snapshot: &Arc<Snapshot>, folder: &Path) -> Arc<Snapshot> {
    let mut snapshot = Snapshot::clone(snapshot);
    let read = drawings::read(&snapshot.plan.plan, Some(folder));
    assert_eq!((read.all.len(), read.trouble.len()), (1, 0));
    snapshot.plan.drawings = Arc::new(read);
    Arc::new(snapshot)
}

#[test]
fn a_drawing_lies_where_its_corners_say() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let tablet = drawn(SCREENS[2], folder.path());
    let plain = uphill(&tablet, 1_000);
    show(&tablet, &plain);
    look_at(&tablet, "pilar");
    let before = tablet.app.window().take_snapshot().expect("it draws");
    let snapshot = with_pictures(&plain, folder.path());
    show(&tablet, &snapshot);
    let after = tablet.app.window().take_snapshot().expect("it draws");
    let shown = Sketch::of(&tablet);
    let (a, b) = (shown.at("Station"), shown.at("Landing"));
    let unit = (b.0 - a.0) / 24.0;
    let spot = |east: f32, north: f32| (a.0 + (east - 80.0) * unit, a.1 - (north - 60.0) * unit);
    // Where the sketch begins on the screen: everything that has changed is inside the drawing, and its corners have.
    let width = before.width() as usize;
    let changed: Vec<(usize, usize)> = before
        .as_slice()
        .iter()
        .zip(after.as_slice())
        .enumerate()
        .filter(|(_, (a, b))| a != b)
        .map(|(index, _)| (index % width, index / width))
        .collect();
    let ends = |all: Vec<usize>| (all.iter().min().copied(), all.iter().max().copied());
    let (left, right) = ends(changed.iter().map(|it| it.0).collect());
    let (top, bottom) = ends(changed.iter().map(|it| it.1).collect());
    let (low, high) = (spot(55.0, 55.0), spot(100.0, 84.0));
    let span = |from: Option<usize>, to: Option<usize>| {
        (to.expect("something changed") - from.expect("something changed") + 1) as f32
    };
    assert!((span(left, right) - (high.0 - low.0)).abs() < 2.5);
    assert!((span(top, bottom) - (low.1 - high.1)).abs() < 2.5);
    // The station, at 80, 60 m, is as far from the left and the lower edge as it is on the site.
    let station = on_screen(&tablet, a);
    assert!((station.0 - left.expect("it changed") as f32 - 25.0 * unit).abs() < 2.5);
    assert!((bottom.expect("it changed") as f32 + 1.0 - station.1 - 5.0 * unit).abs() < 2.5);
}

/// Where a point of the sketch is on the screen.
fn on_screen(tablet: &Tablet, at: (f32, f32)) -> (f32, f32) {
    use i_slint_backend_testing::{AccessibleRole, ElementQuery};
    let all = ElementQuery::from_root(&tablet.app)
        .match_accessible_role(AccessibleRole::Image)
        .find_all();
    let sketch = all.into_iter().find(|it| {
        it.accessible_label()
            .is_some_and(|label| label.starts_with("Level "))
    });
    let corner = sketch.expect("the sketch is there").absolute_position();
    (corner.x + at.0, corner.y + at.1)
}

/// A drawing as a site has them: outlines of buildings.
fn walls(path: &Path) {
    let (width, height) = (900_usize, 580_usize);
    let mut pixels = vec![255_u8; width * height];
    for [left, top, right, bottom] in [
        [2, 2, 897, 577],
        [60, 60, 330, 240],
        [60, 150, 200, 240],
        [600, 90, 820, 310],
        [640, 130, 780, 270],
        [380, 400, 700, 540],
    ] {
        for y in top..=bottom {
            for x in left..=right {
                let edge = x < left + 5 || x + 5 > right || y < top + 5 || y + 5 > bottom;
                if edge {
                    pixels[y * width + x] = 0;
                }
            }
        }
    }
    let file = std::fs::File::create(path).expect("a folder for the test can be written");
    let mut encoder = png::Encoder::new(file, width as u32, height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    let mut writer = encoder.write_header().expect("it can be written");
    writer.write_image_data(&pixels).expect("it can be written");
}

/// Every scene of the page, each with the snapshot that it shows.
fn scenes(tablet: &Tablet, folder: &Path) -> Vec<(&'static str, Arc<Snapshot>, &'static str)> {
    walls(&folder.join("it.png"));
    vec![
        ("level way up", uphill(tablet, 21_000), "pilar"),
        ("level roof", laid_out(tablet, 21_000), "hakan"),
        (
            "level drawing",
            with_pictures(&uphill(tablet, 21_000), folder),
            "pilar",
        ),
        ("level everybody", laid_out(tablet, 9_000), ""),
    ]
}

#[test]
fn every_touch_of_the_sketch_suits_a_glove() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    for screen in SCREENS {
        let tablet = drawn(screen, folder.path());
        for (scene, snapshot, who) in scenes(&tablet, folder.path()) {
            show(&tablet, &snapshot);
            look_at(&tablet, who);
            for language in [Language::English, Language::Spanish, Language::Pseudo] {
                show(&tablet, &in_language(&snapshot, language));
                tablet.fits_gloves(&format!("{screen:?} {scene} in {}", language.name()));
                if std::env::var("GROUNDWARD_PICTURES").is_ok_and(|v| v == "look") {
                    tablet.look(&format!("{scene}-{}", language.tag()));
                }
            }
        }
    }
}

#[test]
fn the_sketch_looks_as_it_was_looked_at() {
    let pictures = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/pictures");
    let renew = std::env::var("GROUNDWARD_PICTURES").is_ok_and(|v| v == "renew");
    let folder = tempfile::tempdir().expect("a folder for the test");
    let mut differing = Vec::new();
    for (screen, way) in [(SCREENS[2], "landscape"), (SCREENS[3], "portrait")] {
        for theme in ["dark", "light"] {
            let mut tablet = drawn(screen, folder.path());
            if theme == "light" {
                tablet.desk.tap(Tap::SwapTheme);
            }
            for (scene, snapshot, who) in scenes(&tablet, folder.path()).into_iter().take(3) {
                show(&tablet, &snapshot);
                look_at(&tablet, who);
                let picture = tablet.app.window().take_snapshot().expect("it draws");
                let pixels = picture.as_slice().iter();
                let rgb: Vec<u8> = pixels.flat_map(|it| [it.r, it.g, it.b]).collect();
                let name = format!("{}-{way}-{theme}.png", scene.replace(' ', "-"));
                if renew {
                    write(&pictures.join(&name), &rgb, tablet.size);
                } else if read(&pictures.join(&name)) != Some((rgb.clone(), tablet.size)) {
                    let drawn = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
                    write(&drawn.join(&name), &rgb, tablet.size);
                    differing.push(name);
                }
            }
        }
    }
    assert!(differing.is_empty(), "these look different: {differing:?}");
}
