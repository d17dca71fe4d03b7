//! What parent and child say to each other: one line of JSON, then bytes.

use std::time::Duration;

use image::RgbaImage;
use quoin_prepress::fault::Fault;
use quoin_prepress::intake::{Drawing, Limits, Rendering, Scale, Window};
use serde::{Deserialize, Serialize};

/// Units of limits, which are told by name.
const UNITS: [&str; 7] = ["bytes", "px", "pixels", "frames", "levels", "elements", "s"];

/// What the parent asks; the drawing's bytes follow.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Question {
    longest_px: u32,
    least_px: u32,
    /// The bits of x, y, width and height: what is drawn must not hang on how a number is written.
    window: [u64; 4],
    /// Of the picture; those of memory and time the child has already.
    limits: Limits,
}

impl Question {
    pub(super) fn of(drawing: &Drawing<'_>) -> Question {
        let (scale, limits) = (drawing.scale, drawing.limits);
        let window = scale.window;
        Question {
            longest_px: scale.longest_px,
            least_px: scale.least_px,
            window: [window.x, window.y, window.width, window.height].map(f64::to_bits),
            limits: *limits,
        }
    }

    pub(super) fn scale(&self) -> Scale {
        let [x, y, width, height] = self.window.map(f64::from_bits);
        Scale { longest_px: self.longest_px, least_px: self.least_px, window: Window { x, y, width, height } }
    }

    pub(super) fn limits(&self) -> &Limits {
        &self.limits
    }
}

/// What the child answers.
#[derive(Debug, Serialize, Deserialize)]
pub(super) enum Answer {
    /// The pixels follow, RGBA of eight bits, straight alpha.
    Rendered(Rendered),
    Unreadable {
        reason: String,
    },
    Unsupported {
        kind: String,
    },
    OverLimit {
        measured: f64,
        limit: f64,
        unit: String,
    },
}

/// All of a rendering but its pixels.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Rendered {
    pub(super) size_px: (u32, u32),
    canvas_px: (u32, u32),
    canvas_mm: (f64, f64),
    live_text: Vec<String>,
    missing_parts: usize,
    spent: Duration,
}

impl Rendered {
    /// What is told of a rendering, and its pixels.
    pub(super) fn of(rendering: Rendering, spent: Duration) -> (Rendered, RgbaImage) {
        let Rendering { pixels, canvas_px, canvas_mm, live_text, missing_parts, spent: _ } = rendering;
        let size_px = pixels.dimensions();
        (Rendered { size_px, canvas_px, canvas_mm, live_text, missing_parts, spent }, pixels)
    }

    pub(super) fn with(self, pixels: RgbaImage) -> Rendering {
        let Rendered { size_px: _, canvas_px, canvas_mm, live_text, missing_parts, spent } = self;
        Rendering { pixels, canvas_px, canvas_mm, live_text, missing_parts, spent }
    }
}

impl Answer {
    pub(super) fn refusal(fault: &Fault) -> Answer {
        if let Fault::ArtUnsupported { kind } = fault {
            return Answer::Unsupported { kind: kind.clone() };
        }
        if let Fault::ArtOverLimit { measured, limit, unit } = fault {
            return Answer::OverLimit { measured: *measured, limit: *limit, unit: (*unit).to_owned() };
        }
        let reason = if let Fault::ArtUnreadable { reason } = fault { reason.clone() } else { fault.to_string() };
        Answer::Unreadable { reason }
    }

    pub(super) fn into_fault(self) -> Fault {
        match self {
            Answer::Unsupported { kind } => Fault::ArtUnsupported { kind },
            Answer::OverLimit { measured, limit, unit } => {
                let unit = UNITS.into_iter().find(|known| *known == unit).unwrap_or("units");
                Fault::ArtOverLimit { measured, limit, unit }
            }
            Answer::Unreadable { reason } => Fault::ArtUnreadable { reason },
            Answer::Rendered(_) => Fault::ArtUnreadable { reason: "no answer".to_owned() },
        }
    }
}

#[cfg(test)]
mod tests {
    use quoin_prepress::intake::Drawings;

    use super::*;

    fn passed_on(fault: &Fault) -> Fault {
        let line = serde_json::to_vec(&Answer::refusal(fault)).expect("JSON");
        serde_json::from_slice::<Answer>(&line).expect("an answer").into_fault()
    }

    #[test]
    fn faults_come_through_as_they_are() {
        for fault in [
            Fault::ArtUnreadable { reason: "a \"reason\"".to_owned() },
            Fault::ArtUnsupported { kind: "SVG with a document type declaration".to_owned() },
            Fault::ArtOverLimit { measured: 3.5, limit: 2.0, unit: "pixels" },
        ] {
            assert_eq!(passed_on(&fault).to_string(), fault.to_string());
        }
    }

    #[test]
    fn a_question_asks_for_what_the_drawing_asks_for() {
        let limits = Limits { max_pixels: 77, drawings: Drawings::Refused, ..Limits::default() };
        let window = Window { x: 0.1, y: 1.0 / 3.0, width: 0.7, height: 0.2 };
        let scale = Scale { longest_px: 900, least_px: 300, window };
        let line =
            serde_json::to_vec(&Question::of(&Drawing { bytes: b"", scale, limits: &limits, spent: Duration::ZERO }))
                .expect("JSON");
        let question: Question = serde_json::from_slice(&line).expect("a question");
        assert_eq!((question.scale(), question.limits()), (scale, &limits));
    }
}
