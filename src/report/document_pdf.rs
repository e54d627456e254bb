//! Writes a report as a PDF: real text in the bundled faces, tagged for who listens, with a way to every record it names.
//!
//! The bytes follow from the report and the paper alone. It keeps to PDF/UA-1 where its letters allow that: one that the
//! faces do not have is an empty box, which that standard forbids, and then the report is written without its mark rather
//! than not at all. [`missing`] names those letters.

use std::collections::{BTreeMap, BTreeSet};

use krilla::annotation::{Annotation, LinkAnnotation, Target};
use krilla::color::rgb;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Transform};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, Identifier, SpanTag};
use krilla::text::{Font, TextDirection};
use krilla::{Document as Pdf, SerializeSettings};

use super::Paper;
use super::document::Document;
use super::document_html::{QUIET_ZONE, dark};
use super::document_pages::{self, FOOT, HEAD, MARGIN, Page};
use super::document_rows::{Op, Place, Setting, rows};
use super::document_tags::Read;
use super::drawing::{Anchor, Drawing, Ink, Paint, Shape, Spot, Text};
use super::face::{BOLD, CAPITAL, Faces, REGULAR};
use super::pieces::LEADING;
use crate::words::{Id, Message, label};

/// Letters of what every page repeats, in points.
const HEAD_SIZE: f32 = 9.0;
const FOOT_SIZE: f32 = 7.0;

/// The report as a PDF.
///
/// # Errors
/// Says why the pages cannot be written; no report is known that does this.
pub fn pdf(document: &Document, paper: Paper) -> Result<Vec<u8>, String> {
    let faces = Faces::new();
    let pages = document_pages::pages(document, paper, &faces);
    let made = |accessible: bool| {
        Writer {
            document,
            paper,
            faces: &faces,
            pages: &pages,
            targets: targets(&pages),
        }
        .write(accessible)
    };
    made(true).or_else(|_| made(false))
}

/// The letters of a report that the PDF cannot show.
pub fn missing(document: &Document) -> BTreeSet<char> {
    let faces = Faces::new();
    let texts = document.texts();
    texts.iter().flat_map(|it| faces.missing(it)).collect()
}

/// Where the line of each record is: page, and how far from its top.
fn targets(pages: &[Page<'_>]) -> BTreeMap<u64, (usize, f32)> {
    let mut all = BTreeMap::new();
    for (index, page) in pages.iter().enumerate() {
        for placed in &page.placed {
            if let Some(record) = placed.piece.record {
                all.insert(record, (index, MARGIN + HEAD + placed.y));
            }
        }
    }
    all
}

struct Writer<'a> {
    document: &'a Document,
    paper: Paper,
    faces: &'a Faces,
    pages: &'a [Page<'a>],
    targets: BTreeMap<u64, (usize, f32)>,
}

