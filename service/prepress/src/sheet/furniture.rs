//! Draws what is printed beside stickers: register marks, scale bars, the label with its QR code.

use kurbo::Circle;
use qrcodegen::QrCodeEcc;

use crate::frame::{BAR_LETTERING, BAR_LETTERING_GAP, BAR_TICK, LabelBox, Mark, ScaleBar};
use crate::geom::{Affine, BezPath, Point, Rect, Shape};
use crate::lettering::{self, Weight};
use crate::order::Form;
use crate::sheet::qr::{self, QUIET_MODULES};
use crate::sheet::{Furniture, Sheet};
use crate::units::Mm;

/// Width of a scale bar's lines.
pub const SCALE_BAR_LINE: Mm = Mm::of(0.25);

/// Discs are drawn rounder than this, radially: far under the 0.01 mm to which print and cut agree.
const DISC_TOLERANCE_MM: f64 = 1e-4;
/// Side of a QR code's module where there is room: 6 dots of 300 to the inch.
const MODULE_MM: f64 = 0.5;
/// Between the code and the text.
const TEXT_GAP_MM: f64 = 2.6;
/// Height of capitals as a share of the em, in Noto Sans (OS/2 table, sCapHeight 714 of 1000).
const CAPITALS: f64 = 0.714;
/// How far letters hang below their line as a share of the em, in Noto Sans (hhea table, descender 293 of 1000).
const DESCENDERS: f64 = 0.293;
/// Largest sizes of the label's text; smaller where more lines are needed.
const RUN_SIZE_MM: f64 = 3.6;
const TEXT_SIZE_MM: f64 = 2.5;
/// Lines of text below the run's name that are tried.
const LINES: [usize; 4] = [1, 2, 3, 4];
/// Between two statements on one line.
const SEPARATOR: &str = "  ·  ";

/// All of a sheet's furniture.
pub(super) fn draw(sheet: &Sheet) -> Furniture {
    let frame = &sheet.frame;
    let bars = frame.scale_bars.iter().flat_map(scale_bar);
    let label = frame.label.iter().flat_map(|place| label(sheet, place));
    Furniture { marks: frame.marks.iter().map(disc).collect(), lettering: bars.chain(label).collect() }
}

fn disc(mark: &Mark) -> BezPath {
    Circle::new(mark.centre, mark.diameter.mm() / 2.0).to_path(DISC_TOLERANCE_MM)
}

/// The line with its ticks, then the lettering of its length.
///
/// The ticks' middles stand at the ends, so the length is that from tick to tick, middle to middle.
fn scale_bar(bar: &ScaleBar) -> [BezPath; 2] {
    let direction = bar.to - bar.from;
    let to_sheet = Affine::new([1.0, 0.0, 0.0, 1.0, bar.from.x, bar.from.y]) * turned(direction.atan2().to_degrees());
    let (length, half_line, half_tick) = (bar.length.mm(), SCALE_BAR_LINE.mm() / 2.0, BAR_TICK.mm() / 2.0);
    let mut line = BezPath::new();
    let corners = [
        (-half_line, -half_tick),
        (half_line, -half_tick),
        (half_line, -half_line),
        (length - half_line, -half_line),
        (length - half_line, -half_tick),
        (length + half_line, -half_tick),
        (length + half_line, half_tick),
        (length - half_line, half_tick),
        (length - half_line, half_line),
        (half_line, half_line),
        (half_line, half_tick),
        (-half_line, half_tick),
    ];
    line.move_to(corners[0]);
    corners[1..].iter().for_each(|corner| line.line_to(*corner));
    line.close_path();
    let text = lettering::line(&format!("{} mm", tidy(length)), BAR_LETTERING, Weight::Regular);
    let beside = Affine::translate((length + BAR_LETTERING_GAP.mm(), BAR_LETTERING.mm() * CAPITALS / 2.0));
    [to_sheet * line, to_sheet * beside * text.path]
}

/// A turn by whole quarters, exact.
fn turned(angle_deg: f64) -> Affine {
    crate::geom::Pose::new(0.0, 0.0, angle_deg.round()).to_affine()
}

