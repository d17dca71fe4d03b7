//! What an embedded colour profile calls itself.
//!
//! Source: ICC.1:2022, 7.2 (header), 7.3 (tag table), 10.15 (`mluc`); ICC.1:2001-04, 6.5.17 (`desc`).

use super::samples;

/// Longest name that is kept; a name is for a report, not a place to hide a book.
const LONGEST_NAME: usize = 80;

/// The description of a profile, or `embedded` where it has none that can be read.
pub(super) fn name(profile: &[u8]) -> String {
    description(profile).filter(|name| !name.is_empty()).unwrap_or_else(|| "embedded".to_owned())
}

fn description(profile: &[u8]) -> Option<String> {
    let tag = tag(profile, *b"desc")?;
    let text = match tag.get(..4)? {
        b"desc" => {
            let length = number(tag, 8)?.min(4 * LONGEST_NAME);
            String::from_utf8_lossy(tag.get(12..12 + length)?).into_owned()
        }
        b"mluc" => {
            let length = number(tag, 20)?.min(8 * LONGEST_NAME);
            let offset = number(tag, 24)?;
            let units = tag.get(offset..offset.checked_add(length)?)?.chunks_exact(2);
            let units: Vec<u16> = units.map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect();
            String::from_utf16_lossy(&units)
        }
        _ => return None,
    };
    let printable = text.chars().filter(|character| !character.is_control()).take(LONGEST_NAME);
    Some(printable.collect::<String>().trim().to_owned())
}

/// What a tag holds, and all that follows it in the file.
pub(super) fn tag(profile: &[u8], name: [u8; 4]) -> Option<&[u8]> {
    let tags = number(profile, 128)?.min(1024);
    let entry = (0..tags).map(|index| 132 + 12 * index).find(|at| profile.get(*at..at + 4) == Some(&name))?;
    profile.get(number(profile, entry + 4)?..)
}

fn number(bytes: &[u8], at: usize) -> Option<usize> {
    usize::try_from(samples::number(bytes, at)?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_house_profile_has_a_name() {
        let profile = include_bytes!("../../assets/srgb.icc");
        assert!(name(profile).contains("sRGB"), "{}", name(profile));
    }

    #[test]
    fn a_broken_profile_is_only_called_embedded() {
        assert_eq!(name(b""), "embedded");
        assert_eq!(name(&[0xFF; 200]), "embedded");
    }
}
