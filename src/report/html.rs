//! Writes rescue cards as one HTML file that reads on a phone and prints a page where the PDF has one.
//!
//! Everything is inside: the faces, the style, the sketches. Pages and columns follow the layout of the PDF, a little smaller,
//! so that a browser that breaks a line elsewhere still ends on the same page. On a screen the pages are one long text.

use std::fmt::Write;
use std::rc::Rc;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::Paper;
use super::cards::{Card, Entry, Kind, Line, Mark, Part, Run, Style};
use super::face::{BOLD, Faces, REGULAR};
use super::layout::{self, BAND_GAP, Band, GUTTER, MARGIN, Page};
use super::margins;
use super::pieces::{
    BAR, BAR_WIDTH, ENTRY_GAP, HEADING, INDENT, LEADING, Op, PART_GAP, Piece, Sizes,
};
use crate::words::{Id, Language, Message};

/// How much smaller than in the PDF everything is set on paper.
const SLACK: f32 = 0.985;

/// The cards as one HTML file.
pub fn cards(cards: &[Card], paper: Paper) -> Vec<u8> {
    let faces = Faces::new();
    let pages = layout::pages(cards, paper, &faces);
    let language = cards
        .first()
        .map_or_else(Language::default, |card| card.language);
    let title = Card::title(cards);
    let mut out = String::new();
    out.push_str("<!DOCTYPE html>\n");
    add(
        &mut out,
        format_args!(
            "<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n",
            language.tag()
        ),
    );
    out.push_str("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    add(
        &mut out,
        format_args!(
            "<title>{}</title>\n<style>\n{}</style>\n</head>\n<body>\n",
            escaped(&title),
            style(paper)
        ),
    );
    if cards.len() > 1 {
        add(
            &mut out,
            format_args!("<nav>\n<p>{}</p>\n<ul>\n", escaped(&title)),
        );
        for card in cards {
            add(
                &mut out,
                format_args!(
                    "<li><a href=\"#{}\">{}</a></li>\n",
                    escaped(&card.id),
                    escaped(&card.name)
                ),
            );
        }
        out.push_str("</ul>\n</nav>\n");
    }
    for (index, page) in pages.iter().enumerate() {
        let card = &cards[page.card];
        if page.number == 1 {
            add(
                &mut out,
                format_args!("<article id=\"{}\">\n", escaped(&card.id)),
            );
        }
        let words = margins::page_words(card, page, index + 1, pages.len());
        Writer {
            out: &mut out,
            card,
        }
        .page(page, &words);
        if page.number == page.of {
            out.push_str("</article>\n");
        }
    }
    out.push_str("</body>\n</html>\n");
    out.into_bytes()
}

/// Writing to a text cannot fail.
pub(super) fn add(out: &mut String, arguments: std::fmt::Arguments<'_>) {
    out.write_fmt(arguments)
        .expect("a text takes everything that is written to it");
}

/// A text in which nothing is a tag, an attribute's end or an entity.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            letter => out.push(letter),
        }
    }
    out
}

/// The sizes of a page on paper; on a screen they do not count.
fn variables(sizes: &Sizes, title: Option<f32>) -> String {
    let all = [
        ("title", title.unwrap_or(sizes.heading)),
        ("heading", sizes.heading),
        ("method", sizes.method),
        ("loud", sizes.loud),
        ("lead", sizes.lead),
        ("body", sizes.body),
        ("step", sizes.step),
        ("table", sizes.table),
        ("foot", sizes.foot),
    ];
    let all = all
        .iter()
        .map(|(name, size)| format!("--paper-{name}:{:.2}pt", size * SLACK));
    all.collect::<Vec<_>>().join(";")
}

struct Writer<'a> {
    out: &'a mut String,
    card: &'a Card,
}

