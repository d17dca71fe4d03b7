//! Copy numbers in few words.

/// Ascending numbers as ranges: `1-3, 7`.
pub(super) fn ranges(copies: &[u32]) -> String {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for &copy in copies {
        match runs.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(copy) => *last = copy,
            _ => runs.push((copy, copy)),
        }
    }
    let word = |(first, last): &(u32, u32)| if first == last { first.to_string() } else { format!("{first}-{last}") };
    runs.iter().map(word).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbouring_copies_are_one_range() {
        assert_eq!(ranges(&[1, 2, 3, 7, 9, 10]), "1-3, 7, 9-10");
        assert_eq!(ranges(&[]), "");
        assert_eq!(ranges(&[u32::MAX]), u32::MAX.to_string());
    }
}
