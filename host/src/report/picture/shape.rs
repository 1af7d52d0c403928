//! Plane figures: hulls round pins, what of a line lies in a hull, and the edge of a region.
//!
//! Deliberately not here: what the figures mean, and SVG.

use super::signs::Point;

/// Corners of the disc a hull is widened by.
const DISC_CORNERS: [(f64, f64); 12] = [
    (1.0, 0.0),
    (0.866, 0.5),
    (0.5, 0.866),
    (0.0, 1.0),
    (-0.5, 0.866),
    (-0.866, 0.5),
    (-1.0, 0.0),
    (-0.866, -0.5),
    (-0.5, -0.866),
    (0.0, -1.0),
    (0.5, -0.866),
    (0.866, -0.5),
];

/// A convex figure, its corners in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Hull {
    pub(super) corners: Vec<Point>,
}

impl Hull {
    /// Round some points, widened by `pad` on every side.
    pub(super) fn round(points: &[Point], pad: f64) -> Hull {
        let wide = points
            .iter()
            .flat_map(|(x, y)| DISC_CORNERS.iter().map(move |(u, v)| (x + pad * u, y + pad * v)));
        Hull { corners: convex(wide.collect()) }
    }

    /// From where to where a horizontal line lies inside.
    pub(super) fn span_at(&self, y: f64) -> Option<(f64, f64)> {
        let mut span: Option<(f64, f64)> = None;
        for (i, (x0, y0)) in self.corners.iter().enumerate() {
            let (x1, y1) = self.corners[(i + 1) % self.corners.len()];
            if (*y0 <= y) == (y1 <= y) {
                continue;
            }
            let x = x0 + (x1 - x0) * (y - y0) / (y1 - y0);
            span = Some(span.map_or((x, x), |(low, high)| (low.min(x), high.max(x))));
        }
        span
    }

    /// Left, top, right and bottom.
    pub(super) fn bounds(&self) -> (f64, f64, f64, f64) {
        let start = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
        self.corners
            .iter()
            .fold(start, |(l, t, r, b), (x, y)| (l.min(*x), t.min(*y), r.max(*x), b.max(*y)))
    }
}

/// Andrew's monotone chain.
fn convex(mut points: Vec<Point>) -> Vec<Point> {
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut corners = half(points.iter());
    let mut back = half(points.iter().rev());
    corners.pop();
    back.pop();
    corners.extend(back);
    corners
}

fn half<'a>(points: impl Iterator<Item = &'a Point>) -> Vec<Point> {
    let mut chain: Vec<Point> = Vec::new();
    for (x, y) in points {
        while let [.., (ax, ay), (bx, by)] = chain.as_slice() {
            if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0.0 {
                break;
            }
            chain.pop();
        }
        chain.push((*x, *y));
    }
    chain
}

/// Points joined where they are near: all that lies within a distance of the joints is a region.
#[derive(Clone, Debug)]
pub(super) struct Region {
    joints: Vec<(Point, Point)>,
    reach: f64,
}

impl Region {
    /// Region of `reach` about points and the given joints between them.
    pub(super) fn new(points: &[Point], joints: &[(usize, usize)], reach: f64) -> Region {
        let alone = points.iter().map(|point| (*point, *point));
        let joined = joints.iter().filter_map(|(a, b)| Some((*points.get(*a)?, *points.get(*b)?)));
        Region { joints: alone.chain(joined).collect(), reach }
    }

    /// Distance to the nearest joint less the reach: negative inside.
    pub(super) fn outside_by(&self, point: Point) -> f64 {
        let nearest = self.joints.iter().map(|(a, b)| square_to(point, *a, *b));
        nearest.fold(f64::MAX, f64::min).sqrt() - self.reach
    }

    /// Left, top, right and bottom.
    pub(super) fn bounds(&self) -> (f64, f64, f64, f64) {
        let start = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
        let (l, t, r, b) = self
            .joints
            .iter()
            .flat_map(|(a, b)| [*a, *b])
            .fold(start, |(l, t, r, b), (x, y)| (l.min(x), t.min(y), r.max(x), b.max(y)));
        (l - self.reach, t - self.reach, r + self.reach, b + self.reach)
    }

    /// The region's edges as closed lines, traced on a lattice of `step` (marching squares; where
    /// a square is cut twice, its corners are kept apart).
    pub(super) fn edges(&self, step: f64) -> Vec<Vec<Point>> {
        let (left, top, right, bottom) = self.bounds();
        let (left, top) = (left - step, top - step);
        let count = |length: f64| ((length / step).ceil().clamp(1.0, LATTICE_MAX)) as usize + 2;
        let (columns, rows) = (count(right - left), count(bottom - top));
        let at = |i: usize, j: usize| (left + i as f64 * step, top + j as f64 * step);
        let value: Vec<f64> = (0..rows)
            .flat_map(|j| (0..columns).map(move |i| (i, j)))
            .map(|(i, j)| self.outside_by(at(i, j)))
            .collect();
        let mut pieces = Vec::new();
        for j in 0..rows - 1 {
            for i in 0..columns - 1 {
                let corners = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)];
                let place = |k: usize| at(corners[k].0, corners[k].1);
                let of = |k: usize| value[corners[k].1 * columns + corners[k].0];
                square(&of, &place, &mut pieces);
            }
        }
        chain(pieces)
    }
}

