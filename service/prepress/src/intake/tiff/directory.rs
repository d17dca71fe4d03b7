//! What is read of the directories without the decoder.
//!
//! Colour models that it does not know: their samples lie in the file like those of another model that it does know, so the
//! tag that names the model is rewritten in a copy, and the samples are given their meaning afterwards. And pages, which it
//! counts by reading all that each says of itself.

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

/// The kind of a page (TIFF 6.0, section 8, `NewSubfileType`), and the bit that a small version of another page has.
const PAGE_KIND: u16 = 254;
const IS_REDUCED: u64 = 1;

/// The tag, and those of its values that matter here (TIFF 6.0, section 8; Adobe Photoshop TIFF Technical Notes).
const PHOTOMETRIC: u16 = 262;
const GREY: u16 = 1;
const RGB: u16 = 2;
const PALETTE: u16 = 3;
const CIE_LAB: u16 = 8;
const ICC_LAB: u16 = 9;

/// Bytes of a field in a directory, without its value: tag and type, then the count.
const CLASSIC: Layout = Layout { counted_bytes: 2, entry_bytes: 12, value_at: 8, value_bytes: 4 };
const BIG: Layout = Layout { counted_bytes: 8, entry_bytes: 20, value_at: 12, value_bytes: 8 };

struct Layout {
    counted_bytes: usize,
    entry_bytes: usize,
    value_at: usize,
    /// Also of where the next directory stands.
    value_bytes: usize,
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

/// Pages that are pictures of their own, no further than one past the limit. Lists that go round in circles are over it: so
/// are directories that lie in each other, of which a small file could hold more than can be walked.
pub(super) fn pages(bytes: &[u8], limit: u32) -> u32 {
    let file = File { bytes, is_little: bytes.starts_with(b"II") };
    let Some((layout, first)) = file.first_directory() else { return 1 };
    let (mut directory, mut count) = (first, 0);
    let mut fields_left = bytes.len() / layout.entry_bytes;
    while let Some(fields) = file.fields(&layout, directory) {
        let Some(left) = fields_left.checked_sub(fields.count.max(1)) else { return limit.saturating_add(1) };
        fields_left = left;
        let kind = fields.find(&file, PAGE_KIND).and_then(|at| file.number(at + layout.value_at, 4));
        count += u32::from(kind.unwrap_or_default() & IS_REDUCED == 0);
        let next = fields.end().and_then(|end| file.number(end, layout.value_bytes));
        match next.and_then(|next| usize::try_from(next).ok()) {
            Some(next) if next > 0 && count <= limit => directory = next,
            _ => break,
        }
    }
    count.max(1)
}

struct File<'a> {
    bytes: &'a [u8],
    is_little: bool,
}

/// The fields of one directory.
struct Fields {
    first: usize,
    count: usize,
    entry_bytes: usize,
}

impl Fields {
    /// Where the field of a tag starts.
    fn find(&self, file: &File<'_>, tag: u16) -> Option<usize> {
        let mut starts = (0..self.count).map_while(|index| self.first.checked_add(index * self.entry_bytes));
        starts.find(|at| file.number(*at, 2) == Some(u64::from(tag)))
    }

    fn end(&self) -> Option<usize> {
        self.first.checked_add(self.count * self.entry_bytes)
    }
}

impl File<'_> {
    /// Where the value of the tag stands in the first directory.
    fn photometric(&self) -> Option<usize> {
        let (layout, directory) = self.first_directory()?;
        self.fields(&layout, directory)?.find(self, PHOTOMETRIC)?.checked_add(layout.value_at)
    }

    fn first_directory(&self) -> Option<(Layout, usize)> {
        let (layout, directory) = match self.number(2, 2)? {
            42 => (CLASSIC, self.number(4, 4)?),
            43 => (BIG, self.number(8, 8)?),
            _ => return None,
        };
        Some((layout, usize::try_from(directory).ok()?))
    }

    fn fields(&self, layout: &Layout, directory: usize) -> Option<Fields> {
        // Tags are two bytes, so that no directory has more fields than this.
        let count = self.number(directory, layout.counted_bytes)?.min(1 << 16) as usize;
        Some(Fields { first: directory.checked_add(layout.counted_bytes)?, count, entry_bytes: layout.entry_bytes })
    }

    /// A number of so many bytes.
    fn number(&self, at: usize, bytes: usize) -> Option<u64> {
        let stored = self.bytes.get(at..at.checked_add(bytes)?)?;
        let join = |number: u64, byte: &u8| number << 8 | u64::from(*byte);
        Some(if self.is_little { stored.iter().rev().fold(0, join) } else { stored.iter().fold(0, join) })
    }
}
