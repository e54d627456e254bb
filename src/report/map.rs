//! Draws a sketch of the site as a map, north up and true to scale.
//!
//! Labels take the free side of their point, the important ones first; a point that is only passed keeps its name to itself
//! where the map is crowded. Everything is black on white, and each kind of way has its own line.

use super::cards::{Run, Sign, Sketch};
use super::face::{CAPITAL, Faces};
use super::pieces::{LEADING, Op};
use crate::plan::LinkKind;
use crate::units::Millimetres;
use crate::words;

/// A rectangle on the sketch.
#[derive(Clone, Copy, Debug)]
struct Area {
    left: f32,
    top: f32,
    right: f32,
    bottom: f32,
}

impl Area {
    fn around(x: f32, y: f32, half: f32) -> Area {
        Area {
            left: x - half,
            top: y - half,
            right: x + half,
            bottom: y + half,
        }
    }

    fn overlap(&self, other: &Area) -> f32 {
        let wide = self.right.min(other.right) - self.left.max(other.left);
        let high = self.bottom.min(other.bottom) - self.top.max(other.top);
        wide.max(0.0) * high.max(0.0)
    }

    /// A thin line to a point from which it stands apart, so that nobody takes it for another's.
    fn leader(&self, point: [f32; 2]) -> Option<Op> {
        let near = [
            point[0].clamp(self.left, self.right),
            point[1].clamp(self.top, self.bottom),
        ];
        let (dx, dy) = (near[0] - point[0], near[1] - point[1]);
        let away = dx.hypot(dy);
        let start = [point[0] + dx / away * SIGN, point[1] + dy / away * SIGN];
        (away > LEADER_FROM).then(|| Op::Stroke {
            points: vec![start, near],
            width: 0.4,
            dash: None,
            closed: false,
        })
    }

    /// How much of a line lies inside (clipped after Liang and Barsky).
    fn crossed(&self, from: [f32; 2], to: [f32; 2]) -> f32 {
        let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
        let edges = [
            (-dx, from[0] - self.left),
            (dx, self.right - from[0]),
            (-dy, from[1] - self.top),
            (dy, self.bottom - from[1]),
        ];
        let (mut enters, mut leaves): (f32, f32) = (0.0, 1.0);
        for (towards, room) in edges {
            if towards == 0.0 {
                if room < 0.0 {
                    return 0.0;
                }
            } else if towards < 0.0 {
                enters = enters.max(room / towards);
            } else {
                leaves = leaves.min(room / towards);
            }
        }
        (leaves - enters).max(0.0) * dx.hypot(dy)
    }
}

/// A point on the way keeps its name to itself above this cost: what it would cover matters more.
const CROWDED: f32 = 60.0;

/// Half the size of a sign.
const SIGN: f32 = 5.0;
/// A label this far from its point gets a line to it.
const LEADER_FROM: f32 = SIGN + 9.0;
/// Size of what is written on ways, in parts of that of labels.
const SMALLER: f32 = 0.92;

/// How much higher a crowded sketch may become, in parts of what its shape asks for.
const STRETCH: [f32; 5] = [1.0, 1.25, 1.5, 1.8, 2.2];
/// Highest sketch in parts of its width.
const HEIGHT_MAX: f32 = 0.9;
/// Square points of text that may lie on other text or on a sign.
const OVERLAP_MAX: f32 = 4.0;

/// How high a sketch of a width is: at most `height_max`, and more only where its labels would cover each other.
pub(super) fn height(
    sketch: &Sketch,
    width: f32,
    height_max: f32,
    size: f32,
    faces: &Faces,
) -> f32 {
    let own = placed(sketch, width, height_max, size).1;
    let heights = STRETCH.map(|stretch| (own * stretch).min((width * HEIGHT_MAX).max(own)));
    let clear =
        |height: &f32| Arranged::new(sketch, width, *height, size, faces).overlap <= OVERLAP_MAX;
    heights
        .iter()
        .copied()
        .find(clear)
        .unwrap_or(heights[STRETCH.len() / 2])
}

