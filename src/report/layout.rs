//! Puts the pieces of cards onto pages: first in large type, then smaller down to the floor, then onto a second page.
//!
//! A card has bands from top to bottom: what is done first, the ladder, where things are. Each band has columns, read down,
//! then to the right, and a part stays whole while it can. What does not fit on one page at the floor of the sizes gets a
//! front and a back, cut where both can be largest; what does not fit there flows over as many pages as it takes, parted
//! between lines. Nothing of a part is ever cut.

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use super::Paper;
use super::cards::{Card, Kind, Line};
use super::face::Faces;
use super::map;
use super::margins::{foot, head, title_size};
use super::pieces::{self, Piece, Sizes};
use crate::words::{Id, Message};

/// White edge: printers leave 5 mm, a nail or a laminate takes some more.
pub(super) const MARGIN: f32 = 27.0;
/// Room between columns.
pub(super) const GUTTER: f32 = 17.0;
/// Room between bands, and what it may grow to where the page has room.
pub(super) const BAND_GAP: f32 = 9.0;
const BAND_GAP_MAX: f32 = 22.0;
/// Room above the foot.
const FOOT_GAP: f32 = 8.0;
/// How finely sizes are tried between the largest and the floor.
const STEPS: u8 = 50;
/// The largest size on the pages of a card that takes more than two.
const FLOW_LARGEST: f32 = 0.7;
/// One page of a card is set at most this much larger than another.
const LARGER: f32 = 0.25;
/// What it is worth to have all methods on one page, in scale.
const TOGETHER: f32 = 0.1;
/// A band begins on a new page where less than this part of a page is left for it.
const ROOM_WORTH: f32 = 0.25;

/// A page of a card.
#[derive(Debug)]
pub(super) struct Page {
    /// Index of the card.
    pub(super) card: usize,
    /// Number of the page within the card, and how many it has.
    pub(super) number: usize,
    pub(super) of: usize,
    pub(super) sizes: Sizes,
    /// How large the position's name is; none on a further page, whose head is one row.
    pub(super) title: Option<f32>,
    pub(super) band_gap: f32,
    pub(super) bands: Vec<Band>,
}

/// Parts beside each other.
#[derive(Debug, Default)]
pub(super) struct Band {
    /// Over all columns.
    pub(super) head: Vec<Rc<Piece>>,
    /// True where the head was on an earlier page already.
    pub(super) continued: bool,
    pub(super) columns: Vec<Vec<Rc<Piece>>>,
}

/// What goes into a band.
#[derive(Clone)]
struct Plan {
    head: Option<usize>,
    groups: Vec<usize>,
    columns: usize,
    /// True where its first groups are on an earlier page.
    continued: bool,
}

/// The size of the paper inside its margins.
#[derive(Clone, Copy)]
pub(super) struct Frame {
    pub(super) width: f32,
    pub(super) height: f32,
}

impl Frame {
    pub(super) fn of(paper: Paper) -> Frame {
        let (width, height) = paper.points();
        Frame {
            width: width - 2.0 * MARGIN,
            height: height - 2.0 * MARGIN,
        }
    }

    pub(super) fn column(self, columns: usize) -> f32 {
        let columns = columns.max(1) as f32;
        (self.width - GUTTER * (columns - 1.0)) / columns
    }
}

/// How high some pieces are below each other; the gap above the first is left out.
pub(super) fn height(pieces: &[Rc<Piece>]) -> f32 {
    let all: f32 = pieces.iter().map(|piece| piece.gap + piece.height).sum();
    all - pieces.first().map_or(0.0, |piece| piece.gap)
}

impl Band {
    pub(super) fn height(&self) -> f32 {
        let columns = self
            .columns
            .iter()
            .map(|column| height(column))
            .fold(0.0, f32::max);
        height(&self.head) + self.gap_below_head() + columns
    }

    pub(super) fn gap_below_head(&self) -> f32 {
        let first = self.columns.iter().filter_map(|column| column.first());
        if self.head.is_empty() {
            0.0
        } else {
            first.map(|piece| piece.gap * 0.6).fold(0.0, f32::max)
        }
    }
}

impl Page {
    /// Draws what was only measured while the sizes were tried.
    fn draw_sketches(&mut self, card: &Card, faces: &Faces) {
        let size = self.sizes.table;
        for piece in self
            .bands
            .iter_mut()
            .flat_map(|band| &mut band.columns)
            .flatten()
        {
            let line = piece.line.map(|line| &card.parts[piece.part].lines[line]);
            if let Some(Line::Sketch(it)) = line {
                let ops = map::draw(it, piece.width, piece.height, size, faces);
                Rc::make_mut(piece).ops = ops;
            }
        }
    }
}

