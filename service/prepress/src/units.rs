//! Lengths and resolutions: every conversion of the house is here.
//!
//! [`Mm`] is the length of the house. Pixels are counted in plain `u32` with `_px` in their names; [`Ppi`] is the bridge
//! between the two. Points ([`Mm::to_pt`]) live only in the PDF writer.
//!
//! Sources: 1 in = 25.4 mm exactly (international inch, 1959; ISO 31-1); 1 pt = 1/72 in (ISO 32000-2, 8.3.2.3).

use std::iter::Sum;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

use crate::fault::Fault;

/// Millimetres in an inch, exactly.
pub const MM_PER_INCH: f64 = 25.4;

/// Points in an inch, exactly.
pub const PT_PER_INCH: f64 = 72.0;

/// A length in millimetres. Always finite.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Mm(f64);

impl Mm {
    /// No length.
    pub const ZERO: Mm = Mm(0.0);

    /// A length computed inside the house from finite numbers, or a constant.
    pub const fn of(millimetres: f64) -> Mm {
        debug_assert!(millimetres.is_finite(), "a length is finite");
        Mm(millimetres)
    }

    /// A length from outside.
    ///
    /// # Errors
    /// `order.not_finite` for NaN and infinities.
    pub fn checked(millimetres: f64) -> Result<Mm, Fault> {
        if millimetres.is_finite() { Ok(Mm(millimetres)) } else { Err(Fault::NotFinite) }
    }

    /// The length of so many inches.
    pub const fn from_inches(inches: f64) -> Mm {
        Mm::of(inches * MM_PER_INCH)
    }

    /// The bare number of millimetres, for arithmetic inside a stage and for names that end in `_mm`.
    pub const fn mm(self) -> f64 {
        self.0
    }

    /// In points of 1/72 inch.
    pub const fn to_pt(self) -> f64 {
        self.0 / MM_PER_INCH * PT_PER_INCH
    }

    /// The longer of two lengths.
    pub const fn max(self, other: Mm) -> Mm {
        if self.0 >= other.0 { self } else { other }
    }

    /// The shorter of two lengths.
    pub const fn min(self, other: Mm) -> Mm {
        if self.0 <= other.0 { self } else { other }
    }
}

impl Add for Mm {
    type Output = Mm;
    fn add(self, other: Mm) -> Mm {
        Mm::of(self.0 + other.0)
    }
}

impl AddAssign for Mm {
    fn add_assign(&mut self, other: Mm) {
        *self = *self + other;
    }
}

impl Sub for Mm {
    type Output = Mm;
    fn sub(self, other: Mm) -> Mm {
        Mm::of(self.0 - other.0)
    }
}

impl SubAssign for Mm {
    fn sub_assign(&mut self, other: Mm) {
        *self = *self - other;
    }
}

impl Neg for Mm {
    type Output = Mm;
    fn neg(self) -> Mm {
        Mm(-self.0)
    }
}

impl Mul<f64> for Mm {
    type Output = Mm;
    fn mul(self, factor: f64) -> Mm {
        Mm::of(self.0 * factor)
    }
}

impl Div<f64> for Mm {
    type Output = Mm;
    fn div(self, divisor: f64) -> Mm {
        Mm::of(self.0 / divisor)
    }
}

impl Div<Mm> for Mm {
    type Output = f64;
    fn div(self, other: Mm) -> f64 {
        self.0 / other.0
    }
}

impl Sum for Mm {
    fn sum<I: Iterator<Item = Mm>>(lengths: I) -> Mm {
        lengths.fold(Mm::ZERO, Add::add)
    }
}

/// A resolution in pixels per inch. Finite and above zero.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Ppi(f64);

impl Ppi {
    /// A resolution known to be finite and above zero.
    pub const fn of(pixels_per_inch: f64) -> Ppi {
        debug_assert!(pixels_per_inch.is_finite() && pixels_per_inch > 0.0, "a resolution is above zero");
        Ppi(pixels_per_inch)
    }

    /// The bare number of pixels in an inch.
    pub const fn ppi(self) -> f64 {
        self.0
    }

    /// Pixels in a millimetre.
    pub const fn px_per_mm(self) -> f64 {
        self.0 / MM_PER_INCH
    }

    /// The length of one pixel.
    pub const fn px_length(self) -> Mm {
        Mm::of(MM_PER_INCH / self.0)
    }

    /// A length in whole pixels: the nearest count, at least one.
    pub fn pixels(self, length: Mm) -> u32 {
        let count = (length.mm() * self.px_per_mm()).round().clamp(1.0, f64::from(u32::MAX));
        count as u32
    }

    /// Whole pixels per metre, as a PNG's pHYs chunk has them (PNG 3rd edition, 11.3.4.3): the nearest integer.
    pub fn px_per_metre(self) -> u32 {
        (self.px_per_mm() * 1000.0).round() as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_inch_is_25_4_mm_and_72_points() {
        assert!((Mm::from_inches(1.0).mm() - 25.4).abs() < 1e-12);
        assert!((Mm::of(25.4).to_pt() - 72.0).abs() < 1e-12);
        assert_eq!(Ppi::of(300.0).pixels(Mm::of(25.4)), 300);
        // PNG 3rd edition: 300 ppi is 11811 px/m.
        assert_eq!(Ppi::of(300.0).px_per_metre(), 11811);
    }

    #[test]
    fn lengths_that_are_not_finite_are_refused() {
        assert!(Mm::checked(f64::NAN).is_err());
        assert!(Mm::checked(f64::INFINITY).is_err());
        assert!(Mm::checked(1.5).is_ok());
    }
}