impl Writer<'_> {
    fn add(&mut self, arguments: std::fmt::Arguments<'_>) {
        add(self.out, arguments);
    }

    fn page(&mut self, page: &Page, words: &str) {
        let card = self.card;
        let variables = variables(&page.sizes, page.title);
        self.add(format_args!(
            "<div class=\"page\" style=\"{variables};--band:{:.2}pt\">\n",
            page.band_gap * SLACK
        ));
        let (kicker, name) = (escaped(&card.kicker), escaped(&card.name));
        let mark = card
            .invented
            .as_ref()
            .map(|mark| format!("<p class=\"mark\">{}</p>\n", escaped(mark)));
        let mark = mark.unwrap_or_default();
        if page.number == 1 {
            let (place, site) = (escaped(&card.place), escaped(&card.site));
            self.add(format_args!(
                "<header>\n<p class=\"kicker\">{kicker}</p>\n{mark}<h1>{name}</h1>\n<div class=\"where\"><p class=\"place\">{place}</p>\n\
                 <p class=\"site\">{site}</p></div>\n</header>\n"
            ));
        } else {
            self.add(format_args!(
                "<div class=\"again\" aria-hidden=\"true\"><p class=\"kicker\">{kicker}</p>\n\
                 <p class=\"name\">{name}</p>\n{mark}</div>\n"
            ));
        }
        for band in &page.bands {
            self.band(band);
        }
        let hidden = if page.number == page.of {
            ""
        } else {
            " class=\"again\" aria-hidden=\"true\""
        };
        self.add(format_args!("<footer{hidden}>\n"));
        for (i, text) in card.foot.iter().enumerate() {
            let last = i + 1 == card.foot.len();
            let number = match last {
                true => format!(" <b>{}</b>", escaped(words)),
                false => String::new(),
            };
            self.add(format_args!(
                "<p><span>{}</span>{number}</p>\n",
                escaped(text)
            ));
        }
        self.out.push_str("</footer>\n</div>\n");
    }

    fn band(&mut self, band: &Band) {
        self.out.push_str("<div class=\"band\">\n");
        if !band.head.is_empty() {
            let class = if band.continued {
                " class=\"again\" aria-hidden=\"true\""
            } else {
                ""
            };
            self.add(format_args!("<div{class}>\n"));
            self.column(&band.head, band.continued);
            self.out.push_str("</div>\n");
        }
        self.add(format_args!(
            "<div class=\"columns of-{}\">\n",
            band.columns.len()
        ));
        for column in &band.columns {
            self.out.push_str("<div>\n");
            self.column(column, false);
            self.out.push_str("</div>\n");
        }
        self.out.push_str("</div>\n</div>\n");
    }

    /// The parts and lines that begin in a column.
    fn column(&mut self, pieces: &[Rc<Piece>], continued: bool) {
        let mut rest = pieces;
        while let Some(first) = rest.first() {
            let count = rest
                .iter()
                .take_while(|piece| piece.part == first.part)
                .count();
            let (own, after) = rest.split_at(count);
            rest = after;
            let part = &self.card.parts[first.part];
            self.add(format_args!("<section class=\"{}\">\n", class(part.kind)));
            if first.line.is_none() {
                self.heading(part, continued);
            }
            self.lines(part, own);
            self.out.push_str("</section>\n");
        }
    }

    fn heading(&mut self, part: &Part, continued: bool) {
        let Some(heading) = &part.heading else { return };
        let again = Message::with(Id::CardContinued, [heading]).text(self.card.language);
        let heading = escaped(if continued { &again } else { heading });
        let level = if part.kind == Kind::Method { 3 } else { 2 };
        let number = part
            .number
            .map(|number| format!("<span class=\"no\">{number}</span> "))
            .unwrap_or_default();
        let aside = part
            .aside
            .as_ref()
            .filter(|_| !continued)
            .map(|aside| format!(" <small>{}</small>", escaped(aside)))
            .unwrap_or_default();
        self.add(format_args!(
            "<h{level}>{number}{heading}{aside}</h{level}>\n"
        ));
    }

    fn lines(&mut self, part: &Part, pieces: &[Rc<Piece>]) {
        let mut list = "";
        let mut table: Option<usize> = None;
        for (i, piece) in pieces.iter().enumerate() {
            let Some(index) = piece.line else { continue };
            let begins = i == 0 || pieces[i - 1].line != piece.line;
            let line = &part.lines[index];
            let wanted = match line {
                Line::Entry(entry) => list_of(entry.mark),
                _ => "",
            };
            if wanted != list {
                self.close(list);
                if !wanted.is_empty() {
                    self.add(format_args!("<{wanted}>\n"));
                }
                list = wanted;
            }
            match line {
                // A line that was broken between two columns stands whole where it begins.
                Line::Entry(entry) if begins && piece.starts => self.entry(entry),
                Line::Table { head, rows } if table != Some(index) => {
                    table = Some(index);
                    let own = pieces
                        .iter()
                        .filter(|piece| piece.line == Some(index))
                        .filter_map(|piece| piece.row);
                    self.table(head, rows, &own.collect::<Vec<_>>());
                }
                Line::Sketch(sketch) if begins => self.sketch(&sketch.about, piece),
                _ => {}
            }
        }
        self.close(list);
    }

    fn close(&mut self, list: &str) {
        if !list.is_empty() {
            self.add(format_args!("</{list}>\n"));
        }
    }

    fn entry(&mut self, entry: &Entry) {
        let style = match entry.style {
            Style::Loud => "loud",
            Style::Lead => "lead",
            Style::Body => "body",
            Style::Step => "step",
        };
        let text = runs(&entry.runs);
        let held = if entry.held { " held" } else { "" };
        match entry.mark {
            Mark::None => self.add(format_args!("<p class=\"{style}\">{text}</p>\n")),
            Mark::Number(number) => {
                self.add(format_args!(
                    "<li class=\"{style}{held}\"><span class=\"n\">{number}</span> {text}</li>\n"
                ));
            }
            Mark::Box => {
                self.add(format_args!(
                    "<li class=\"{style}{held}\"><span class=\"box\"></span> {text}</li>\n"
                ));
            }
            Mark::Point => self.add(format_args!("<li class=\"{style} point\">{text}</li>\n")),
        }
    }

    fn table(&mut self, head: &[String], rows: &[Vec<String>], own: &[usize]) {
        self.out.push_str("<table>\n<thead><tr>");
        for cell in head {
            self.add(format_args!("<th scope=\"col\">{}</th>", escaped(cell)));
        }
        self.out.push_str("</tr></thead>\n<tbody>\n");
        for (_, row) in rows.iter().enumerate().filter(|(i, _)| own.contains(i)) {
            self.out.push_str("<tr>");
            for cell in row {
                self.add(format_args!("<td>{}</td>", escaped(cell)));
            }
            self.out.push_str("</tr>\n");
        }
        self.out.push_str("</tbody>\n</table>\n");
    }

    fn sketch(&mut self, about: &str, piece: &Piece) {
        let wide = piece.width;
        self.add(format_args!(
            "<svg role=\"img\" aria-label=\"{}\" viewBox=\"0 0 {wide:.1} {:.1}\">\n",
            escaped(about),
            piece.height
        ));
        for op in &piece.ops {
            self.shape(op);
        }
        self.out.push_str("</svg>\n");
    }

    fn shape(&mut self, op: &Op) {
        let path = |points: &[[f32; 2]], closed: bool| {
            let steps = points.iter().enumerate();
            let steps =
                steps.map(|(i, [x, y])| format!("{}{x:.1} {y:.1}", if i == 0 { "M" } else { "L" }));
            steps
                .chain(closed.then(|| "Z".to_owned()))
                .collect::<String>()
        };
        let ink = |white: bool| if white { "#fff" } else { "#000" };
        match op {
            Op::Text {
                x,
                y,
                size,
                strong,
                white,
                text,
            } => {
                let weight = if *strong { " font-weight=\"bold\"" } else { "" };
                let (ink, text) = (ink(*white), escaped(text));
                self.add(format_args!(
                    "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size:.1}\" fill=\"{ink}\"{weight}>{text}</text>\n"
                ));
            }
            Op::Fill { points, white } => {
                self.add(format_args!(
                    "<path d=\"{}\" fill=\"{}\"/>\n",
                    path(points, true),
                    ink(*white)
                ));
            }
            Op::Stroke {
                points,
                width,
                dash,
                closed,
            } => {
                let dash = dash
                    .map(|[on, off]| format!(" stroke-dasharray=\"{on} {off}\""))
                    .unwrap_or_default();
                let path = path(points, *closed);
                self.add(format_args!(
                    "<path d=\"{path}\" fill=\"none\" stroke=\"#000\" stroke-width=\"{width}\"{dash}/>\n"
                ));
            }
            Op::Circle { x, y, radius, ring } => {
                let look = match ring {
                    Some(width) => {
                        format!("fill=\"#fff\" stroke=\"#000\" stroke-width=\"{width}\"")
                    }
                    None => "fill=\"#000\"".to_owned(),
                };
                self.add(format_args!(
                    "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius:.1}\" {look}/>\n"
                ));
            }
        }
    }
}