/// Where everything of a sketch stands.
struct Arranged {
    points: Vec<[f32; 2]>,
    /// Points on paper for one millimetre of the site.
    scale: f32,
    labels: Vec<Vec<Run>>,
    /// None for a label that is left out.
    areas: Vec<Option<Area>>,
    /// Ways that carry their label themselves, with its area.
    on_lines: Vec<(Area, String)>,
    /// How much text covers other text or a sign.
    overlap: f32,
}

impl Arranged {
    fn new(sketch: &Sketch, width: f32, height: f32, size: f32, faces: &Faces) -> Arranged {
        let (mut points, own, scale) = placed(sketch, width, height, size);
        points
            .iter_mut()
            .for_each(|point| point[1] += (height - own) / 2.0);
        let bounds = Area {
            left: 0.0,
            top: 0.0,
            right: width,
            bottom: height,
        };
        let mut labels: Vec<Vec<Run>> =
            sketch.spots.iter().map(|spot| spot.label.clone()).collect();
        let small = size * SMALLER;
        let mut long_ways = Vec::new();
        for way in &sketch.ways {
            let Some(text) = &way.label else { continue };
            let ends = [points[way.from], points[way.to]];
            if (ends[1][0] - ends[0][0]).hypot(ends[1][1] - ends[0][1])
                > faces.width(text, false) * small
            {
                long_ways.push((ends, text));
            } else {
                // Too short to carry its label: the end that matters more does.
                let signs = [way.from, way.to].map(|end| (sketch.spots[end].sign, end));
                let (_, end) = signs.into_iter().min().unwrap_or((Sign::Passing, way.from));
                labels[end].push(Run {
                    strong: false,
                    text: text.clone(),
                });
            }
        }
        let signs = points.iter().map(|[x, y]| Area::around(*x, *y, SIGN + 1.0));
        let corner = Area {
            left: width - 2.6 * size,
            top: 0.0,
            right: width,
            bottom: 2.9 * size,
        };
        let fixed: Vec<Area> = signs
            .chain([corner, measure(scale, width, height, size, faces).0])
            .collect();
        let lines: Vec<([f32; 2], [f32; 2])> = sketch
            .ways
            .iter()
            .map(|way| (points[way.from], points[way.to]))
            .collect();
        // The labels that a reader looks for first choose first; then each looks once more at where the others went.
        let mut order: Vec<usize> = (0..points.len()).collect();
        order.sort_by_key(|i| sketch.spots[*i].sign);
        let mut areas: Vec<Option<Area>> = vec![None; points.len()];
        for round in 0..3 {
            for i in order.iter().copied() {
                let widths = labels[i]
                    .iter()
                    .map(|run| faces.width(&run.text, run.strong) * size);
                let wide = widths.fold(0.0, f32::max);
                let high = labels[i].len() as f32 * size * LEADING;
                let others: Vec<Area> = (0..areas.len())
                    .filter(|other| *other != i)
                    .filter_map(|other| areas[other])
                    .collect();
                let (cost, area) =
                    free_side(points[i], wide, high, &bounds, &fixed, &others, &lines);
                let silent = sketch.spots[i].sign == Sign::Passing && cost > CROWDED && round > 0;
                areas[i] = (!silent).then_some(area);
            }
        }
        let mut taken = fixed;
        let mut overlap = 0.0;
        for area in areas.iter().flatten() {
            overlap += taken.iter().map(|it| it.overlap(area)).sum::<f32>();
            taken.push(*area);
        }
        let mut on_lines = Vec::new();
        for ([from, to], text) in long_ways {
            let area = on_line(
                from,
                to,
                faces.width(text, false) * small,
                small * LEADING,
                &bounds,
                &taken,
            );
            overlap += taken.iter().map(|it| it.overlap(&area)).sum::<f32>();
            taken.push(area);
            on_lines.push((area, text.clone()));
        }
        Arranged {
            points,
            scale,
            labels,
            areas,
            on_lines,
            overlap,
        }
    }
}

