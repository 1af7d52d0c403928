//! The plank's field on a fine grid: the same posterior as at the pins, column by column.
//!
//! Deliberately not here: what is drawn of it.

use std::ops::Range;

use super::super::linalg::dot;
use super::super::stats::median;
use super::super::survey::Site;
use super::basis::Place;
use super::compact::wendland;
use super::grid::{FieldGrid, GridCell};
use super::plank::PlankField;
use super::plank_point::{Moment, SoundPoint};
use super::window::{LANES, Lanes, ShapePart};

/// Most cells of a grid; a finer step is made coarser.
const CELL_COUNT_MAX: usize = 400_000;
/// Neighbour whose distance says how far a pin speaks for the wood round it: with three, a lone
/// pair of pins does not.
const NEIGHBOUR_ORDER: usize = 3;
/// Part of that distance; and least and greatest, m (ours: cells between pins belong to the field,
/// the middle of a strut's gap does not).
const MARGIN_SHARE: f64 = 0.9;
const MARGIN_M: (f64, f64) = (0.012, 0.045);

/// A pin of the instrument as a cell sees it, in order along the plank.
struct Neighbour {
    site: usize,
    x_m: f64,
    y_m: f64,
    /// Cells within this distance belong to the field.
    margin_m: f64,
    moment: Moment,
    sound: SoundPoint,
    section: u8,
}

/// The shapes of one section at one column: linear between depths, constant beyond.
struct Profile {
    section: u8,
    depths_m: Vec<f64>,
    parts: Vec<ShapePart>,
    /// φᵀ·M⁻¹·φ of each depth, and of each with the next.
    own: Vec<f64>,
    next: Vec<f64>,
}

/// Between which depths a cell lies, and how far on its way to the second.
#[derive(Clone, Copy, Default)]
struct Between {
    near: usize,
    far: usize,
    share: f64,
}

impl Profile {
    fn between(&self, y_m: f64) -> Between {
        let near = self.depths_m.iter().rposition(|depth_m| *depth_m <= y_m);
        let Some(near) = near else { return Between::default() };
        let Some(far_m) = self.depths_m.get(near + 1) else {
            return Between { near, far: near, share: 0.0 };
        };
        let near_m = self.depths_m[near];
        Between { near, far: near + 1, share: (y_m - near_m) / (far_m - near_m) }
    }

    /// Mean of the shapes and φᵀ·M⁻¹·φ.
    fn at(&self, place: Between) -> (f64, f64) {
        let (rest, share) = (1.0 - place.share, place.share);
        let mean = rest * self.parts[place.near].mean + share * self.parts[place.far].mean;
        if share == 0.0 {
            return (mean, self.own[place.near]);
        }
        let own = rest * rest * self.own[place.near] + share * share * self.own[place.far];
        (mean, own + 2.0 * rest * share * self.next[place.near])
    }
}

/// A cell with pins near.
#[derive(Clone, Copy)]
struct Cell {
    /// Index into the grid's cells.
    index: usize,
    y_m: f64,
    /// Index into the neighbours: the nearest pin.
    nearest: usize,
}

impl PlankField {
    /// The plank on square cells `step_m` wide, over the pins and a margin round them. The step is
    /// made coarser when there would be more than 400,000 cells; an instrument without pins has an
    /// empty grid.
    pub fn grid(&self, step_m: f64) -> FieldGrid {
        let neighbours = self.neighbours();
        let Some(mut grid) = outline(&neighbours, step_m) else { return FieldGrid::default() };
        let columns = 0..grid.column_count;
        for column in columns {
            let x_m = grid.from_x_m + column as f64 * grid.step_m;
            self.fill_column(&mut grid, column, x_m, &neighbours);
        }
        grid
    }

    fn neighbours(&self) -> Vec<Neighbour> {
        let mut sections: Vec<u8> = self.sites.iter().map(|site| site.section).collect();
        sections.sort_unstable();
        sections.dedup();
        let margins: Vec<f64> = sections.iter().map(|s| margin_m(*s, &self.sites)).collect();
        let mut all: Vec<Neighbour> = self
            .sites
            .iter()
            .enumerate()
            .map(|(index, site)| Neighbour {
                site: index,
                x_m: site.x_m,
                y_m: site.y_m,
                margin_m: margins[sections.binary_search(&site.section).unwrap_or_default()],
                moment: Moment::at(site),
                sound: self.sound[index],
                section: site.section,
            })
            .collect();
        all.sort_by(|a, b| a.x_m.total_cmp(&b.x_m).then(a.site.cmp(&b.site)));
        all
    }

