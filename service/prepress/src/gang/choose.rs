//! Which way each lot goes: in patterns of its own, or in the mix. A pure function of numbers.

/// Share of a container's window that mixes of clip-art outlines reach in whole containers at `draft`. Measured: 0.69 to 0.74
/// on workloads of 300 and of 5,000 copies.
const MIX_DENSITY: f64 = 0.74;
/// By how much a pattern must beat the mix: the mix misses copies that are taken from it, small ones above all, which fill its
/// gaps. Measured: with less the workload of 5,000 copies came out no shorter.
const MARGIN: f64 = 0.06;
/// Up to so many copies the mix of all is laid out first, and what it reaches decides in place of [`MIX_DENSITY`]; with more,
/// two layouts cost too much.
const MIXED_FIRST: u64 = 1_500;

/// A lot as the chooser sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Case {
    /// Copies ordered.
    pub(super) copies: u32,
    /// Area inside the outline, mm².
    pub(super) area: f64,
    /// Whether the outline is one piece. Copies of one that is several may stand between the pieces of each other, so that
    /// dozens of neighbours would have to be held apart for each pattern tried: such lots are left to the mix's ways.
    pub(super) in_one: bool,
}

/// Lots, and the containers that they go into.
#[derive(Clone, Debug)]
pub(super) struct Choice {
    cases: Vec<Case>,
    window_area: f64,
    sections: usize,
}

impl Choice {
    /// For lots in containers of so many sections, the area of all of them given.
    pub(super) fn new(cases: Vec<Case>, window_area: f64, sections: usize) -> Choice {
        Choice { cases, window_area, sections }
    }

    /// The lot that is alone: it needs no mix, in any number of copies.
    pub(super) fn lone(&self) -> Option<usize> {
        let mut wanted = (0..self.cases.len()).filter(|index| self.cases[*index].copies > 0);
        wanted.next().filter(|index| wanted.next().is_none() && self.cases[*index].in_one)
    }

    /// Lots of a mix that could fill a container: those for which it is worth to learn how many it holds.
    pub(super) fn fillers_of_whole(&self) -> Vec<usize> {
        let fills = |case: &Case| case.in_one && f64::from(case.copies) * case.area > MIX_DENSITY * self.window_area;
        (0..self.cases.len()).filter(|index| self.sections == 1 && fills(&self.cases[*index])).collect()
    }

    /// Whether the mix of all is to be laid out before [`Choice::whole_containers`] is asked. `holds` says for lots how many
    /// copies a container holds.
    pub(super) fn mixes_first(&self, holds: &[(usize, u32)]) -> bool {
        let copies: u64 = self.cases.iter().map(|case| u64::from(case.copies)).sum();
        copies <= MIXED_FIRST || self.whole_containers(holds, None).is_empty()
    }

    /// How many whole containers lots of a mix take for themselves: all that they fill, where their pattern is clearly denser
    /// than the mix, which `reached` so much or will reach about [`MIX_DENSITY`].
    pub(super) fn whole_containers(&self, holds: &[(usize, u32)], reached: Option<f64>) -> Vec<(usize, u32)> {
        let of = |(lot, count): &(usize, u32)| {
            let case = self.cases[*lot];
            let density = f64::from(*count) * case.area / self.window_area;
            let whole = case.copies.checked_div(*count).unwrap_or(0);
            (density > reached.unwrap_or(MIX_DENSITY) + MARGIN && whole > 0).then_some((*lot, whole))
        };
        holds.iter().filter_map(of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn choice(cases: &[(u32, f64)]) -> Choice {
        let cases = cases.iter().map(|(copies, area)| Case { copies: *copies, area: *area, in_one: true }).collect();
        Choice::new(cases, 10_000.0, 1)
    }

    #[test]
    fn a_lone_lot_goes_alone_in_any_number() {
        assert_eq!(choice(&[(1, 100.0)]).lone(), Some(0));
        assert_eq!(choice(&[(0, 50.0), (5_000, 100.0)]).lone(), Some(1));
        assert_eq!(choice(&[(1, 50.0), (5_000, 100.0)]).lone(), None);
        assert_eq!(choice(&[]).lone(), None);
    }

    #[test]
    fn an_outline_of_several_pieces_gets_no_pattern() {
        let mut choice = choice(&[(200, 100.0)]);
        choice.cases[0].in_one = false;
        assert_eq!((choice.lone(), choice.fillers_of_whole()), (None, vec![]));
    }

    #[test]
    fn in_a_mix_only_lots_that_fill_a_window_may_take_whole_ones() {
        let mut choice = choice(&[(200, 100.0), (10, 100.0), (75, 100.0)]);
        assert_eq!(choice.fillers_of_whole(), [0, 2]);
        choice.sections = 2;
        assert!(choice.fillers_of_whole().is_empty(), "sections are filled by the mix");
    }

    #[test]
    fn whole_containers_are_taken_where_the_pattern_is_denser_than_the_mix() {
        let choice = choice(&[(200, 100.0), (79, 100.0)]);
        assert_eq!(choice.whole_containers(&[(0, 85)], None), [(0, 2)]);
        assert_eq!(choice.whole_containers(&[(0, 85)], Some(0.82)), [], "this mix is nearly as dense");
        assert_eq!(choice.whole_containers(&[(0, 75)], None), [], "75 % is what any mix reaches");
        assert_eq!(choice.whole_containers(&[(0, 75)], Some(0.65)), [(0, 2)], "but this one does not");
        assert_eq!(choice.whole_containers(&[(1, 85)], None), [], "copies short of a container");
        assert_eq!(choice.whole_containers(&[(0, 0)], Some(0.0)), []);
    }

    #[test]
    fn large_mixes_are_laid_out_once() {
        assert!(choice(&[(200, 100.0), (10, 100.0)]).mixes_first(&[(0, 85)]));
        assert!(!choice(&[(2_000, 100.0), (10, 100.0)]).mixes_first(&[(0, 85)]));
        assert!(choice(&[(2_000, 100.0), (10, 100.0)]).mixes_first(&[(0, 70)]), "nothing else is laid out then");
    }
}
