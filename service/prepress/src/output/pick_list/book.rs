//! Pages with margins, a running head and a foot, and the place where the next thing goes.

use crate::fault::Fault;
use crate::geom::{BezPath, Point, Rect, Shape};
use crate::lettering::Weight;
use crate::order::Colour;
use crate::output::pdf::{Align, Canvas, Document, Fonts, Ink, Leaf, Meta, Resources, Style};
use crate::units::Mm;

/// The name in faults.
const FILE: &str = "pick-list.pdf";

/// Grey of rules and outlines.
pub(super) const RULE: Ink<'static> = Ink::Grey(0.78);

/// Grey of what is read second.
pub(super) const QUIET: Ink<'static> = Ink::Grey(0.38);

/// The document in the making. Lengths are millimetres of the paper; `scale` is 1 on A4.
pub(super) struct Book {
    pub(super) fonts: Fonts,
    pages: Vec<(Canvas, String)>,
    size: (Mm, Mm),
    margin: f64,
    /// By how much type is smaller or larger than on A4.
    pub(super) scale: f64,
    /// How far down the page is filled.
    pub(super) y: f64,
}

impl Book {
    /// An empty book of this paper size.
    pub(super) fn new(size: (Mm, Mm)) -> Book {
        // Type shrinks slower than paper, or nobody could read it on A5.
        let scale = (size.0.mm() / 210.0).min(size.1.mm() / 297.0).sqrt().clamp(0.2, 1.4);
        Book { fonts: Fonts::new(), pages: Vec::new(), size, margin: 14.0 * scale * scale.min(1.0), scale, y: 0.0 }
    }

    /// Left edge of the text.
    pub(super) fn left(&self) -> f64 {
        self.margin
    }

    /// Right edge of the text.
    pub(super) fn right(&self) -> f64 {
        self.size.0.mm() - self.margin
    }

    /// Width of the text.
    pub(super) fn width(&self) -> f64 {
        self.right() - self.left()
    }

    /// Lower edge of the text.
    pub(super) fn bottom(&self) -> f64 {
        self.size.1.mm() - self.margin - 5.0 * self.scale
    }

    /// Height that is left on this page.
    pub(super) fn room(&self) -> f64 {
        self.bottom() - self.y
    }

    /// Starts a page. `running` stands at its foot.
    pub(super) fn open(&mut self, running: &str) {
        self.pages.push((Canvas::new(self.size.1), running.to_owned()));
        self.y = self.margin;
    }

    /// Starts a page that goes on with what the one before could not hold, and says so at its head.
    pub(super) fn go_on(&mut self, running: &str) {
        self.open(running);
        let style = self.style(3.2, Weight::Bold, QUIET);
        let (at, width) = ((self.left(), self.y + 3.4 * self.scale), self.width());
        self.text_within(&format!("{running} · continued"), at, width, style);
        self.y += 7.0 * self.scale;
    }

    /// The page in hand.
    pub(super) fn canvas(&mut self) -> &mut Canvas {
        if self.pages.is_empty() {
            self.open("");
        }
        let last = self.pages.len() - 1;
        &mut self.pages[last].0
    }

    /// A style, its size given for A4.
    pub(super) fn style<'a>(&self, size: f64, weight: Weight, ink: Ink<'a>) -> Style<'a> {
        Style { size: Mm::of(size * self.scale), weight, ink }
    }

    /// Sets a line.
    pub(super) fn text(&mut self, text: &str, (x, y): (f64, f64), align: Align, style: Style<'_>) {
        self.canvas();
        let last = self.pages.len() - 1;
        self.fonts.set(&mut self.pages[last].0, text, Point::new(x, y), align, style);
    }

    /// Sets a line cut to a width.
    pub(super) fn text_within(&mut self, text: &str, at: (f64, f64), width: f64, style: Style<'_>) {
        let text = self.fonts.elided(text, style, Mm::of(width.max(0.0)));
        self.text(&text, at, Align::Left, style);
    }

    /// A thin line across the text.
    pub(super) fn rule(&mut self, y: f64) {
        let (left, right) = (self.left(), self.right());
        let mut path = BezPath::new();
        path.move_to((left, y));
        path.line_to((right, y));
        self.canvas().stroke(&path, Mm::of(0.2), RULE);
    }

    /// A coloured box with an order's letter in the middle.
    pub(super) fn chip(&mut self, area: Rect, letter: &str, colour: Colour, size: f64) {
        let path = area.to_rounded_rect(area.height() * 0.22).to_path(1e-3);
        self.canvas().fill(&path, Ink::Rgb(colour));
        let mut style = self.style(size, Weight::Bold, Ink::Black);
        let width = self.fonts.width(letter, style.size, style.weight).mm();
        if width > area.width() * 0.85 {
            style.size = style.size * (area.width() * 0.85 / width);
        }
        let centre = area.center();
        self.text(letter, (centre.x, centre.y + style.size.mm() * 0.36), Align::Centre, style);
    }

    /// Writes the file.
    pub(super) fn finish(mut self, run: &str, date: Option<String>) -> Result<Vec<u8>, Fault> {
        self.feet();
        let (width, height) = self.size;
        let leaves = self.pages.into_iter().map(|(canvas, _)| Leaf { width, height, canvas }).collect();
        let mut document = Document::of(leaves, &[], FILE);
        let resources = Resources { fonts: self.fonts.embed(&mut document), ..Resources::default() };
        let title = if run.is_empty() { "pick list".to_owned() } else { format!("{run} / pick list") };
        document.finish(&resources, &[], &Meta { title, date, ..Meta::default() })
    }

    fn feet(&mut self) {
        let style = self.style(2.6, Weight::Regular, QUIET);
        let (y, count) = (self.size.1.mm() - self.margin, self.pages.len());
        let (left, right) = (self.left(), self.right());
        for (number, (canvas, running)) in (1..).zip(&mut self.pages) {
            let running = self.fonts.elided(running, style, Mm::of((right - left) * 0.75));
            self.fonts.set(canvas, &running, Point::new(left, y), Align::Left, style);
            let folio = format!("page {number} of {count}");
            self.fonts.set(canvas, &folio, Point::new(right, y), Align::Right, style);
        }
    }
}
