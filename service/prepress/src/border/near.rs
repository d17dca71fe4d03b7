//! What lies near each other.

use crate::geom::Point;

/// Something at a place.
pub(super) trait Placed {
    /// Where it is.
    fn place(&self) -> Point;
}

impl Placed for Point {
    fn place(&self) -> Point {
        *self
    }
}

/// Things sorted into squares, for neighbours within one square's side.
pub(super) struct Squares {
    /// Side of a square.
    pub(super) side: f64,
    /// Row and column of a square, and who is in it; sorted.
    members: Vec<((i64, i64), u32)>,
}

impl Squares {
    pub(super) fn of<T: Placed>(things: &[T], side: f64) -> Squares {
        let key = |(index, thing): (usize, &T)| (Squares::key(thing.place(), side), index as u32);
        let mut members: Vec<_> = things.iter().enumerate().map(key).collect();
        members.sort_unstable();
        Squares { side, members }
    }

    fn key(point: Point, side: f64) -> (i64, i64) {
        ((point.y / side).floor() as i64, (point.x / side).floor() as i64)
    }

    /// Those of the things within a square's side of a point, by their numbers.
    pub(super) fn near<'a, T: Placed>(&'a self, things: &'a [T], point: Point) -> impl Iterator<Item = usize> + 'a {
        let (y, x) = Squares::key(point, self.side);
        let rows = (-1..=1).flat_map(move |down| {
            let first = self.members.partition_point(|member| member.0 < (y + down, x - 1));
            self.members[first..].iter().take_while(move |member| member.0 <= (y + down, x + 1))
        });
        let reach2 = self.side * self.side;
        let members = rows.map(|member| member.1 as usize);
        members.filter(move |index| things[*index].place().distance_squared(point) <= reach2)
    }
}

/// Things in groups that hang together, each within a distance of another.
pub(super) fn grouped<T: Placed + Copy>(things: &[T], link: f64) -> Vec<Vec<T>> {
    let squares = Squares::of(things, link);
    let mut seen = vec![false; things.len()];
    let mut groups = Vec::new();
    for start in 0..things.len() {
        if seen[start] {
            continue;
        }
        seen[start] = true;
        let mut group = vec![start];
        let mut next = 0;
        while let Some(&at) = group.get(next) {
            next += 1;
            for other in squares.near(things, things[at].place()) {
                if !seen[other] {
                    seen[other] = true;
                    group.push(other);
                }
            }
        }
        groups.push(group.into_iter().map(|index| things[index]).collect());
    }
    groups
}