/// Draws a sketch.
pub(super) fn draw(sketch: &Sketch, width: f32, height: f32, size: f32, faces: &Faces) -> Vec<Op> {
    let arranged = Arranged::new(sketch, width, height, size, faces);
    let points = &arranged.points;
    let mut ops = Vec::new();
    for way in &sketch.ways {
        ops.extend(line(points[way.from], points[way.to], way.kind));
    }
    ops.extend(north(&sketch.north, width, size, faces));
    ops.extend(measure(arranged.scale, width, height, size, faces).1);
    for (area, point) in arranged.areas.iter().zip(points) {
        ops.extend(area.and_then(|area| area.leader(*point)));
    }
    let text = |x: f32, top: f32, size: f32, run: &Run| Op::Text {
        x,
        y: top + size * (LEADING + CAPITAL) / 2.0,
        size,
        strong: run.strong,
        white: false,
        text: run.text.clone(),
    };
    for (i, area) in arranged.areas.iter().enumerate() {
        let Some(area) = area else { continue };
        for (row, run) in arranged.labels[i].iter().enumerate() {
            // A label on the left of its point ends there.
            let own = faces.width(&run.text, run.strong) * size;
            let left = if area.right <= points[i][0] {
                area.right - own
            } else {
                area.left
            };
            let top = area.top + row as f32 * size * LEADING;
            ops.push(clear(left, top, own, size * LEADING));
            ops.push(text(left, top, size, run));
        }
    }
    for (area, label) in &arranged.on_lines {
        ops.push(clear(
            area.left,
            area.top,
            area.right - area.left,
            area.bottom - area.top,
        ));
        ops.push(text(
            area.left,
            area.top,
            size * SMALLER,
            &Run {
                strong: false,
                text: label.clone(),
            },
        ));
    }
    for (spot, point) in sketch.spots.iter().zip(points) {
        ops.extend(sign(spot.sign, *point));
    }
    ops
}

/// Takes away what is drawn where a text will stand.
fn clear(left: f32, top: f32, width: f32, height: f32) -> Op {
    let (left, right) = (left - 1.5, left + width + 1.5);
    let points = vec![
        [left, top],
        [right, top],
        [right, top + height],
        [left, top + height],
    ];
    Op::Fill {
        points,
        white: true,
    }
}

/// Brings the points onto the paper with one scale for both directions.
fn placed(sketch: &Sketch, width: f32, height_max: f32, size: f32) -> (Vec<[f32; 2]>, f32, f32) {
    let of = |axis: usize| sketch.spots.iter().map(move |spot| spot.at_mm[axis] as f32);
    let low = [
        of(0).fold(f32::MAX, f32::min),
        of(1).fold(f32::MAX, f32::min),
    ];
    let high = [
        of(0).fold(f32::MIN, f32::max),
        of(1).fold(f32::MIN, f32::max),
    ];
    let (wide, tall) = ((high[0] - low[0]).max(1.0), (high[1] - low[1]).max(1.0));
    // Labels need room at every edge: to the sides as long as a short name, above and below two rows.
    let (side, end) = ((size * 5.0).min(width / 4.0), size * 3.2);
    let scale = ((width - 2.0 * side) / wide).min((height_max - 2.0 * end).max(1.0) / tall);
    let height = (tall * scale + 2.0 * end).clamp((height_max * 0.55).min(size * 12.0), height_max);
    let (left, top) = ((width - wide * scale) / 2.0, (height - tall * scale) / 2.0);
    let points = sketch.spots.iter().map(|spot| {
        let [east, north] = [spot.at_mm[0] as f32 - low[0], spot.at_mm[1] as f32 - low[1]];
        [left + east * scale, top + (tall - north) * scale]
    });
    let mut points: Vec<[f32; 2]> = points.collect();
    // Signs that would cover each other move apart.
    let least = 2.0 * SIGN + 4.0;
    for i in 0..points.len() {
        for j in i + 1..points.len() {
            let (dx, dy) = (points[j][0] - points[i][0], points[j][1] - points[i][1]);
            let apart = dx.hypot(dy);
            if apart < least && apart > 0.0 {
                let push = (least - apart) / 2.0 / apart;
                points[i] = [points[i][0] - dx * push, points[i][1] - dy * push];
                points[j] = [points[j][0] + dx * push, points[j][1] + dy * push];
            }
        }
    }
    (points, height, scale)
}

