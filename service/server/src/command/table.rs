//! Aligned columns of text.

use unicode_width::UnicodeWidthStr;

/// Which side of its column a text stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// A table with a heading, as lines. Widths are those of the terminal (UAX 11): a wide character takes two cells.
pub(super) fn lines<const N: usize>(heading: [(&str, Side); N], rows: &[[String; N]]) -> Vec<String> {
    let mut widths = heading.map(|(title, _)| title.width());
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.width());
        }
    }
    let sides = heading.map(|(_, side)| side);
    let titles = heading.map(|(title, _)| title.to_owned());
    std::iter::once(&titles).chain(rows).map(|row| line(row, &widths, &sides)).collect()
}

fn line(row: &[String], widths: &[usize], sides: &[Side]) -> String {
    let cell = |((text, width), side): ((&String, &usize), &Side)| {
        let padding = " ".repeat(width.saturating_sub(text.width()));
        match side {
            Side::Left => format!("{text}{padding}"),
            Side::Right => format!("{padding}{text}"),
        }
    };
    let cells: Vec<String> = row.iter().zip(widths).zip(sides).map(cell).collect();
    cells.join("  ").trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_by_cells_of_the_terminal() {
        let rows = [["狐".to_owned(), "7".to_owned()], ["Fuchs".to_owned(), "1000".to_owned()]];
        let table = lines([("Name", Side::Left), ("n", Side::Right)], &rows);
        assert_eq!(table, ["Name      n", "狐        7", "Fuchs  1000"]);
    }
}