/// All pages of some cards.
pub(super) fn pages(cards: &[Card], paper: Paper, faces: &Faces) -> Vec<Page> {
    let frame = Frame::of(paper);
    let mut all = Vec::new();
    for (index, card) in cards.iter().enumerate() {
        let mut own = Setter {
            card,
            index,
            frame,
            faces,
            known: RefCell::default(),
        }
        .pages();
        let of = own.len();
        for (i, page) in own.iter_mut().enumerate() {
            (page.number, page.of) = (i + 1, of);
            page.draw_sketches(card, faces);
        }
        all.extend(own);
    }
    all
}

/// A part, the columns of its band, and the bits of the sizes of steps and sketch.
type Setting = (usize, usize, [u32; 2]);

/// Sets one card.
struct Setter<'a> {
    card: &'a Card,
    index: usize,
    frame: Frame,
    faces: &'a Faces,
    /// Parts as they were set before; all other sizes follow from that of steps.
    known: RefCell<HashMap<Setting, Vec<Rc<Piece>>>>,
}

impl Setter<'_> {
    fn pages(&self) -> Vec<Page> {
        let plans = self.plans();
        if let Some((_, page)) = self.one_page(&plans, true, 1.0) {
            return vec![page];
        }
        self.two_pages(&plans)
            .unwrap_or_else(|| self.many_pages(&plans))
    }

    /// A front and a back: the ladder goes where both can be large, best onto one of them.
    fn two_pages(&self, plans: &[Plan]) -> Option<Vec<Page>> {
        let ladder = plans
            .iter()
            .position(|plan| plan.head.is_some())
            .unwrap_or(plans.len().checked_sub(1)?);
        let methods = plans[ladder].groups.len();
        let sides = (0..=methods).filter_map(|count| {
            let (front, back) = cut(plans, ladder, count);
            let (front_scale, _) = self.one_page(&front, true, 1.0)?;
            let (back_scale, _) = self.one_page(&back, false, 1.0)?;
            let together = if count == 0 || count == methods {
                TOGETHER
            } else {
                0.0
            };
            Some((front_scale.min(back_scale), together, front, back))
        });
        let (scale, _, front, back) = sides.max_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1)))?;
        let most = (scale + LARGER).min(1.0);
        let (_, front) = self.one_page(&front, true, most)?;
        let (_, back) = self.one_page(&back, false, most)?;
        Some(vec![front, back])
    }

    fn plans(&self) -> Vec<Plan> {
        let of = |kinds: &[Kind]| -> Vec<usize> {
            let parts = self.card.parts.iter().enumerate();
            parts
                .filter(|(_, part)| kinds.contains(&part.kind))
                .map(|(i, _)| i)
                .collect()
        };
        let methods = of(&[Kind::Method]);
        let plans = [
            Plan {
                head: None,
                groups: of(&[Kind::Stop]),
                columns: 1,
                continued: false,
            },
            Plan {
                head: None,
                groups: of(&[
                    Kind::MakeSafe,
                    Kind::Call,
                    Kind::Outside,
                    Kind::Radio,
                    Kind::Talk,
                ]),
                columns: 2,
                continued: false,
            },
            Plan {
                head: of(&[Kind::Ladder]).first().copied(),
                groups: methods,
                columns: 2,
                continued: false,
            },
            Plan {
                head: None,
                groups: of(&[Kind::Kit, Kind::Sketch, Kind::Landing, Kind::Aftercare]),
                columns: 2,
                continued: false,
            },
        ];
        plans
            .into_iter()
            .filter(|plan| !plan.groups.is_empty())
            .collect()
    }

    fn page(&self, sizes: Sizes, first: bool, bands: Vec<Band>) -> Page {
        Page {
            card: self.index,
            number: 1,
            of: 1,
            sizes,
            title: first.then(|| title_size(self.card, &sizes, self.frame.width, self.faces)),
            band_gap: BAND_GAP,
            bands,
        }
    }

    /// The room for bands on the first page, or on a further one.
    fn room(&self, sizes: &Sizes, first: bool) -> f32 {
        let title = first.then(|| title_size(self.card, sizes, self.frame.width, self.faces));
        let head = head(self.card, sizes, title, self.frame.width, self.faces).0;
        // How many pages there will be is not known yet.
        let longest = Message::with(Id::CardPageOfPosition, ["00", "00", "0000", "0000"])
            .text(self.card.language);
        let foot = foot(self.card, &longest, sizes, self.frame.width, self.faces).0;
        self.frame.height - head - foot - FOOT_GAP
    }

    /// Everything on one page, as large as it goes; the scale it took.
    fn one_page(&self, plans: &[Plan], first: bool, largest: f32) -> Option<(f32, Page)> {
        let fitting = |step: u8| {
            let scale = f32::from(step) / f32::from(STEPS) * largest;
            let sizes = Sizes::at(scale);
            let bands: Vec<Band> = plans.iter().map(|plan| self.whole(plan, &sizes)).collect();
            let gaps = bands.len().max(1) as f32;
            let spare = self.room(&sizes, first)
                - bands.iter().map(Band::height).sum::<f32>()
                - BAND_GAP * gaps;
            (spare >= 0.0).then(|| {
                let mut page = self.page(sizes, first, bands);
                page.band_gap = (BAND_GAP + spare / gaps).min(BAND_GAP_MAX);
                (scale, page)
            })
        };
        largest_step(fitting)
    }

    fn group(&self, index: usize, columns: usize, sizes: &Sizes) -> Vec<Rc<Piece>> {
        let key = (
            index,
            columns,
            [sizes.step.to_bits(), sizes.sketch.to_bits()],
        );
        if let Some(known) = self.known.borrow().get(&key) {
            return known.clone();
        }
        let set = pieces::part(
            &self.card.parts[index],
            index,
            self.frame.column(columns),
            sizes,
            self.faces,
        );
        let set: Vec<Rc<Piece>> = set.into_iter().map(Rc::new).collect();
        self.known.borrow_mut().insert(key, set.clone());
        set
    }

    fn head_of(&self, plan: &Plan, sizes: &Sizes) -> Vec<Rc<Piece>> {
        let Some(index) = plan.head else {
            return Vec::new();
        };
        if !plan.continued {
            return self.group(index, 1, sizes);
        }
        let mut part = self.card.parts[index].clone();
        let heading = part.heading.take().unwrap_or_default();
        part.heading = Some(Message::with(Id::CardContinued, [&heading]).text(self.card.language));
        part.aside = None;
        let mut pieces = pieces::part(&part, index, self.frame.width, sizes, self.faces);
        // Only the last line, which explains a sign, is needed once more.
        let last = part.lines.len().checked_sub(1);
        pieces.retain(|piece| piece.line.is_none() || piece.line == last);
        pieces.into_iter().map(Rc::new).collect()
    }

    /// A whole band, its groups in columns that end as level as they can. A sketch takes what its column leaves over.
    fn whole(&self, plan: &Plan, sizes: &Sizes) -> Band {
        let band = self.level(plan, sizes);
        let sketched = |piece: &Rc<Piece>| self.card.parts[piece.part].kind == Kind::Sketch;
        let Some(column) = band
            .columns
            .iter()
            .find(|column| column.iter().any(sketched))
        else {
            return band;
        };
        let all = band
            .columns
            .iter()
            .map(|column| height(column))
            .fold(0.0, f32::max);
        let spare = all - height(column);
        let sketch = sizes.sketch + spare / self.frame.column(plan.columns);
        let larger = self.level(plan, &Sizes { sketch, ..*sizes });
        if larger.height() <= band.height() {
            larger
        } else {
            band
        }
    }

    fn level(&self, plan: &Plan, sizes: &Sizes) -> Band {
        let groups: Vec<Vec<Rc<Piece>>> = plan
            .groups
            .iter()
            .map(|index| self.group(*index, plan.columns, sizes))
            .collect();
        let head = self.head_of(plan, sizes);
        let all = groups.concat();
        let columns = if plan.columns == 2 {
            let cuts: Vec<usize> = match &groups[..] {
                [one] => (1..one.len()).filter(|at| !one[at - 1].keep).collect(),
                _ => groups
                    .iter()
                    .scan(0, |end, group| {
                        *end += group.len();
                        Some(*end)
                    })
                    .collect(),
            };
            evenest(all, &cuts)
        } else {
            vec![all]
        };
        Band {
            head,
            continued: plan.continued,
            columns,
        }
    }

    /// Everything over as few pages as the floor takes, as large as it goes on those.
    fn many_pages(&self, plans: &[Plan]) -> Vec<Page> {
        let least = self.flow(plans, 0.0);
        let fitting = |step: u8| {
            let pages = self.flow(plans, f32::from(step) / f32::from(STEPS) * FLOW_LARGEST);
            (pages.len() <= least.len()).then_some(pages)
        };
        largest_step(fitting).unwrap_or(least)
    }

    fn flow(&self, plans: &[Plan], scale: f32) -> Vec<Page> {
        let sizes = Sizes::at(scale);
        let full = self.room(&sizes, false);
        let mut pages: Vec<(f32, Vec<Band>)> = vec![(self.room(&sizes, true), Vec::new())];
        for plan in plans {
            let mut plan = plan.clone();
            // Pieces of a group that was begun on an earlier page.
            let mut begun: Vec<Rc<Piece>> = Vec::new();
            loop {
                let (left, page) = pages.last_mut().expect("there is a page from the start");
                let room = *left - BAND_GAP;
                let done = if begun.is_empty() {
                    self.most(&plan, &sizes, room)
                } else {
                    None
                };
                if let Some((count, band)) = done {
                    *left = room - band.height();
                    page.push(band);
                    plan.groups.drain(..count);
                } else if !page.is_empty() && (room < full * ROOM_WORTH || begun.is_empty()) {
                    // It may fit whole where the page is still empty.
                    pages.push((full, Vec::new()));
                    continue;
                } else {
                    if begun.is_empty() {
                        begun = self.group(plan.groups.remove(0), plan.columns, &sizes);
                    }
                    let mut band = Band {
                        head: self.head_of(&plan, &sizes),
                        continued: plan.continued,
                        columns: Vec::new(),
                    };
                    let high = (room - height(&band.head) - sizes.heading).max(full / 4.0);
                    for _ in 0..plan.columns {
                        let count = fitting(&begun, high);
                        band.columns.push(begun.drain(..count).collect());
                    }
                    *left = room - band.height();
                    page.push(band);
                }
                if plan.groups.is_empty() && begun.is_empty() {
                    break;
                }
                plan.continued = true;
                pages.push((full, Vec::new()));
            }
        }
        let page = |(i, (left, bands)): (usize, (f32, Vec<Band>))| {
            let spare = left / bands.len().max(1) as f32;
            let mut page = self.page(sizes, i == 0, bands);
            page.band_gap = (BAND_GAP + spare).min(BAND_GAP_MAX);
            page
        };
        pages.into_iter().enumerate().map(page).collect()
    }

    /// The longest run of whole groups that fits.
    fn most(&self, plan: &Plan, sizes: &Sizes, room: f32) -> Option<(usize, Band)> {
        let counts = (1..=plan.groups.len()).map_while(|count| {
            let part = Plan {
                groups: plan.groups[..count].to_vec(),
                ..*plan
            };
            let band = self.whole(&part, sizes);
            (band.height() <= room).then_some((count, band))
        });
        counts.last()
    }
}