/// The place beside a point where a label covers least.
fn free_side(
    point: [f32; 2],
    wide: f32,
    high: f32,
    bounds: &Area,
    fixed: &[Area],
    others: &[Area],
    lines: &[([f32; 2], [f32; 2])],
) -> (f32, Area) {
    let [x, y] = point;
    let mut best: Option<(f32, Area)> = None;
    for (step, away) in [
        SIGN + 2.5,
        SIGN + 7.0,
        SIGN + 13.0,
        SIGN + 20.0,
        SIGN + 30.0,
    ]
    .into_iter()
    .enumerate()
    {
        let beside = [
            (x + away, y - high / 2.0),
            (x - away - wide, y - high / 2.0),
            (x - wide / 2.0, y - away - high),
            (x - wide / 2.0, y + away),
            (x + away * 0.7, y - away * 0.7 - high),
            (x + away * 0.7, y + away * 0.7),
            (x - away * 0.7 - wide, y - away * 0.7 - high),
            (x - away * 0.7 - wide, y + away * 0.7),
        ];
        for (turn, (left, top)) in beside.into_iter().enumerate() {
            let left = left.clamp(bounds.left, (bounds.right - wide).max(bounds.left));
            let top = top.clamp(bounds.top, (bounds.bottom - high).max(bounds.top));
            let area = Area {
                left,
                top,
                right: left + wide,
                bottom: top + high,
            };
            let covered: f32 = others.iter().chain(fixed).map(|it| it.overlap(&area)).sum();
            let crossed: f32 = lines
                .iter()
                .map(|(from, to)| area.crossed(*from, *to))
                .sum();
            let cost = covered * 20.0 + crossed * 8.0 + step as f32 * 14.0 + turn as f32 * 2.0;
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, area));
            }
        }
    }
    best.unwrap_or((f32::MAX, Area::around(x, y, 0.0)))
}

/// The place on a line where its label covers least.
fn on_line(
    from: [f32; 2],
    to: [f32; 2],
    wide: f32,
    high: f32,
    bounds: &Area,
    taken: &[Area],
) -> Area {
    let mut best: Option<(f32, Area)> = None;
    for (turn, part) in [0.5, 0.4, 0.6, 0.3, 0.7].into_iter().enumerate() {
        for (side, shift) in [0.0, 0.5, -0.5, 1.0, -1.0].into_iter().enumerate() {
            let x = from[0] + (to[0] - from[0]) * part + shift * wide;
            let y = from[1] + (to[1] - from[1]) * part;
            let left = (x - wide / 2.0).clamp(bounds.left, (bounds.right - wide).max(bounds.left));
            let top = (y - high / 2.0).clamp(bounds.top, (bounds.bottom - high).max(bounds.top));
            let area = Area {
                left,
                top,
                right: left + wide,
                bottom: top + high,
            };
            let covered: f32 = taken.iter().map(|it| it.overlap(&area)).sum();
            let cost = covered * 10.0 + (turn + 4 * side) as f32;
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, area));
            }
        }
    }
    best.map_or(Area::around(from[0], from[1], 0.0), |(_, area)| area)
}

