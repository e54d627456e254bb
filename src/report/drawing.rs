//! Holds a picture before it is known on what it is drawn: shapes, texts and the records that they stand for.
//!
//! Inks are roles and not colours, so that a browser gives them the colours of its theme and paper gets its own. Sizes are
//! points from the upper left corner. `svg` writes it for inside an HTML file, as an image, or with links from each mark to
//! the line of its record. A text is measured by whoever places it; nothing here moves anything.

use super::colours;
use super::html::{add, escaped};

/// What something is drawn for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ink {
    /// Letters and outlines.
    Text,
    /// What is said beside the point.
    Soft,
    /// Grids and axes.
    Line,
    /// The ground of the page.
    Paper,
    /// A ground that stands out a little.
    Panel,
    /// What was done.
    Done,
    /// What was planned or estimated.
    Planned,
    /// What was late or did not work.
    Warning,
    /// Danger.
    Danger,
    /// The time somebody hung.
    Casualty,
    /// What was confirmed or reached.
    Reached,
}

impl Ink {
    /// All of them.
    pub const ALL: [Ink; 11] = [
        Ink::Text,
        Ink::Soft,
        Ink::Line,
        Ink::Paper,
        Ink::Panel,
        Ink::Done,
        Ink::Planned,
        Ink::Warning,
        Ink::Danger,
        Ink::Casualty,
        Ink::Reached,
    ];

    /// Its name in a style sheet.
    pub fn name(self) -> &'static str {
        match self {
            Ink::Text => "text",
            Ink::Soft => "soft",
            Ink::Line => "line",
            Ink::Paper => "paper",
            Ink::Panel => "panel",
            Ink::Done => "done",
            Ink::Planned => "planned",
            Ink::Warning => "warning",
            Ink::Danger => "danger",
            Ink::Casualty => "casualty",
            Ink::Reached => "reached",
        }
    }

    /// The colour of the reports that it is drawn in.
    fn colour(self) -> &'static str {
        match self {
            Ink::Text => "ink",
            Ink::Soft | Ink::Planned => "quiet",
            Ink::Line => "line",
            Ink::Paper => "ground",
            Ink::Panel => "panel",
            Ink::Done => "bar",
            Ink::Warning => "slow",
            Ink::Danger => "bad",
            Ink::Casualty => "past",
            Ink::Reached => "ready",
        }
    }

    /// Red, green and blue on paper, where it is always light.
    pub fn on_paper(self) -> [u8; 3] {
        colours::on_paper(self.colour())
    }
}

/// A place in the picture.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spot {
    /// From the left.
    pub x: f32,
    /// From the top.
    pub y: f32,
}

/// How an area is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Paint {
    /// What fills it; none leaves it open.
    pub fill: Option<Ink>,
    /// What runs round it.
    pub edge: Option<Ink>,
    /// How thick that is.
    pub weight: f32,
    /// True where that is broken into dashes.
    pub dashed: bool,
}

impl Paint {
    /// Filled, without an edge.
    pub const fn full(ink: Ink) -> Paint {
        Paint {
            fill: Some(ink),
            edge: None,
            weight: 0.0,
            dashed: false,
        }
    }

    /// Open, with an edge.
    pub const fn open(ink: Ink, weight: f32) -> Paint {
        Paint {
            fill: None,
            edge: Some(ink),
            weight,
            dashed: false,
        }
    }

    /// With this ground.
    #[must_use]
    pub const fn on(self, ground: Ink) -> Paint {
        Paint {
            fill: Some(ground),
            ..self
        }
    }

    /// With a broken edge.
    #[must_use]
    pub const fn dashed(self) -> Paint {
        Paint {
            dashed: true,
            ..self
        }
    }
}

/// Which part of a text lies at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// One line of letters.
#[derive(Clone, Debug, PartialEq)]
pub struct Text {
    /// On the line that the letters stand on.
    pub at: Spot,
    /// What of the text lies there.
    pub anchor: Anchor,
    /// Height of letters.
    pub size: f32,
    /// True in the strong face.
    pub strong: bool,
    /// What it is drawn in.
    pub ink: Ink,
    /// The letters.
    pub text: String,
}

