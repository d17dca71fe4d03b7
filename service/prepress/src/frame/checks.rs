//! What makes a stock broken, said with the margin that it needs.

use crate::fault::Fault;
use crate::frame::sides::{SIDES, distance_to_box, on, word};
use crate::frame::{Frame, TOLERANCE_MM, marks};
use crate::geom::Rect;
use crate::order::{Form, Stock};

/// Longest length of a roll: a PDF page is at most 14,400 units of 1/72 inch (ISO 32000-2, annex C.2), which is 5,080 mm.
const LONGEST_MM: f64 = 5080.0;

fn broken(stock: &Stock, field: String, reason: String) -> Fault {
    Fault::StockBroken { stock: stock.stock.clone(), field, reason }
}

/// A length for people: at most three decimals.
fn said(mm: f64) -> String {
    format!("{} mm", (mm * 1000.0).round() / 1000.0)
}

/// What can be told before anything is laid out.
pub(super) fn before(stock: &Stock) -> Result<(), Fault> {
    let diameter = stock.register_marks.as_ref().map_or(0.0, |marks| marks.diameter.mm());
    for side in SIDES {
        let (margin, unprintable) = (on(&stock.margins, side), on(&stock.unprintable, side));
        let needed = unprintable + diameter;
        if margin < needed - TOLERANCE_MM {
            let sum = match diameter > 0.0 {
                true => format!("unprintable_mm {} + mark diameter {}", said(unprintable), said(diameter)),
                false => "unprintable_mm".to_owned(),
            };
            let reason =
                format!("the {} margin is {}, it must be at least {} ({sum})", word(side), said(margin), said(needed));
            return Err(broken(stock, format!("/margins_mm/{}", word(side)), reason));
        }
    }
    let Form::Roll { max_length, section_length, .. } = stock.form else { return Ok(()) };
    if max_length.mm() > LONGEST_MM + TOLERANCE_MM {
        let reason = format!("a length is at most {}, the largest page of a PDF", said(LONGEST_MM));
        return Err(broken(stock, "/form/roll/max_length_mm".to_owned(), reason));
    }
    let (Some(section), Some(discs)) = (section_length, &stock.register_marks) else { return Ok(()) };
    let band = marks::band_length(discs);
    if section.mm() <= band + TOLERANCE_MM {
        let reason = format!("a section must be longer than the band between two sections, {}", said(band));
        return Err(broken(stock, "/form/roll/section_length_mm".to_owned(), reason));
    }
    Ok(())
}

/// Whether margins leave a window.
pub(super) fn window(stock: &Stock, window: Rect, beside: &str) -> Result<(), Fault> {
    let across = match window {
        Rect { .. } if window.width() <= TOLERANCE_MM => "left and right",
        Rect { .. } if window.height() <= TOLERANCE_MM => "top and bottom",
        Rect { .. } => return Ok(()),
    };
    let (extent, insets) = match (&stock.form, across) {
        (Form::Sheet { width, .. } | Form::Roll { width, .. }, "left and right") => {
            (width.mm(), stock.margins.left + stock.margins.right)
        }
        (Form::Sheet { height, .. }, _) => (height.mm(), stock.margins.top + stock.margins.bottom),
        (Form::Roll { max_length, .. }, _) => (max_length.mm(), stock.margins.top + stock.margins.bottom),
    };
    let reason = format!(
        "no window is left{beside}: the {across} margins take {} of {}; together they must be less",
        said(insets.mm()),
        said(extent)
    );
    Err(broken(stock, "/margins_mm".to_owned(), reason))
}

/// Whether every disc stands where the printer reaches and no sticker does.
pub(super) fn marks(stock: &Stock, frame: &Frame) -> Result<(), Fault> {
    let Some(at) = stock.register_marks.as_ref().and_then(|discs| discs.at.as_ref()) else { return Ok(()) };
    let rows = marks::rows(stock, frame.extent(), frame.window);
    for (number, _) in at.iter().enumerate() {
        for mark in marks::stands_of(stock, frame.extent(), &rows, number) {
            if let Some(reason) = mark_fault(stock, frame, mark) {
                return Err(broken(stock, format!("/register_marks/at/{number}"), reason));
            }
        }
    }
    Ok(())
}

/// What is wrong with the place of one disc.
fn mark_fault(stock: &Stock, frame: &Frame, mark: crate::frame::Mark) -> Option<String> {
    let radius = mark.diameter.mm() / 2.0;
    let edge = |side| on(&stock.unprintable, side) + radius;
    let [top, right, bottom, left] = SIDES.map(edge);
    let allowed = Rect::new(left, top, frame.width.mm() - right, frame.height.mm() - bottom);
    let centre = mark.centre;
    if distance_to_box(centre, allowed) > TOLERANCE_MM {
        return Some(format!(
            "a disc at ({}, {}) reaches past what the printer prints; its centre must lie within x {} to {}, y {} to {} mm",
            centre.x, centre.y, allowed.x0, allowed.x1, allowed.y0, allowed.y1
        ));
    }
    let in_band = frame.keep_outs.iter().any(|keep_out| match keep_out {
        crate::frame::KeepOut::Box(band) => {
            let reach = radius - TOLERANCE_MM;
            centre.y - reach >= band.y0 && centre.y + reach <= band.y1
        }
        crate::frame::KeepOut::Disc { .. } => false,
    });
    if in_band || distance_to_box(centre, frame.window) >= radius - TOLERANCE_MM {
        return None;
    }
    let window = frame.window;
    let past = [
        ("top", centre.y + radius),
        ("right", frame.width.mm() - centre.x + radius),
        ("bottom", frame.height.mm() - centre.y + radius),
        ("left", centre.x + radius),
    ];
    let (side, needed) = past.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or(("top", 0.0));
    Some(format!(
        "a disc at ({}, {}) stands in the window, x {} to {}, y {} to {} mm; with a {side} margin of {} it would not",
        centre.x,
        centre.y,
        window.x0,
        window.x1,
        window.y0,
        window.y1,
        said(needed)
    ))
}