/// The code at the reader's left, text beside it; both as high as the code, flush with the box's inner edge less the code's
/// quiet zone.
fn label(sheet: &Sheet, place: &LabelBox) -> Vec<BezPath> {
    let turn = turned(place.rotation_deg);
    let upright = (turn.inverse().transform_rect_bbox(place.area), turn);
    let (area, to_sheet) = upright;
    let window = to_sheet.inverse().transform_rect_bbox(sheet.frame.window);
    let Some(code) = qr::encode(&format!("{}/{}", sheet.run, sheet.number), QrCodeEcc::Low) else { return Vec::new() };
    let modules = f64::from(code.modules);
    let module = MODULE_MM.min(area.height() / (modules + QUIET_MODULES)).min(area.width() / modules);
    let (side, quiet) = (module * modules, module * QUIET_MODULES);
    let above_window = area.y1 <= window.y0 + area.height() / 2.0;
    let top = if above_window { area.y1 - quiet - side } else { area.y0 + quiet };
    let mut paths = vec![to_sheet * Affine::translate((area.x0, top)) * Affine::scale(module) * code.path];
    let feet = (top + side).min(area.y1 - DESCENDERS * TEXT_SIZE_MM);
    let text = Rect::new(area.x0 + side + TEXT_GAP_MM, top, area.x1, feet.max(top));
    if text.width() > 0.0 {
        paths.extend(lines(sheet, text).into_iter().map(|line| to_sheet * line));
    }
    paths
}

/// The run's name in bold, then what else is to be said, on as few lines as hold it.
fn lines(sheet: &Sheet, area: Rect) -> Vec<BezPath> {
    let said = statements(sheet);
    let width = Mm::of(area.width());
    let set = |count: usize| {
        let pitch = area.height() / (count as f64 + 1.0);
        let size = Mm::of(TEXT_SIZE_MM.min(pitch * 0.86));
        (flow(&said, size, width), size, Mm::of(RUN_SIZE_MM.min(pitch * 1.1)))
    };
    let fits = |count: &usize| {
        let (lines, size, _) = set(*count);
        lines.len() <= *count && lines.iter().all(|line| lettering::line(line, size, Weight::Regular).width <= width)
    };
    let most = LINES[LINES.len() - 1];
    let count = LINES.into_iter().find(fits).unwrap_or(most);
    let (mut text, size, run_size) = set(count);
    if text.len() > count {
        let rest = text.split_off(count - 1).join(SEPARATOR);
        text.push(rest);
    }
    // The first line's capitals touch the box's top, the last line's feet its bottom.
    let first = area.y0 + run_size.mm() * CAPITALS;
    let step = (area.y1 - first) / text.len().max(1) as f64;
    let mut paths = vec![line_at(&sheet.run, run_size, Weight::Bold, (area, first))];
    for (number, line) in text.iter().enumerate() {
        let baseline = first + step * (number as f64 + 1.0);
        paths.push(line_at(line, size, Weight::Regular, (area, baseline)));
    }
    paths
}

/// A line of text, cut to the width of its box.
fn line_at(text: &str, size: Mm, weight: Weight, (area, baseline): (Rect, f64)) -> BezPath {
    let text = lettering::elided(text, size, weight, Mm::of(area.width()));
    Affine::translate((area.x0, baseline)) * lettering::line(&text, size, weight).path
}

/// Statements in lines, a new one where the next would not fit.
fn flow(statements: &[String], size: Mm, width: Mm) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for statement in statements {
        let longer = lines.last().map(|line| format!("{line}{SEPARATOR}{statement}"));
        match longer.filter(|line| lettering::line(line, size, Weight::Regular).width <= width) {
            Some(line) => {
                lines.pop();
                lines.push(line);
            }
            None => lines.push(statement.clone()),
        }
    }
    lines
}

/// What the label says besides the run's name.
fn statements(sheet: &Sheet) -> Vec<String> {
    let mut said = vec![format!("Sheet {} of {}", sheet.number, sheet.of), sheet.stock.stock.clone()];
    said.extend((!sheet.stock.finish.trim().is_empty()).then(|| sheet.stock.finish.trim().to_owned()));
    said.extend(sheet.date.as_ref().map(|date| date.replacen('T', " ", 1)));
    said.extend(mark_distances(sheet));
    said
}

/// `Marks 202.9 × 266.4 mm`: between the outer marks across and down; on a roll with sections, each row from the last.
fn mark_distances(sheet: &Sheet) -> Option<String> {
    let discs = sheet.stock.register_marks.as_ref()?;
    let centres: Vec<Point> = sheet.frame.marks.iter().map(|mark| mark.centre).collect();
    let first = *centres.first()?;
    let spread = centres.iter().fold(Rect::from_points(first, first), |bounds, centre| bounds.union_pt(*centre));
    let rows = matches!(sheet.stock.form, Form::Roll { .. }) && discs.at.is_none();
    let down = if rows {
        let mut places: Vec<f64> = centres.iter().map(|centre| centre.y).collect();
        places.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
        let steps = places.windows(2).map(|pair| tidy((pair[1] - pair[0]).abs()));
        steps.collect::<Vec<_>>().join(" + ")
    } else {
        tidy(spread.height())
    };
    Some(format!("Marks {} × {down} mm", tidy(spread.width())))
}

/// A length for people: at most two decimals.
fn tidy(mm: f64) -> String {
    format!("{}", (mm * 100.0).round() / 100.0)
}