    /// Cells of one column that belong to the field, several at a time.
    fn fill_column(&self, grid: &mut FieldGrid, column: usize, x_m: f64, neighbours: &[Neighbour]) {
        let reach_m = self.spreads.local.reach_along_m;
        let from = self.spots.partition_point(|spot| spot.x_m <= x_m - reach_m);
        let to = self.spots.partition_point(|spot| spot.x_m < x_m + reach_m);
        let cells = cells_of_column(grid, column, x_m, neighbours);
        let mut profiles: Vec<Profile> = Vec::new();
        for together in cells.chunks(LANES) {
            let of_cell: Vec<usize> = together
                .iter()
                .map(|cell| {
                    let section = neighbours[cell.nearest].section;
                    let known = profiles.iter().position(|profile| profile.section == section);
                    known.unwrap_or_else(|| {
                        profiles.push(self.profile(section, x_m, from..to));
                        profiles.len() - 1
                    })
                })
                .collect();
            self.fill(grid, x_m, together, neighbours, from..to, &profiles, &of_cell);
        }
    }

    fn profile(&self, section: u8, x_m: f64, range: Range<usize>) -> Profile {
        let depths_m = self.basis.depths_m(section);
        let place = |y_m: &f64| self.basis.row(Place { x_m, y_m: *y_m, section });
        let shapes: Vec<Vec<f64>> = depths_m.iter().map(place).collect();
        let parts: Vec<ShapePart> =
            shapes.iter().map(|row| self.window.shape_part(row, range.clone())).collect();
        let own = shapes.iter().zip(&parts).map(|(row, part)| dot(row, &part.spread)).collect();
        let next =
            shapes.iter().skip(1).zip(&parts).map(|(row, part)| dot(row, &part.spread)).collect();
        Profile { section, depths_m, parts, own, next }
    }

    #[expect(clippy::too_many_arguments, reason = "a column's pieces, made once for all its cells")]
    fn fill(
        &self,
        grid: &mut FieldGrid,
        x_m: f64,
        cells: &[Cell],
        neighbours: &[Neighbour],
        range: Range<usize>,
        profiles: &[Profile],
        of_cell: &[usize],
    ) {
        let from = range.start;
        let (mut active, mut cross): (Vec<usize>, Vec<Lanes>) = (Vec::new(), Vec::new());
        let mut places = [(0.0, 0); LANES];
        for (place, cell) in places.iter_mut().zip(cells) {
            *place = (cell.y_m, neighbours[cell.nearest].section);
        }
        for i in range {
            let lanes = self.cross(self.spots[i], x_m, &places[..cells.len()]);
            if lanes.iter().any(|lane| *lane != 0.0) {
                active.push(i);
                cross.push(lanes);
            }
        }
        let part = self.window.reach_part(&active, &cross);
        for (lane, (cell, profile)) in cells.iter().zip(of_cell).enumerate() {
            let profile = &profiles[*profile];
            let place = profile.between(cell.y_m);
            let (shape_mean, open) = profile.at(place);
            let near = &profile.parts[place.near].links;
            let far = &profile.parts[place.far].links;
            let (mut linked_near, mut linked_far) = (0.0, 0.0);
            for (observation, k) in active.iter().zip(&cross) {
                linked_near += near[observation - from] * k[lane];
                linked_far += far[observation - from] * k[lane];
            }
            let linked = (1.0 - place.share) * linked_near + place.share * linked_far;
            let variance = self.spreads.local.variance + open - 2.0 * linked - part.known[lane];
            let log_mean = self.base + shape_mean + part.mean[lane];
            let nearest = &neighbours[cell.nearest];
            grid.cells[cell.index] = Some(self.cell(log_mean, variance.max(0.0), nearest));
        }
    }

    /// Prior covariance of the local part between an observation and places of one column.
    fn cross(&self, spot: Place, x_m: f64, places: &[(f64, u8)]) -> Lanes {
        let local = &self.spreads.local;
        let along = (x_m - spot.x_m) / local.reach_along_m;
        let along = along * along;
        let per_m = 1.0 / local.reach_across_m;
        let mut lanes = [0.0; LANES];
        for (lane, (y_m, section)) in lanes.iter_mut().zip(places) {
            let across = (y_m - spot.y_m) * per_m;
            let squared = along + across * across;
            if squared < 1.0 {
                let share = if *section == spot.section { 1.0 } else { local.shared };
                *lane = local.variance * share * wendland(squared.sqrt());
            }
        }
        lanes
    }