/// A part of the picture. Later ones lie on earlier ones.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A straight line.
    Line {
        /// One end.
        from: Spot,
        /// The other end.
        to: Spot,
        /// What it is drawn in.
        ink: Ink,
        /// How thick it is.
        weight: f32,
        /// True where it is broken into dashes.
        dashed: bool,
    },
    /// An upright rectangle.
    Rectangle {
        /// Its upper left corner.
        at: Spot,
        /// How wide it is.
        width: f32,
        /// How high it is.
        height: f32,
        /// How it is drawn.
        paint: Paint,
    },
    /// An area between straight lines.
    Polygon {
        /// Its corners, in order.
        corners: Vec<Spot>,
        /// How it is drawn.
        paint: Paint,
    },
    /// A circle.
    Circle {
        /// Its middle.
        middle: Spot,
        /// Half its width.
        radius: f32,
        /// How it is drawn.
        paint: Paint,
    },
    /// Letters.
    Text(Text),
    /// What stands for one or more records.
    Group {
        /// Their numbers; the first is where a link goes.
        records: Vec<u64>,
        /// What they say, in words.
        told: String,
        /// How it is drawn.
        shapes: Vec<Shape>,
    },
}

/// A picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// How wide it is, in points.
    pub width: f32,
    /// How high it is.
    pub height: f32,
    /// Its name.
    pub title: String,
    /// Everything that is seen, in words.
    pub told: String,
    /// Its parts.
    pub shapes: Vec<Shape>,
}

/// How a drawing is joined to the page around it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Joined {
    /// Not at all: it is an image.
    Image,
    /// By links to the lines of the records.
    Links,
}

/// The style of drawings, for a page that declares the colours of the reports.
pub const STYLE: &str = "\
.fill-none{fill:none}.fill-text{fill:var(--ink)}.fill-soft{fill:var(--quiet)}.fill-line{fill:var(--line)}\
.fill-paper{fill:var(--ground)}.fill-panel{fill:var(--panel)}.fill-done{fill:var(--bar)}.fill-planned{fill:var(--quiet)}\
.fill-warning{fill:var(--slow)}.fill-danger{fill:var(--bad)}.fill-casualty{fill:var(--past)}.fill-reached{fill:var(--ready)}\n\
.edge-text{stroke:var(--ink)}.edge-soft{stroke:var(--quiet)}.edge-line{stroke:var(--line)}.edge-paper{stroke:var(--ground)}\
.edge-panel{stroke:var(--panel)}.edge-done{stroke:var(--bar)}.edge-planned{stroke:var(--quiet)}.edge-warning{stroke:var(--slow)}\
.edge-danger{stroke:var(--bad)}.edge-casualty{stroke:var(--past)}.edge-reached{stroke:var(--ready)}\n\
.drawing{display:block;width:100%;height:auto}\n\
.drawing text{stroke:none;font-family:\"Card\",\"B612\",sans-serif;font-size:inherit}\n\
.drawing a:hover>*,.drawing a:focus-visible>*{outline:.15rem solid var(--link)}\n";

impl Drawing {
    /// The picture as an image inside an HTML file. `prefix` keeps its ids apart from those of others in the file.
    pub fn svg(&self, prefix: &str) -> String {
        self.written(prefix, Joined::Image)
    }

    /// The same with a link from each mark to the line of its record, `#r17`. It is a group of links then and no image,
    /// because nothing inside an image can be reached.
    pub fn linked_svg(&self, prefix: &str) -> String {
        self.written(prefix, Joined::Links)
    }

    fn written(&self, prefix: &str, joined: Joined) -> String {
        let role = match joined {
            Joined::Image => "img",
            Joined::Links => "group",
        };
        let (title, told) = (written(&self.title), written(&self.told));
        let mut out = String::new();
        add(
            &mut out,
            format_args!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"drawing\" role=\"{role}\" aria-labelledby=\"{prefix}-t\" \
                 aria-describedby=\"{prefix}-d\" viewBox=\"0 0 {} {}\">\n<title id=\"{prefix}-t\">{title}</title>\n\
                 <desc id=\"{prefix}-d\">{told}</desc>\n",
                number(self.width),
                number(self.height)
            ),
        );
        for shape in &self.shapes {
            shape.write(&mut out, joined);
        }
        out.push_str("</svg>\n");
        out
    }

    /// Every part of the picture that is no group, in the order in which they are drawn.
    pub fn flat(&self) -> Vec<&Shape> {
        let mut all = Vec::new();
        gather(&self.shapes, &mut all);
        all
    }
}

