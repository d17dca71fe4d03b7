//! Which way each lot goes: in a pattern of its own, or in the mix. A pure function of numbers.

/// Share of a container's window that mixes of clip-art outlines reach in whole containers at `draft`. Measured: 0.69 to 0.74
/// on the workloads of `load/README.md`.
const MIX_DENSITY: f64 = 0.74;

/// A lot as the chooser sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Case {
    /// Copies ordered.
    pub(super) copies: u32,
    /// Area inside the outline, mm².
    pub(super) area: f64,
}

/// Where the copies of a lot go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// All of them in patterns of their own.
    Alone,
    /// First into whole containers of their own, the rest into the mix.
    WholeFirst,
    /// Into the mix.
    Mixed,
}

/// The way of each lot, by a window's area. A lot alone needs no mix. In a mix only those may take whole containers that could
/// fill one at all.
pub(super) fn ways(cases: &[Case], window_area: f64) -> Vec<Way> {
    let lone = cases.iter().filter(|case| case.copies > 0).count() == 1;
    let way = |case: &Case| match case {
        Case { copies: 0, .. } => Way::Mixed,
        _ if lone => Way::Alone,
        case if f64::from(case.copies) * case.area > MIX_DENSITY * window_area => Way::WholeFirst,
        _ => Way::Mixed,
    };
    cases.iter().map(way).collect()
}

/// How many whole containers of its own a lot takes, when a window holds so many of it: all that it fills, where that wastes
/// less than a mix would.
pub(super) fn whole_containers(case: Case, per_window: u32, window_area: f64) -> u32 {
    let density = f64::from(per_window) * case.area / window_area;
    if density > MIX_DENSITY { case.copies.checked_div(per_window).unwrap_or(0) } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WINDOW: f64 = 10_000.0;

    fn case(copies: u32, area: f64) -> Case {
        Case { copies, area }
    }

    #[test]
    fn a_lone_lot_goes_alone_in_any_number() {
        assert_eq!(ways(&[case(1, 100.0)], WINDOW), [Way::Alone]);
        assert_eq!(ways(&[case(0, 50.0), case(5_000, 100.0)], WINDOW), [Way::Mixed, Way::Alone]);
        assert_eq!(ways(&[], WINDOW), []);
    }

    #[test]
    fn in_a_mix_only_lots_that_fill_a_window_take_whole_ones() {
        let cases = [case(200, 100.0), case(10, 100.0)];
        assert_eq!(ways(&cases, WINDOW), [Way::WholeFirst, Way::Mixed]);
    }

    #[test]
    fn whole_containers_are_taken_where_the_pattern_is_denser_than_a_mix() {
        assert_eq!(whole_containers(case(200, 100.0), 80, WINDOW), 2);
        assert_eq!(whole_containers(case(200, 100.0), 70, WINDOW), 0, "70 % is what a mix reaches too");
        assert_eq!(whole_containers(case(79, 100.0), 80, WINDOW), 0);
        assert_eq!(whole_containers(case(5, 100.0), 0, WINDOW), 0);
    }
}