    fn cell(&self, log_mean: f64, log_variance: f64, nearest: &Neighbour) -> GridCell {
        let friction_nm = self.plank_nm(log_mean, log_variance, nearest.moment);
        let law = self.law_about(log_mean, log_variance, nearest.sound);
        GridCell {
            friction_nm,
            holding_factor: nearest.moment.factor(friction_nm),
            loose_chance: self.doubtful_chance(&law, friction_nm.value, nearest.moment),
            sound_share: libm::exp((log_mean - nearest.sound.mean).clamp(-20.0, 20.0)),
        }
    }
}

/// How far the pins of a section speak for the wood round them, m.
fn margin_m(section: u8, sites: &[Site]) -> f64 {
    let here: Vec<&Site> = sites.iter().filter(|site| site.section == section).collect();
    let of_neighbours: Vec<f64> = here
        .iter()
        .filter_map(|site| {
            let mut squares: Vec<f64> = here
                .iter()
                .map(|other| {
                    let (dx, dy) = (site.x_m - other.x_m, site.y_m - other.y_m);
                    dx * dx + dy * dy
                })
                .collect();
            squares.sort_by(f64::total_cmp);
            squares.get(NEIGHBOUR_ORDER).map(|square| square.sqrt())
        })
        .collect();
    let (least, most) = MARGIN_M;
    median(&of_neighbours).map_or(least, |distance| (MARGIN_SHARE * distance).clamp(least, most))
}

/// An empty grid over the pins and their margins.
fn outline(neighbours: &[Neighbour], step_m: f64) -> Option<FieldGrid> {
    let span = |of: fn(&Neighbour) -> f64| {
        let margins = neighbours.iter().map(|n| (of(n) - n.margin_m, of(n) + n.margin_m));
        margins.fold((f64::MAX, f64::MIN), |(l, h), (low, high)| (l.min(low), h.max(high)))
    };
    if neighbours.is_empty() || step_m.is_nan() {
        return None;
    }
    let ((from_x_m, to_x_m), (from_y_m, to_y_m)) = (span(|n| n.x_m), span(|n| n.y_m));
    let (width_m, height_m) = (to_x_m - from_x_m, to_y_m - from_y_m);
    // So that even with a cell more in each row and column there are not too many.
    let least =
        (width_m * height_m / CELL_COUNT_MAX as f64).sqrt().max(width_m.max(height_m) * 1e-4);
    let mut step_m = step_m.clamp(least, width_m.max(height_m));
    let count = |length_m: f64, step_m: f64| (length_m / step_m).floor() as usize + 1;
    while count(width_m, step_m) * count(height_m, step_m) > CELL_COUNT_MAX {
        step_m *= 1.1;
    }
    let (column_count, row_count) = (count(width_m, step_m), count(height_m, step_m));
    let cells = vec![None; column_count * row_count];
    Some(FieldGrid { from_x_m, from_y_m, step_m, column_count, row_count, cells })
}

/// The cells of one column that have a pin near.
fn cells_of_column(
    grid: &FieldGrid,
    column: usize,
    x_m: f64,
    neighbours: &[Neighbour],
) -> Vec<Cell> {
    let widest_m = MARGIN_M.1;
    let from = neighbours.partition_point(|n| n.x_m < x_m - widest_m);
    let to = neighbours.partition_point(|n| n.x_m <= x_m + widest_m);
    let mut cells = Vec::new();
    for row in 0..grid.row_count {
        let y_m = grid.from_y_m + row as f64 * grid.step_m;
        let mut nearest: Option<(f64, usize)> = None;
        for (i, pin) in neighbours[from..to].iter().enumerate() {
            let (dx, dy) = (pin.x_m - x_m, pin.y_m - y_m);
            let squared = dx * dx + dy * dy;
            if nearest.is_none_or(|(least, _)| squared < least) {
                nearest = Some((squared, from + i));
            }
        }
        let Some((squared, nearest)) = nearest else { continue };
        let margin_m = neighbours[nearest].margin_m;
        if squared <= margin_m * margin_m {
            cells.push(Cell { index: row * grid.column_count + column, y_m, nearest });
        }
    }
    cells
}