fn gather<'a>(shapes: &'a [Shape], all: &mut Vec<&'a Shape>) {
    for shape in shapes {
        match shape {
            Shape::Group { shapes, .. } => gather(shapes, all),
            other => all.push(other),
        }
    }
}

impl Shape {
    fn write(&self, out: &mut String, joined: Joined) {
        match self {
            Shape::Line {
                from,
                to,
                ink,
                weight,
                dashed,
            } => add(
                out,
                format_args!(
                    "<path class=\"edge-{}\" stroke-width=\"{}\"{} d=\"M{} {}L{} {}\"/>\n",
                    ink.name(),
                    number(*weight),
                    dashes(*dashed),
                    number(from.x),
                    number(from.y),
                    number(to.x),
                    number(to.y)
                ),
            ),
            Shape::Rectangle {
                at,
                width,
                height,
                paint,
            } => add(
                out,
                format_args!(
                    "<rect{} x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>\n",
                    painted(*paint),
                    number(at.x),
                    number(at.y),
                    number(*width),
                    number(*height)
                ),
            ),
            Shape::Polygon { corners, paint } => {
                let corner = |it: &Spot| format!("{},{}", number(it.x), number(it.y));
                let corners: Vec<String> = corners.iter().map(corner).collect();
                let (paint, corners) = (painted(*paint), corners.join(" "));
                add(
                    out,
                    format_args!("<polygon{paint} points=\"{corners}\"/>\n"),
                );
            }
            Shape::Circle {
                middle,
                radius,
                paint,
            } => add(
                out,
                format_args!(
                    "<circle{} cx=\"{}\" cy=\"{}\" r=\"{}\"/>\n",
                    painted(*paint),
                    number(middle.x),
                    number(middle.y),
                    number(*radius)
                ),
            ),
            Shape::Text(text) => text.write(out),
            Shape::Group {
                records,
                told,
                shapes,
            } => {
                let link = records.first().filter(|_| joined == Joined::Links);
                match link {
                    Some(record) => add(out, format_args!("<a href=\"#r{record}\">")),
                    None => out.push_str("<g>"),
                }
                if !told.is_empty() {
                    add(out, format_args!("<title>{}</title>\n", written(told)));
                }
                for shape in shapes {
                    shape.write(out, joined);
                }
                out.push_str(if link.is_some() { "</a>\n" } else { "</g>\n" });
            }
        }
    }
}

impl Text {
    fn write(&self, out: &mut String) {
        let anchor = match self.anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let weight = if self.strong {
            " font-weight=\"bold\""
        } else {
            ""
        };
        add(
            out,
            // The style, because a sheet around the picture may say how large its letters are.
            format_args!(
                "<text class=\"fill-{}\" style=\"font-size:{}px\"{anchor}{weight} x=\"{}\" y=\"{}\">{}</text>\n",
                self.ink.name(),
                number(self.size),
                number(self.at.x),
                number(self.at.y),
                written(&self.text)
            ),
        );
    }
}

fn painted(paint: Paint) -> String {
    let fill = paint.fill.map_or("none", Ink::name);
    let Some(edge) = paint.edge else {
        return format!(" class=\"fill-{fill}\"");
    };
    let (weight, dashes) = (number(paint.weight), dashes(paint.dashed));
    format!(
        " class=\"fill-{fill} edge-{}\" stroke-width=\"{weight}\"{dashes}",
        edge.name()
    )
}

fn dashes(dashed: bool) -> &'static str {
    if dashed {
        " stroke-dasharray=\"4 3\""
    } else {
        ""
    }
}

/// A length with at most two places; what a file of pictures is mostly made of.
fn number(length: f32) -> String {
    let text = format!("{length:.2}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    match short {
        "-0" => "0".to_owned(),
        short => short.to_owned(),
    }
}

/// A text in which nothing is a tag, and nothing that no XML may hold.
fn written(text: &str) -> String {
    let is_text = |letter: char| {
        let plain = !letter.is_control() || matches!(letter, '\t' | '\n');
        plain && !matches!(letter, '\u{fffe}' | '\u{ffff}')
    };
    let clean: String = text
        .chars()
        .map(|it| if is_text(it) { it } else { '\u{fffd}' })
        .collect();
    escaped(&clean)
}