/// Most lattice lines one way.
const LATTICE_MAX: f64 = 1_000.0;

fn square_to((x, y): Point, (ax, ay): Point, (bx, by): Point) -> f64 {
    let (ux, uy) = (bx - ax, by - ay);
    let length = ux * ux + uy * uy;
    let along = if length > 0.0 { ((x - ax) * ux + (y - ay) * uy) / length } else { 0.0 };
    let along = along.clamp(0.0, 1.0);
    let (dx, dy) = (x - ax - along * ux, y - ay - along * uy);
    dx * dx + dy * dy
}

/// One square's pieces of the edge, each with the inside on the same hand.
fn square(
    value: &dyn Fn(usize) -> f64,
    place: &dyn Fn(usize) -> Point,
    pieces: &mut Vec<(Point, Point)>,
) {
    let inside = |k: usize| value(k) < 0.0;
    // Where the edge crosses each side that it crosses; reckoned from the same end in both squares
    // of a side, so that the points are the same to the bit.
    let crossing = |k: usize| {
        let (a, b) = (k, (k + 1) % 4);
        let (a, b) = if place(a) <= place(b) { (a, b) } else { (b, a) };
        let share = value(a) / (value(a) - value(b));
        let ((ax, ay), (bx, by)) = (place(a), place(b));
        (ax + share * (bx - ax), ay + share * (by - ay))
    };
    // Going round, the edge enters where the inside begins and leaves where it ends.
    for k in 0..4 {
        if inside(k) || !inside((k + 1) % 4) {
            continue;
        }
        let leaves = (1..=4).map(|n| (k + n) % 4).find(|n| inside(*n) && !inside((*n + 1) % 4));
        if let Some(leaves) = leaves {
            pieces.push((crossing(leaves), crossing(k)));
        }
    }
}

/// Pieces joined end to end into closed lines.
fn chain(pieces: Vec<(Point, Point)>) -> Vec<Vec<Point>> {
    let key = |(x, y): Point| (x.to_bits(), y.to_bits());
    let mut next: std::collections::BTreeMap<(u64, u64), Point> =
        pieces.iter().map(|(from, to)| (key(*from), *to)).collect();
    let mut lines = Vec::new();
    for (from, _) in &pieces {
        let mut line = vec![*from];
        let mut at = *from;
        while let Some(to) = next.remove(&key(at)) {
            line.push(to);
            at = to;
        }
        if line.len() > 3 {
            line.pop();
            lines.push(line);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(line: &[Point]) -> f64 {
        let next = |i: usize| line[(i + 1) % line.len()];
        line.iter().enumerate().map(|(i, (x, y))| 0.5 * (x * next(i).1 - next(i).0 * y)).sum()
    }

    #[test]
    fn a_hull_holds_its_points_and_one_point_is_a_disc() {
        let points = [(0.0, 0.0), (100.0, 0.0), (50.0, 40.0), (50.0, 10.0)];
        let hull = Hull::round(&points, 5.0);
        for (x, y) in points {
            let (left, right) = hull.span_at(y).expect("inside");
            assert!(left + 4.9 < x.min(right) + 5.0 && x < right, "{x} {y}: {left} {right}");
        }
        assert_eq!(hull.span_at(60.0), None);
        let disc = Hull::round(&[(3.0, 4.0)], 2.0);
        assert_eq!(disc.corners.len(), 12);
        assert_eq!(disc.bounds(), (1.0, 2.0, 5.0, 6.0));
        assert_eq!(Hull::round(&[], 2.0).corners, []);
    }

    #[test]
    fn the_edge_of_a_disc_is_one_round() {
        let edges = Region::new(&[(10.0, 10.0)], &[], 8.0).edges(0.5);
        assert_eq!(edges.len(), 1);
        let round = area(&edges[0]).abs();
        assert!((round - 201.06).abs() < 1.5, "{round}");
    }

    #[test]
    fn near_points_make_one_region_and_far_ones_two() {
        let points = [(0.0, 0.0), (30.0, 0.0), (100.0, 0.0)];
        let region = Region::new(&points, &[(0, 1)], 6.0);
        assert_eq!(region.edges(1.0).len(), 2);
        assert!(region.outside_by((15.0, 3.0)) < 0.0 && region.outside_by((60.0, 0.0)) > 0.0);
        // A joint to a point that is not there is none.
        assert_eq!(Region::new(&points, &[(0, 9)], 6.0).edges(1.0).len(), 3);
        assert!(Region::new(&[], &[], 6.0).edges(1.0).is_empty());
    }
}