fn list_of(mark: Mark) -> &'static str {
    match mark {
        Mark::None => "",
        Mark::Number(_) => "ol",
        Mark::Box | Mark::Point => "ul",
    }
}

fn class(kind: Kind) -> &'static str {
    match kind {
        Kind::Stop => "stop",
        Kind::Method => "method",
        Kind::Sketch => "sketch",
        _ => "part",
    }
}

fn runs(runs: &[Run]) -> String {
    let each = runs.iter().map(|run| {
        let text = escaped(&run.text);
        if run.strong {
            format!("<b>{text}</b>")
        } else {
            text
        }
    });
    each.collect::<Vec<_>>().join(" ")
}

fn style(paper: Paper) -> String {
    let (width, height) = paper.points();
    let face = |bytes: &[u8], weight: &str| {
        let data = STANDARD.encode(bytes);
        format!(
            "@font-face{{font-family:\"Card\";font-weight:{weight};src:url(data:font/otf;base64,{data}) format(\"opentype\")}}\n"
        )
    };
    let paper_only = format!(
        "@media print{{\n\
         @page{{size:{};margin:0}}\n\
         .page{{--title:var(--paper-title);--heading:var(--paper-heading);--method:var(--paper-method);\
         --loud:var(--paper-loud);--lead:var(--paper-lead);--body:var(--paper-body);--step:var(--paper-step);\
         --table:var(--paper-table);--foot:var(--paper-foot);\
         width:{width}pt;height:{:.2}pt;padding:{MARGIN}pt;box-sizing:border-box;display:flex;flex-direction:column;\
         break-after:page;break-inside:avoid}}\n\
         article:last-of-type .page:last-child{{break-after:auto}}\n\
         .columns{{display:flex;gap:{GUTTER}pt}}\n.columns>div{{flex:1 1 0;min-width:0}}\n\
         .band{{margin-top:var(--band)}}\nheader+.band,.again+.band{{margin-top:{BAND_GAP}pt}}\n\
         .band>div+.columns{{margin-top:calc(var(--heading)*{PART_GAP}*.6)}}\n\
         .again>section,.band>div>section:first-child{{margin-top:0}}\n\
         .columns>div>section:first-child{{margin-top:0}}\n\
         footer{{margin-top:auto}}\nbody{{margin:0;max-width:none;padding:0}}\nnav{{display:none}}\n}}\n\
         @media screen{{.again{{display:none}}}}\n",
        paper.name(),
        // A hair lower than the paper, or some browsers add an empty page.
        height - 0.75,
    );
    let step_indent = format!("calc({}pt + {INDENT}em)", BAR - BAR_WIDTH);
    let both = format!(
        ":root{{--title:2.1rem;--heading:1.35rem;--method:1.15rem;--loud:1.9rem;--lead:1.15rem;--body:1rem;--step:1rem;\
         --table:.95rem;--foot:.85rem;--band:1.5rem}}\n\
         *{{-webkit-print-color-adjust:exact;print-color-adjust:exact}}\n\
         body{{font-family:\"Card\",sans-serif;line-height:{LEADING};color:#000;background:#fff;margin:0 auto;\
         max-width:44rem;padding:1rem}}\n\
         h1,h2,h3,p,ol,ul,li{{margin:0;padding:0}}\nol,ul{{list-style:none}}\n\
         h1{{font-size:var(--title);line-height:{LEADING};margin-top:4pt}}\n\
         h2{{font-size:var(--heading);line-height:{HEADING};border-top:1.4pt solid #000}}\n\
         h3{{font-size:var(--method);line-height:{HEADING};border-top:.6pt solid #000}}\n\
         h2 small{{font-size:var(--lead);font-weight:normal;margin-left:.5em}}\n\
         h3 small{{font-size:var(--step);font-weight:normal;margin-left:.5em}}\n\
         .no{{display:inline-block;width:1.16em;line-height:1.16em;text-align:center;background:#000;color:#fff;\
         margin-right:.2em}}\n\
         .stop h2{{font-size:calc(var(--loud)*2.4);line-height:1.1;border-top-width:2.4pt}}\n\
         section{{margin-top:calc(var(--heading)*{PART_GAP})}}\n\
         .kicker,.mark{{font-size:var(--body);font-weight:bold}}\n.kicker{{float:left}}\n\
         .mark{{float:right;border:1pt solid #000;padding:0 4pt}}\nh1{{clear:both}}\n\
         .where{{display:flex;flex-wrap:wrap;justify-content:space-between;column-gap:2em}}\n\
         .place{{font-size:var(--lead);font-weight:bold}}\n.site{{font-size:var(--lead)}}\n\
         .again .name{{float:left;font-size:var(--heading);font-weight:bold;line-height:1;margin-left:.5em}}\n\
         .again::after{{content:\"\";display:block;clear:both}}\n\
         .loud{{font-size:var(--loud);line-height:{LEADING}}}\n.lead{{font-size:var(--lead)}}\n\
         .body{{font-size:var(--body)}}\n.step{{font-size:var(--step)}}\n\
         p.loud,p.lead,p.body,p.step,li{{padding-top:{ENTRY_GAP}em}}\n\
         li{{position:relative;padding-left:{INDENT}em}}\nli.point{{padding-left:1em}}\n\
         li.point::before{{content:\"\\2022\";position:absolute;left:.15em}}\n\
         li.step{{padding-left:{step_indent};border-left:{BAR_WIDTH}pt solid transparent}}\n\
         li.step.held{{border-left-color:#000}}\n\
         .n{{position:absolute;left:0;width:calc({INDENT}em - .45em);text-align:right;font-weight:bold}}\n\
         .box{{position:absolute;left:0;margin-top:.2em;width:.62em;height:.62em;border:.8pt solid #000}}\n\
         li.step>.n{{width:calc({step_indent} - .45em)}}\nli.step>.box{{left:{}pt}}\n\
         table{{border-collapse:collapse;width:100%;font-size:var(--table)}}\n\
         th,td{{text-align:left;vertical-align:top;padding:1.2pt 7pt 1pt 0}}\n\
         th{{border-bottom:.8pt solid #000}}\ntd{{border-bottom:.3pt solid #000}}\n\
         svg{{display:block;width:100%;font-family:\"Card\",sans-serif}}\n\
         footer{{font-size:var(--foot);border-top:.6pt solid #000;padding-top:3pt}}\n\
         footer p:first-child{{font-weight:bold}}\nfooter p{{display:flex;flex-wrap:wrap;justify-content:space-between;column-gap:2em}}\n\
         .page+.page{{margin-top:0}}\narticle{{margin-bottom:3rem}}\nnav li{{padding:.6rem 0;font-size:1.15rem}}\n\
         nav{{margin-bottom:2.5rem}}\nnav p{{font-weight:bold}}\n@media screen{{body{{line-height:1.3}}}}\n@media print{{article{{margin:0}}}}\n",
        BAR - BAR_WIDTH,
    );
    [
        face(REGULAR, "normal"),
        face(BOLD, "bold"),
        both,
        paper_only,
    ]
    .concat()
}
