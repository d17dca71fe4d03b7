//! Colour models that the decoder does not know. Their samples lie in the file like those of another model that it does know,
//! so the tag that names the model is rewritten in a copy, and the samples are given their meaning afterwards.

/// What samples mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Meaning {
    /// What the decoder says.
    AsSaid,
    /// Indices of colours.
    Palette,
    /// CIE L*a*b*, with a* and b* as signed numbers.
    CieLab,
    /// The same with a* and b* counted from the middle.
    IccLab,
}

impl Meaning {
    pub(super) fn is_lab(self) -> bool {
        matches!(self, Meaning::CieLab | Meaning::IccLab)
    }
}

/// The tag, and those of its values that matter here (TIFF 6.0, section 8; Adobe Photoshop TIFF Technical Notes).
const PHOTOMETRIC: u16 = 262;
const GREY: u16 = 1;
const RGB: u16 = 2;
const PALETTE: u16 = 3;
const CIE_LAB: u16 = 8;
const ICC_LAB: u16 = 9;

/// Bytes of a field in a directory, without its value: tag and type, then the count.
const CLASSIC: Layout = Layout { counted_bytes: 2, entry_bytes: 12, value_at: 8 };
const BIG: Layout = Layout { counted_bytes: 8, entry_bytes: 20, value_at: 12 };

struct Layout {
    counted_bytes: usize,
    entry_bytes: usize,
    value_at: usize,
}

/// A copy that says a model which the decoder knows, and what its samples mean; `None` where it knows the file's own.
pub(super) fn unknown_to_decoder(bytes: &[u8]) -> Option<(Meaning, Vec<u8>)> {
    let file = File { bytes, is_little: bytes.starts_with(b"II") };
    let at = file.photometric()?;
    let (meaning, stand_in) = match file.number(at, 2)? as u16 {
        PALETTE => (Meaning::Palette, GREY),
        CIE_LAB => (Meaning::CieLab, RGB),
        ICC_LAB => (Meaning::IccLab, RGB),
        _ => return None,
    };
    let mut disguised = bytes.to_vec();
    let value = if file.is_little { stand_in.to_le_bytes() } else { stand_in.to_be_bytes() };
    disguised.get_mut(at..at + 2)?.copy_from_slice(&value);
    Some((meaning, disguised))
}

struct File<'a> {
    bytes: &'a [u8],
    is_little: bool,
}

impl File<'_> {
    /// Where the value of the tag stands in the first directory.
    fn photometric(&self) -> Option<usize> {
        let (layout, directory) = match self.number(2, 2)? {
            42 => (CLASSIC, self.number(4, 4)?),
            43 => (BIG, self.number(8, 8)?),
            _ => return None,
        };
        let directory = usize::try_from(directory).ok()?;
        // Tags are two bytes, so that no directory has more fields than this.
        let count = self.number(directory, layout.counted_bytes)?.min(1 << 16) as usize;
        let first = directory.checked_add(layout.counted_bytes)?;
        let mut entries = (0..count).map_while(|index| first.checked_add(index * layout.entry_bytes));
        entries.find(|at| self.number(*at, 2) == Some(u64::from(PHOTOMETRIC)))?.checked_add(layout.value_at)
    }

    /// A number of so many bytes.
    fn number(&self, at: usize, bytes: usize) -> Option<u64> {
        let stored = self.bytes.get(at..at.checked_add(bytes)?)?;
        let join = |number: u64, byte: &u8| number << 8 | u64::from(*byte);
        Some(if self.is_little { stored.iter().rev().fold(0, join) } else { stored.iter().fold(0, join) })
    }
}
