//! Where a sticker lands on its sheet.

use super::{Affine, Point, Vec2};

/// A rotation about a sticker's own origin followed by a move of that origin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pose {
    /// Where the origin lands, mm from the sheet's left edge.
    pub x_mm: f64,
    /// Where the origin lands, mm from the sheet's top edge.
    pub y_mm: f64,
    /// Clockwise as seen with y down, 0 upright; at least 0 and under 360.
    pub rotation_deg: f64,
}

impl Pose {
    /// A pose with its angle brought into 0..360.
    pub fn new(x_mm: f64, y_mm: f64, rotation_deg: f64) -> Pose {
        Pose { x_mm, y_mm, rotation_deg: rotation_deg.rem_euclid(360.0) }
    }

    /// Rounded to a millionth of a millimetre and a millionth of a degree, so that what the ticket says is exactly what
    /// is printed and cut.
    #[must_use]
    pub fn rounded(self) -> Pose {
        let tidy = |value: f64| (value * 1e6).round() / 1e6 + 0.0;
        Pose::new(tidy(self.x_mm), tidy(self.y_mm), tidy(self.rotation_deg))
    }

    /// The transform from the sticker's frame to the sheet's. Quarter turns are exact.
    pub fn to_affine(self) -> Affine {
        let (sin, cos) = sin_cos_deg(self.rotation_deg);
        Affine::new([cos, sin, -sin, cos, self.x_mm, self.y_mm])
    }

    /// Where the origin lands.
    pub fn origin(self) -> Point {
        Point::new(self.x_mm, self.y_mm)
    }

    /// Moved by a vector.
    #[must_use]
    pub fn shifted(self, by: Vec2) -> Pose {
        Pose { x_mm: self.x_mm + by.x, y_mm: self.y_mm + by.y, ..self }
    }
}

/// Sine and cosine of an angle in degrees, exact at quarter turns.
fn sin_cos_deg(angle_deg: f64) -> (f64, f64) {
    let turned = angle_deg.rem_euclid(360.0);
    let quarter = (turned / 90.0).round();
    let (sin, cos) = (turned - quarter * 90.0).to_radians().sin_cos();
    match quarter as u8 % 4 {
        0 => (sin, cos),
        1 => (cos, -sin),
        2 => (-sin, -cos),
        _ => (-cos, sin),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positive_angles_turn_clockwise_with_y_down() {
        let turned = Pose::new(10.0, 20.0, 90.0).to_affine() * Point::new(1.0, 0.0);
        assert!(turned.distance(Point::new(10.0, 21.0)) < 1e-12, "{turned:?}");
        let turned = Pose::new(0.0, 0.0, 37.5).to_affine() * Point::new(1.0, 0.0);
        assert!((turned.y.atan2(turned.x).to_degrees() - 37.5).abs() < 1e-9);
    }
}