impl Writer<'_> {
    fn write(&self, accessible: bool) -> Result<Vec<u8>, String> {
        let [regular, bold] = [REGULAR, BOLD].map(|bytes| Font::new(bytes.into(), 0));
        let fonts = [
            regular.ok_or("the bundled face cannot be read")?,
            bold.ok_or("the bundled face cannot be read")?,
        ];
        let mut pdf = Pdf::new_with(settings(accessible)?);
        let metadata = Metadata::new()
            .title(self.document.title.clone())
            .language(self.document.language.tag().to_owned());
        pdf.set_metadata(metadata);
        let mut read = Read::default();
        for (index, page) in self.pages.iter().enumerate() {
            let (width, height) = document_pages::size(self.paper, page.across);
            let settings = PageSettings::from_wh(width, height).ok_or("the paper has no size")?;
            let mut started = pdf.start_page_with(settings);
            let mut surface = started.surface();
            let mut brush = Brush {
                surface: &mut surface,
                fonts: &fonts,
                faces: self.faces,
                drawn: Vec::new(),
            };
            brush.margins(self, index, width, height);
            for placed in &page.placed {
                let top = MARGIN + HEAD + placed.y;
                for op in &placed.piece.ops {
                    brush.op(op, MARGIN, top, placed.again, &self.targets);
                }
            }
            let drawn = brush.drawn;
            surface.finish();
            for Drawn { place, id, way } in drawn {
                match way {
                    None => read.text(place, id),
                    Some(way) => {
                        let way = started.add_tagged_annotation(self.annotation(&way)?);
                        read.link(place, id, way);
                    }
                }
            }
            started.finish();
        }
        pdf.set_outline(self.outline());
        pdf.set_tag_tree(read.tree(self.document));
        pdf.finish()
            .map_err(|error| format!("the pages cannot be written: {error:?}"))
    }

    fn annotation(&self, way: &Way) -> Result<Annotation, String> {
        let target = Target::Destination(XyzDestination::new(way.page, way.at).into());
        let [x, y, width, height] = way.area;
        let area = Rect::from_xywh(x, y, width, height).ok_or("a link has no size")?;
        let link = LinkAnnotation::new(area, target);
        let told = Message::with(Id::IncidentReportToRecord, [&way.record.to_string()]);
        let told = told.text(self.document.language);
        Ok(Annotation::new_link(link, Some(told)))
    }

    /// An entry for each heading, the lesser ones below the one before.
    fn outline(&self) -> Outline {
        let mut all: Vec<(u8, OutlineNode)> = Vec::new();
        let mut nested: Vec<OutlineNode> = Vec::new();
        let placed = self.pages.iter().enumerate();
        let placed = placed.flat_map(|(page, it)| it.placed.iter().map(move |it| (page, it)));
        let mut outline = Outline::new();
        for (page, it) in placed {
            let Some((level, text)) = it.piece.heading else {
                continue;
            };
            let top = XyzDestination::new(page, Point::from_xy(0.0, MARGIN + HEAD + it.y));
            let node = OutlineNode::new(text.to_owned(), top);
            if level == 2 {
                close(&mut all, &mut nested);
                all.push((level, node));
            } else {
                nested.push(node);
            }
        }
        close(&mut all, &mut nested);
        for (_, node) in all {
            outline.push_child(node);
        }
        outline
    }
}

/// Puts lesser entries below the last one.
fn close(all: &mut [(u8, OutlineNode)], nested: &mut Vec<OutlineNode>) {
    for node in nested.drain(..) {
        if let Some((_, last)) = all.last_mut() {
            last.push_child(node);
        }
    }
}

fn settings(accessible: bool) -> Result<SerializeSettings, String> {
    let mut configuration = ConfigurationBuilder::new();
    if accessible {
        configuration = configuration.with_accessibility_validator(Accessibility::UA1);
    }
    let configuration = configuration
        .finish()
        .map_err(|error| format!("the pages cannot be written: {error:?}"))?;
    Ok(SerializeSettings {
        configuration,
        ..SerializeSettings::default()
    })
}

/// A way to the line of a record.
struct Way {
    record: u64,
    area: [f32; 4],
    page: usize,
    at: Point,
}

/// What is read of a page, in its order, and where it leads.
struct Drawn {
    place: Place,
    id: Identifier,
    way: Option<Way>,
}

/// Draws on a page.
struct Brush<'b, 's> {
    surface: &'b mut Surface<'s>,
    fonts: &'b [Font; 2],
    faces: &'b Faces,
    drawn: Vec<Drawn>,
}

fn fill(ink: Ink) -> Fill {
    let [red, green, blue] = ink.on_paper();
    Fill {
        paint: rgb::Color::new(red, green, blue).into(),
        ..Fill::default()
    }
}

fn stroke(ink: Ink, width: f32, dashed: bool) -> Stroke {
    let [red, green, blue] = ink.on_paper();
    Stroke {
        paint: rgb::Color::new(red, green, blue).into(),
        width,
        dash: dashed.then(|| StrokeDash {
            array: vec![4.0, 3.0],
            offset: 0.0,
        }),
        ..Stroke::default()
    }
}

