//! How a proof is looked at: nothing here changes what is made.

/// What a proof lies on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ground {
    /// A light warm grey.
    Neutral,
    /// Nearly black.
    Dark,
    /// Nothing: alpha.
    Transparent,
}

/// A look at a proof.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct View {
    /// What it lies on.
    pub ground: Ground,
    /// Whether cut lines are drawn.
    pub cut_line: bool,
    /// Longest side of the whole picture, margin included; not for drawings.
    pub longest_px: u32,
}

impl Default for View {
    fn default() -> View {
        View { ground: Ground::Neutral, cut_line: true, longest_px: 1200 }
    }
}

/// The kind of file that a proof comes as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ProofDrawing {
    /// Pixels.
    Png,
    /// The print as pixels, lines as paths.
    Svg,
}

impl ProofDrawing {
    /// Its media type.
    pub fn media_type(self) -> &'static str {
        match self {
            ProofDrawing::Png => "image/png",
            ProofDrawing::Svg => "image/svg+xml",
        }
    }
}
