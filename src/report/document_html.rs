//! Writes a report as one HTML file that asks for nothing: no script, no network, the faces inside it.
//!
//! A policy in its head forbids the browser to load or run anything but the style and the faces that it carries, so that a
//! text out of a record could do nothing even if it came through as a tag. None does: every text is written by [`escaped`].
//! It reads without colour, without a mouse and aloud; what it looks like stands in `colours` and `document_sheet`.

use super::colours;
use super::document::{Block, Document, Kind, Row, Span, Table, Tone};
use super::document_sheet;
use super::drawing;
use super::html::{add, escaped};
use crate::words::{Id, label};

/// What the browser may do with the file: take the style and the faces inside it.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; base-uri 'none'; form-action 'none'";

/// White cells round a code, by which a camera finds it: four, as ISO/IEC 18004 asks.
pub(super) const QUIET_ZONE: usize = 4;

/// The report as one HTML file.
pub fn html(document: &Document) -> Vec<u8> {
    let mut writer = Writer {
        document,
        out: String::new(),
        section: false,
        numbered: 0,
    };
    writer.head();
    for block in &document.blocks {
        writer.block(block);
    }
    writer.end_section();
    writer.foot();
    writer.out.into_bytes()
}

/// What is written so far.
struct Writer<'a> {
    document: &'a Document,
    out: String,
    /// True while a section is open.
    section: bool,
    /// How many tables and pictures there were.
    numbered: usize,
}