/// What the largest step gives that gives anything; from the floor up, by halves.
fn largest_step<T>(fitting: impl Fn(u8) -> Option<T>) -> Option<T> {
    let mut best = fitting(0)?;
    if let Some(found) = fitting(STEPS) {
        return Some(found);
    }
    let (mut low, mut high) = (0, STEPS);
    while high - low > 1 {
        let middle = (low + high) / 2;
        match fitting(middle) {
            Some(found) => (best, low) = (found, middle),
            None => high = middle,
        }
    }
    Some(best)
}

/// Two columns, cut where the taller one is the shortest.
fn evenest(mut all: Vec<Rc<Piece>>, cuts: &[usize]) -> Vec<Vec<Rc<Piece>>> {
    let mut ends = vec![0.0];
    for piece in &all {
        ends.push(ends[ends.len() - 1] + piece.gap + piece.height);
    }
    let gap = |at: usize| all.get(at).map_or(0.0, |piece| piece.gap);
    let tall = |at: usize| (ends[at] - gap(0)).max(ends[all.len()] - ends[at] - gap(at));
    let best = cuts
        .iter()
        .copied()
        .min_by(|a, b| tall(*a).total_cmp(&tall(*b)));
    let right = all.split_off(best.unwrap_or(all.len()));
    vec![all, right]
}

/// What goes onto the front and the back where the front has so many groups of the ladder.
fn cut(plans: &[Plan], ladder: usize, count: usize) -> (Vec<Plan>, Vec<Plan>) {
    let (mut front, mut back) = (plans[..ladder].to_vec(), plans[ladder..].to_vec());
    let mut begun = back[0].clone();
    begun.groups.truncate(count);
    back[0].groups.drain(..count);
    back[0].continued = count > 0;
    front.push(begun);
    front.retain(|plan| !plan.groups.is_empty());
    back.retain(|plan| !plan.groups.is_empty());
    (front, back)
}

/// How many pieces a column of a height takes, without parting what must stand together where it can be helped.
fn fitting(pieces: &[Rc<Piece>], high: f32) -> usize {
    let gap = pieces.first().map_or(0.0, |piece| piece.gap);
    let ends = pieces.iter().scan(-gap, |end, piece| {
        *end += piece.gap + piece.height;
        Some(*end)
    });
    let fits = ends.take_while(|end| *end <= high).count();
    if fits == pieces.len() {
        return fits;
    }
    let whole = (1..=fits).rev().find(|count| !pieces[count - 1].keep);
    whole.unwrap_or(fits).max(1).min(pieces.len())
}