impl Brush<'_, '_> {
    /// What every page repeats: what is marked, which incident it is, what decides instead, and which page it is.
    fn margins(&mut self, writer: &Writer<'_>, index: usize, width: f32, height: f32) {
        let document = writer.document;
        let artifact = ContentTag::Artifact(Artifact::with_kind(ArtifactType::Header));
        self.surface.start_tagged(artifact);
        let inner = width - 2.0 * MARGIN;
        let line = MARGIN + HEAD_SIZE;
        let wide = |text: &str, strong: bool| self.faces.width(text, strong);
        let name = wide(&document.name, false);
        let mut all = wide(&document.kicker, true) + name + 3.0;
        all += document
            .marks
            .iter()
            .map(|it| wide(it, true) + 1.6)
            .sum::<f32>();
        // Long marks are set smaller, so that nothing lies on another thing.
        let size = HEAD_SIZE.min(inner / all);
        let mut x = MARGIN;
        for mark in &document.marks {
            let altered = *mark == label(Id::LogAltered, document.language);
            let ink = if altered { Ink::Danger } else { Ink::Text };
            let width = self.faces.width(mark, true) * size + size;
            let top = line - size * CAPITAL - 3.0;
            self.rectangle(x, top, width, size * CAPITAL + 6.0, Paint::full(ink));
            self.letters(x + size / 2.0, line, size, true, Ink::Paper, mark);
            x += width + size * 0.6;
        }
        self.letters(x, line, size, true, Ink::Text, &document.kicker);
        let left = width - MARGIN - name * size;
        self.letters(left, line, size, false, Ink::Soft, &document.name);
        self.rectangle(MARGIN, line + 6.0, inner, 0.8, Paint::full(Ink::Text));
        self.surface.end_tagged();

        let artifact = ContentTag::Artifact(Artifact::with_kind(ArtifactType::Footer));
        self.surface.start_tagged(artifact);
        let [number, of] = [index + 1, writer.pages.len()].map(|it| it.to_string());
        let page = Message::with(Id::CardPage, [&number, &of]).text(document.language);
        let page_width = self.faces.width(&page, true) * FOOT_SIZE;
        let top = height - MARGIN - FOOT + 10.0;
        self.rectangle(MARGIN, top, inner, 0.6, Paint::full(Ink::Line));
        let setting = Setting {
            size: FOOT_SIZE,
            strong: false,
            ink: Ink::Soft,
            width: inner - page_width - 20.0,
        };
        let foot = [super::document::Span::Text(document.foot.clone())];
        let rows = rows(&foot, setting, Place::default(), self.faces);
        for (i, row) in rows.iter().enumerate() {
            let y = top + 3.0 + i as f32 * FOOT_SIZE * LEADING;
            row.iter().for_each(|op| self.plain(op, MARGIN, y));
        }
        let line = top + 3.0 + FOOT_SIZE;
        let x = width - MARGIN - page_width;
        self.letters(x, line, FOOT_SIZE, true, Ink::Text, &page);
        self.surface.end_tagged();
    }

    /// Draws something that belongs to the report; what is there again is only seen.
    fn op(
        &mut self,
        op: &Op<'_>,
        x: f32,
        y: f32,
        again: bool,
        targets: &BTreeMap<u64, (usize, f32)>,
    ) {
        let place = match op {
            Op::Text { place, .. } | Op::Picture { place, .. } | Op::Code { place, .. } => {
                Some(*place).filter(|_| !again)
            }
            Op::Area { .. } => None,
        };
        let tag = match place {
            Some(_) => ContentTag::Span(SpanTag::empty()),
            None => ContentTag::Artifact(Artifact::default()),
        };
        let id = self.surface.start_tagged(tag);
        self.plain(op, x, y);
        self.surface.end_tagged();
        let Some(place) = place else { return };
        let target = match op {
            Op::Text {
                record: Some(record),
                ..
            } => targets.get(record).map(|it| (*record, *it)),
            _ => None,
        };
        let way = target.map(|(record, (page, at))| Way {
            record,
            area: self.area(op, x, y),
            page,
            at: Point::from_xy(0.0, at),
        });
        self.drawn.push(Drawn { place, id, way });
    }

    fn area(&self, op: &Op<'_>, left: f32, top: f32) -> [f32; 4] {
        match op {
            Op::Text {
                x,
                y,
                size,
                strong,
                text,
                ..
            } => {
                let width = self.faces.width(text.trim_end(), *strong) * size;
                let top = top + y - size;
                [left + x, top, width.max(1.0), size * LEADING]
            }
            _ => [left, top, 1.0, 1.0],
        }
    }