impl Writer<'_> {
    fn line(&mut self, arguments: std::fmt::Arguments<'_>) {
        add(&mut self.out, arguments);
    }

    fn label(&self, id: Id) -> String {
        escaped(&label(id, self.document.language))
    }

    fn head(&mut self) {
        let document = self.document;
        let title = escaped(&document.title);
        let kicker = escaped(&document.kicker);
        self.line(format_args!(
            "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"color-scheme\" content=\"light dark\">\n<title>{title}</title>\n<style>\n{}{}{}{}</style>\n</head>\n\
             <body>\n<div class=\"sheet\">\n<header class=\"every-page\">\n<p>",
            document.language.tag(),
            *colours::SHEET,
            colours::EVERY_PAGE,
            drawing::STYLE,
            document_sheet::STYLE,
        ));
        for mark in &document.marks {
            let (class, mark) = (self.class_of(mark), escaped(mark));
            add(&mut self.out, format_args!("<b{class}>{mark}</b> "));
        }
        let name = escaped(&document.name);
        self.line(format_args!(
            "{kicker} <span class=\"name\">{name}</span></p>\n</header>\n<div class=\"all\">\n<div class=\"cell\">\n"
        ));
        self.contents();
        self.line(format_args!("<main>\n<h1>{title}</h1>\n"));
    }

    fn class_of(&self, mark: &str) -> &'static str {
        match mark == label(Id::LogAltered, self.document.language) {
            true => " class=\"altered\"",
            false => "",
        }
    }

    /// Ways to the headings right below the title.
    fn contents(&mut self) {
        let name = self.label(Id::IncidentReportContents);
        self.line(format_args!("<nav aria-label=\"{name}\">\n<ul>\n"));
        for block in &self.document.blocks {
            if let Block::Heading {
                level: 2,
                anchor,
                text,
            } = block
            {
                let text = escaped(text);
                self.line(format_args!("<li><a href=\"#{anchor}\">{text}</a></li>\n"));
            }
        }
        self.out.push_str("</ul>\n</nav>\n");
    }

    fn end_section(&mut self) {
        if self.section {
            self.out.push_str("</section>\n");
        }
        self.section = false;
    }

    fn block(&mut self, block: &Block) {
        match block {
            Block::Heading {
                level,
                anchor,
                text,
            } => self.heading(*level, anchor, text),
            Block::Paragraph { tone, spans } => {
                let class = match tone {
                    Tone::Plain => "",
                    Tone::Loud => " class=\"loud\"",
                    Tone::Quiet => " class=\"note\"",
                };
                let spans = written(spans);
                self.line(format_args!("<p{class}>{spans}</p>\n"));
            }
            Block::Points(points) => self.points(points),
            Block::Pairs(pairs) => {
                self.out.push_str("<dl class=\"facts\">\n");
                for (name, spans) in pairs {
                    let (name, spans) = (escaped(name), written(spans));
                    self.line(format_args!("<div><dt>{name}</dt><dd>{spans}</dd></div>\n"));
                }
                self.out.push_str("</dl>\n");
            }
            Block::Caution { heading, lines } => {
                self.end_section();
                let heading = escaped(heading);
                self.line(format_args!(
                    "<section class=\"caution\">\n<h2>{heading}</h2>\n<ul>\n"
                ));
                self.items(lines);
                self.out.push_str("</ul>\n</section>\n");
            }
            Block::Table(table) => self.table(table),
            Block::Figure(picture) => {
                self.numbered += 1;
                let (title, picture) = (
                    escaped(&picture.title),
                    picture.linked_svg(&format!("p{}", self.numbered)),
                );
                self.line(format_args!(
                    "<figure>\n<figcaption>{title}</figcaption>\n\
                     <div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{title}\">\n{picture}</div>\n</figure>\n"
                ));
            }
            Block::Groups { name, groups } => {
                let name = escaped(name);
                self.line(format_args!("<p class=\"groups\"><b>{name}</b> <code>"));
                for group in groups {
                    let group = escaped(group);
                    self.line(format_args!("<span>{group}</span> "));
                }
                self.out.push_str("</code></p>\n");
            }
            Block::Code { told, cells } => self.code(told, cells),
        }
    }

    fn heading(&mut self, level: u8, anchor: &str, text: &str) {
        let text = escaped(text);
        if level == 2 {
            self.end_section();
            self.section = true;
            self.line(format_args!("<section id=\"{anchor}\">\n<h2>{text}</h2>\n"));
        } else {
            self.line(format_args!("<h3 id=\"{anchor}\">{text}</h3>\n"));
        }
    }

    fn points(&mut self, points: &[Vec<Span>]) {
        self.out.push_str("<ul class=\"points\">\n");
        self.items(points);
        self.out.push_str("</ul>\n");
    }

    fn items(&mut self, items: &[Vec<Span>]) {
        for spans in items {
            let spans = written(spans);
            self.line(format_args!("<li>{spans}</li>\n"));
        }
    }

    fn table(&mut self, table: &Table) {
        self.numbered += 1;
        let (number, caption) = (self.numbered, escaped(&table.caption));
        self.line(format_args!(
            "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-labelledby=\"t{number}\">\n<table>\n\
             <caption id=\"t{number}\">{caption}</caption>\n<thead><tr>"
        ));
        for column in &table.columns {
            let (class, name) = (class(column.kind), escaped(&column.name));
            self.line(format_args!("<th scope=\"col\"{class}>{name}</th>"));
        }
        self.out.push_str("</tr></thead>\n<tbody>\n");
        for row in &table.rows {
            self.row(table, row);
        }
        self.out.push_str("</tbody>\n</table>\n</div>\n");
    }

    fn row(&mut self, table: &Table, row: &Row) {
        let id = row.record.map(|it| format!(" id=\"r{it}\""));
        let id = id.unwrap_or_default();
        let class_of_row = if row.quiet { " class=\"quiet\"" } else { "" };
        self.line(format_args!("<tr{id}{class_of_row}>"));
        for (column, cell) in table.columns.iter().zip(&row.cells) {
            let (class, cell) = (class(column.kind), written(cell));
            match column.kind {
                Kind::Head => self.line(format_args!("<th scope=\"row\"{class}>{cell}</th>")),
                Kind::Words | Kind::Figures => {
                    self.line(format_args!("<td{class}>{cell}</td>"));
                }
            }
        }
        self.out.push_str("</tr>\n");
    }

    /// A code as a picture of its own, white round it.
    fn code(&mut self, told: &str, cells: &[Vec<bool>]) {
        let told = escaped(told);
        let side = cells.len() + 2 * QUIET_ZONE;
        self.line(format_args!(
            "<figure class=\"code\">\n<svg role=\"img\" aria-label=\"{told}\" viewBox=\"0 0 {side} {side}\" \
             shape-rendering=\"crispEdges\">\n<rect width=\"{side}\" height=\"{side}\" fill=\"#fff\"/>\n<path fill=\"#000\" d=\""
        ));
        for (y, row) in cells.iter().enumerate() {
            for (x, length) in dark(row) {
                let (x, y) = (x + QUIET_ZONE, y + QUIET_ZONE);
                self.line(format_args!("M{x} {y}h{length}v1h-{length}z"));
            }
        }
        self.line(format_args!(
            "\"/>\n</svg>\n<figcaption>{told}</figcaption>\n</figure>\n"
        ));
    }

    fn foot(&mut self) {
        let foot = escaped(&self.document.foot);
        self.line(format_args!(
            "</main>\n<footer>\n<p>{foot}</p>\n</footer>\n</div>\n</div>\n</div>\n</body>\n</html>\n"
        ));
    }
}

/// Stretches of dark cells in a row: where each begins and how many there are.
pub(super) fn dark(row: &[bool]) -> Vec<(usize, usize)> {
    let mut all: Vec<(usize, usize)> = Vec::new();
    for (x, _) in row.iter().enumerate().filter(|(_, dark)| **dark) {
        match all.last_mut().filter(|(from, length)| from + length == x) {
            Some((_, length)) => *length += 1,
            None => all.push((x, 1)),
        }
    }
    all
}

fn class(kind: Kind) -> &'static str {
    match kind {
        Kind::Figures => " class=\"n\"",
        Kind::Head | Kind::Words => "",
    }
}

fn written(spans: &[Span]) -> String {
    let each = spans.iter().map(|span| match span {
        Span::Text(text) => escaped(text),
        Span::Strong(text) => format!("<b>{}</b>", escaped(text)),
        Span::Record(number) => format!("<a href=\"#r{number}\">{number}</a>"),
    });
    each.collect()
}