/// A way: each kind has its own line, so that a copy in black and white still tells them apart.
fn line(from: [f32; 2], to: [f32; 2], kind: LinkKind) -> Option<Op> {
    let (width, dash) = match kind {
        LinkKind::Walk => (1.0, None),
        LinkKind::Stairs | LinkKind::ScaffoldStair => (3.0, Some([1.4, 1.4])),
        LinkKind::FixedLadder => (3.0, Some([0.8, 2.4])),
        LinkKind::Hoist => (3.0, None),
        LinkKind::Vehicle => (1.6, Some([6.0, 3.0])),
    };
    (from != to).then(|| Op::Stroke {
        points: vec![from, to],
        width,
        dash,
        closed: false,
    })
}

fn sign(sign: Sign, [x, y]: [f32; 2]) -> Vec<Op> {
    let square = |half: f32, white| Op::Fill {
        points: vec![
            [x - half, y - half],
            [x + half, y - half],
            [x + half, y + half],
            [x - half, y + half],
        ],
        white,
    };
    match sign {
        Sign::Position => vec![
            Op::Circle {
                x,
                y,
                radius: SIGN,
                ring: Some(1.6),
            },
            Op::Circle {
                x,
                y,
                radius: SIGN * 0.45,
                ring: None,
            },
        ],
        Sign::Approach => vec![square(SIGN, false), square(SIGN - 1.8, true)],
        Sign::Landing => {
            let (arm, wide) = (SIGN + 0.5, SIGN * 0.38);
            vec![
                square(SIGN + 0.5, true),
                Op::rectangle(x - arm, y - wide, 2.0 * arm, 2.0 * wide),
                Op::rectangle(x - wide, y - arm, 2.0 * wide, 2.0 * arm),
            ]
        }
        Sign::Station => vec![square(SIGN * 0.8, false)],
        Sign::Passing => vec![Op::Circle {
            x,
            y,
            radius: 2.2,
            ring: None,
        }],
    }
}

/// A bar as long as a round number of metres, in the lower right corner.
fn measure(scale: f32, width: f32, height: f32, size: f32, faces: &Faces) -> (Area, Vec<Op>) {
    let most_mm = width / 5.0 / scale;
    let power = 10_f32.powf(most_mm.max(1.0).log10().floor());
    let round_mm = [5.0, 2.0]
        .iter()
        .map(|it| it * power)
        .find(|it| *it <= most_mm)
        .unwrap_or(power);
    let small = size * SMALLER;
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a length on paper, and a cast holds at the ends of its range"
    )]
    let text = words::metres(Millimetres(round_mm as i64));
    let wide = (round_mm * scale).max(faces.width(&text, false) * small);
    let area = Area {
        left: width - wide - 1.0,
        top: height - small * 1.7,
        right: width,
        bottom: height,
    };
    let y = height - 2.0;
    let left = area.right - 1.0 - round_mm * scale;
    let points = vec![
        [left, y - 3.0],
        [left, y],
        [area.right - 1.0, y],
        [area.right - 1.0, y - 3.0],
    ];
    let x = (left + area.right - 1.0 - faces.width(&text, false) * small) / 2.0;
    let x = x.min(area.right - faces.width(&text, false) * small);
    let bar = Op::Stroke {
        points,
        width: 0.8,
        dash: None,
        closed: false,
    };
    (
        area,
        vec![
            bar,
            Op::Text {
                x,
                y: y - 4.2,
                size: small,
                strong: false,
                white: false,
                text,
            },
        ],
    )
}

fn north(letter: &str, width: f32, size: f32, faces: &Faces) -> Vec<Op> {
    let x = width - size;
    let (top, bottom) = (1.0, size * 1.7);
    let half = size * 0.42;
    let text_x = x - faces.width(letter, true) * size / 2.0;
    vec![
        Op::Fill {
            points: vec![
                [x, top],
                [x + half, bottom],
                [x, bottom - half * 0.8],
                [x - half, bottom],
            ],
            white: false,
        },
        Op::Text {
            x: text_x,
            y: bottom + size * 0.95,
            size,
            strong: true,
            white: false,
            text: letter.to_owned(),
        },
    ]
}