    fn plain(&mut self, op: &Op<'_>, left: f32, top: f32) {
        match op {
            Op::Text {
                x,
                y,
                size,
                strong,
                ink,
                text,
                record,
                ..
            } => {
                self.letters(left + x, top + y, *size, *strong, *ink, text);
                if record.is_some() {
                    // A way is seen without its colour.
                    let width = self.faces.width(text.trim_end(), *strong) * size;
                    let y = top + y + size * 0.14;
                    self.rectangle(left + x, y, width, 0.5, Paint::full(*ink));
                }
            }
            Op::Area {
                x,
                y,
                width,
                height,
                ink,
            } => self.rectangle(left + x, top + y, *width, *height, Paint::full(*ink)),
            Op::Picture { drawing, scale, .. } => self.picture(drawing, *scale, left, top),
            Op::Code { cells, side, .. } => self.code(cells, *side, left, top),
        }
    }

    fn letters(&mut self, x: f32, y: f32, size: f32, strong: bool, ink: Ink, text: &str) {
        if text.is_empty() {
            return;
        }
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(fill(ink)));
        let font = self.fonts[usize::from(strong)].clone();
        let at = Point::from_xy(x, y);
        let direction = TextDirection::LeftToRight;
        self.surface
            .draw_text(at, font, size, text, false, direction);
    }

    fn rectangle(&mut self, x: f32, y: f32, width: f32, height: f32, paint: Paint) {
        let corners = [
            [x, y],
            [x + width, y],
            [x + width, y + height],
            [x, y + height],
        ];
        self.painted(&corners, paint);
    }

    fn painted(&mut self, corners: &[[f32; 2]], paint: Paint) {
        let mut path = PathBuilder::new();
        for (i, [x, y]) in corners.iter().enumerate() {
            if i == 0 {
                path.move_to(*x, *y);
            } else {
                path.line_to(*x, *y);
            }
        }
        path.close();
        self.path(path, paint);
    }

    fn path(&mut self, path: PathBuilder, paint: Paint) {
        self.surface.set_fill(paint.fill.map(fill));
        let edge = paint.edge.map(|it| stroke(it, paint.weight, paint.dashed));
        self.surface.set_stroke(edge);
        if let Some(path) = path.finish() {
            self.surface.draw_path(&path);
        }
    }

    fn code(&mut self, cells: &[Vec<bool>], side: f32, left: f32, top: f32) {
        let mut path = PathBuilder::new();
        for (y, row) in cells.iter().enumerate() {
            for (x, length) in dark(row) {
                let at = |cell: usize| (cell + QUIET_ZONE) as f32 * side;
                let (x, y, width) = (left + at(x), top + at(y), length as f32 * side);
                path.move_to(x, y);
                path.line_to(x + width, y);
                path.line_to(x + width, y + side);
                path.line_to(x, y + side);
                path.close();
            }
        }
        self.path(path, Paint::full(Ink::Text));
    }

    fn picture(&mut self, drawing: &Drawing, scale: f32, left: f32, top: f32) {
        let moved = Transform::from_row(scale, 0.0, 0.0, scale, left, top);
        self.surface.push_transform(&moved);
        for shape in drawing.flat() {
            self.shape(shape);
        }
        self.surface.pop();
    }

    fn shape(&mut self, shape: &Shape) {
        let corner = |it: &Spot| [it.x, it.y];
        match shape {
            Shape::Line {
                from,
                to,
                ink,
                weight,
                dashed,
            } => {
                let mut path = PathBuilder::new();
                path.move_to(from.x, from.y);
                path.line_to(to.x, to.y);
                let paint = Paint::open(*ink, *weight);
                self.path(path, if *dashed { paint.dashed() } else { paint });
            }
            Shape::Rectangle {
                at,
                width,
                height,
                paint,
            } => self.rectangle(at.x, at.y, *width, *height, *paint),
            Shape::Polygon { corners, paint } => {
                let corners: Vec<[f32; 2]> = corners.iter().map(corner).collect();
                self.painted(&corners, *paint);
            }
            Shape::Circle {
                middle,
                radius,
                paint,
            } => {
                let mut path = PathBuilder::new();
                super::pdf::circle(&mut path, middle.x, middle.y, *radius);
                self.path(path, *paint);
            }
            Shape::Text(text) => self.written(text),
            Shape::Group { shapes, .. } => shapes.iter().for_each(|it| self.shape(it)),
        }
    }

    fn written(&mut self, text: &Text) {
        let width = self.faces.width(&text.text, text.strong) * text.size;
        let back = match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => width / 2.0,
            Anchor::End => width,
        };
        let x = text.at.x - back;
        self.letters(x, text.at.y, text.size, text.strong, text.ink, &text.text);
    }
}
