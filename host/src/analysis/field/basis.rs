//! The broad shapes a plank's torque is made of: level, sections, rows, and a smooth trend.
//!
//! A section's step is sharp, because a section is restrung or drilled by itself. The trend is
//! smooth along the whole plank, because it is one piece of wood; it is written as sines (Solin and
//! Särkkä, "Hilbert space methods for reduced-rank Gaussian process regression", *Statistics and
//! Computing* 30, 2020), so that its size and length change prior variances only, never the shapes.
//! Rows are effects at their depth; between two rows the effect is taken in proportion. Pins of
//! another size than most of their section have a shape of their own: a section on larger pins has
//! its step, but single larger pins among smaller ones would look like scatter.
//!
//! Deliberately not here: the local part (`compact`), scatter from pin to pin, and the fit.

use super::super::stats::median;
use super::super::survey::Site;
use super::linear::Design;

/// Sines of the trend: enough for a trend that changes within a tenth of a field's length.
const TREND_COUNT: usize = 18;
/// Half the sines' domain over half the field's length: sines vanish at the domain's ends, the
/// trend must not vanish at the field's (Solin and Särkkä advise some correlation lengths).
const DOMAIN_RATIO: f64 = 1.5;
/// Least half length of the domain, m, for fields of a few pins.
const DOMAIN_MIN_M: f64 = 0.15;
/// Standard deviation of what a millimetre more of pin does, natural-log units per mm, about
/// nothing: a size gains some 40 N·m/mm at 10 N·m (ONE), but larger pins went into worn holes
/// (DER).
const SIZE_SD_PER_MM: f64 = 4.0;
/// Sizes farther from their section's middle than this are misprints, mm.
const SIZE_MAX_MM: f64 = 1.0;

/// Standard deviations of the broad shapes, natural-log units, and the trend's length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BroadSpread {
    /// Of the common level about the middle reading.
    pub level_sd: f64,
    /// Of a section's step.
    pub section_sd: f64,
    /// Of a section's slope over its own half length.
    pub section_slope_sd: f64,
    /// Of a row over the whole instrument.
    pub row_sd: f64,
    /// Of a row within one section.
    pub section_row_sd: f64,
    /// Of the smooth trend.
    pub trend_sd: f64,
    /// Distance along the plank over which the trend changes, m.
    pub trend_length_m: f64,
}

/// A place on the plank as the shapes see it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Metres towards the treble.
    pub x_m: f64,
    /// Metres away from the flange.
    pub y_m: f64,
    /// Section.
    pub section: u8,
}

/// A section as the shapes see it.
#[derive(Clone, Debug, PartialEq)]
struct Section {
    number: u8,
    middle_m: f64,
    half_m: f64,
    /// Rows with their middle depth, nearest the flange first.
    rows: Vec<(u8, f64)>,
    /// Middle pin diameter where any is known, micrometres.
    diameter_um: Option<f64>,
}

/// The shapes of one instrument's field.
#[derive(Clone, Debug, PartialEq)]
pub struct Basis {
    sections: Vec<Section>,
    rows: Vec<u8>,
    /// Section and row of each section-row column.
    section_rows: Vec<(u8, u8)>,
    middle_m: f64,
    domain_m: f64,
}

impl Basis {
    /// The shapes of all the pins of an instrument, read or not.
    pub fn new(sites: &[Site]) -> Basis {
        let mut numbers: Vec<u8> = sites.iter().map(|site| site.section).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let sections: Vec<Section> =
            numbers.into_iter().map(|number| Section::new(number, sites)).collect();
        let mut rows: Vec<u8> = sites.iter().map(|site| site.row).collect();
        rows.sort_unstable();
        rows.dedup();
        let section_rows = sections
            .iter()
            .flat_map(|section| section.rows.iter().map(|(row, _)| (section.number, *row)))
            .collect();
        let (low, high) = span(sites.iter().map(|site| site.x_m));
        let domain_m = (0.5 * (high - low) * DOMAIN_RATIO).max(DOMAIN_MIN_M);
        Basis { sections, rows, section_rows, middle_m: 0.5 * (low + high), domain_m }
    }

    /// Number of shapes.
    pub fn column_count(&self) -> usize {
        2 + 2 * self.sections.len() + self.rows.len() + self.section_rows.len() + TREND_COUNT
    }

    /// Columns of the rows' effects, over the instrument and within sections.
    pub fn row_columns(&self) -> std::ops::Range<usize> {
        let from = 1 + 2 * self.sections.len();
        from..from + self.rows.len() + self.section_rows.len()
    }

    /// Prior variances of the shapes, in the order of their columns.
    pub fn prior_variances(&self, spread: &BroadSpread) -> Vec<f64> {
        let square = |sd: f64| (sd * sd).max(VARIANCE_MIN);
        let mut variances = vec![square(spread.level_sd)];
        variances.extend(self.sections.iter().map(|_| square(spread.section_sd)));
        variances.extend(self.sections.iter().map(|_| square(spread.section_slope_sd)));
        variances.extend(self.rows.iter().map(|_| square(spread.row_sd)));
        variances.extend(self.section_rows.iter().map(|_| square(spread.section_row_sd)));
        for order in 1..=TREND_COUNT {
            // Spectral density of the squared-exponential covariance at the sine's frequency.
            let frequency = self.frequency(order);
            let scaled = spread.trend_length_m * frequency;
            let density = spread.trend_sd
                * spread.trend_sd
                * spread.trend_length_m
                * (2.0 * std::f64::consts::PI).sqrt()
                * libm::exp(-0.5 * scaled * scaled);
            variances.push(density.max(VARIANCE_MIN));
        }
        variances.push(square(SIZE_SD_PER_MM));
        variances
    }

    fn frequency(&self, order: usize) -> f64 {
        std::f64::consts::PI * order as f64 / (2.0 * self.domain_m)
    }

    /// The shapes at a place, for a pin of the section's middle size.
    pub fn row(&self, place: Place) -> Vec<f64> {
        let mut shapes = Vec::with_capacity(self.column_count());
        shapes.push(1.0);
        let inside = |section: &Section| section.number == place.section;
        shapes.extend(self.sections.iter().map(|s| if inside(s) { 1.0 } else { 0.0 }));
        shapes.extend(self.sections.iter().map(|section| {
            let along = (place.x_m - section.middle_m) / section.half_m;
            if inside(section) { along.clamp(-1.5, 1.5) } else { 0.0 }
        }));
        let section = self.sections.iter().find(|section| inside(section));
        let shares = section.map_or([(0, 0.0); 2], |section| section.row_shares(place.y_m));
        let share_of = |row: u8| {
            shares.iter().filter(|(of, _)| *of == row).fold(0.0, |sum, (_, share)| sum + share)
        };
        shapes.extend(self.rows.iter().map(|row| share_of(*row)));
        shapes.extend(
            self.section_rows.iter().map(
                |(of, row)| {
                    if *of == place.section { share_of(*row) } else { 0.0 }
                },
            ),
        );
        let scale = 1.0 / self.domain_m.sqrt();
        let from_end = place.x_m - self.middle_m + self.domain_m;
        for order in 1..=TREND_COUNT {
            shapes.push(scale * libm::sin(self.frequency(order) * from_end));
        }
        shapes.push(0.0);
        shapes
    }

    /// The shapes at a pin: its row is what the instrument says, not its depth.
    pub fn row_at_site(&self, site: &Site) -> Vec<f64> {
        let section = self.sections.iter().find(|section| section.number == site.section);
        let depth = section.and_then(|s| s.rows.iter().find(|(row, _)| *row == site.row));
        let y_m = depth.map_or(site.y_m, |(_, depth_m)| *depth_m);
        let mut shapes = self.row(Place { x_m: site.x_m, y_m, section: site.section });
        let middle_um = section.and_then(|section| section.diameter_um);
        if let (Some(diameter_um), Some(middle_um), Some(size)) =
            (site.diameter_um, middle_um, shapes.last_mut())
        {
            let more_mm = 1e-3 * (f64::from(diameter_um) - middle_um);
            *size = more_mm.clamp(-SIZE_MAX_MM, SIZE_MAX_MM);
        }
        shapes
    }

    /// Depths between which the shapes of a section change in proportion, and beyond which they
    /// do not change, metres from the flange, nearest first. Empty for a section without pins.
    pub fn depths_m(&self, section: u8) -> Vec<f64> {
        let section = self.sections.iter().find(|s| s.number == section);
        let mut depths: Vec<f64> =
            section.map_or(Vec::new(), |s| s.rows.iter().map(|(_, depth_m)| *depth_m).collect());
        depths.dedup();
        depths
    }

    /// The shapes at several pins.
    pub fn design<'a>(&self, sites: impl IntoIterator<Item = &'a Site>) -> Design {
        let rows = sites.into_iter().map(|site| self.row_at_site(site));
        Design::from_rows(self.column_count(), rows)
    }
}

/// Least prior variance: its inverse must stay finite.
const VARIANCE_MIN: f64 = 1e-12;

impl Section {
    fn new(number: u8, sites: &[Site]) -> Section {
        let here: Vec<&Site> = sites.iter().filter(|site| site.section == number).collect();
        let (low, high) = span(here.iter().map(|site| site.x_m));
        let mut numbers: Vec<u8> = here.iter().map(|site| site.row).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let mut rows: Vec<(u8, f64)> = numbers
            .into_iter()
            .map(|row| {
                let depths = here.iter().filter(|site| site.row == row).map(|site| site.y_m);
                let (sum, count) = depths.fold((0.0, 0.0), |(s, n), y| (s + y, n + 1.0));
                (row, sum / count)
            })
            .collect();
        rows.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        let half_m = (0.5 * (high - low)).max(0.01);
        let sizes: Vec<f64> = here.iter().filter_map(|s| s.diameter_um).map(f64::from).collect();
        let diameter_um = median(&sizes);
        Section { number, middle_m: 0.5 * (low + high), half_m, rows, diameter_um }
    }

    /// The two rows a depth lies between and their shares, which add up to 1.
    fn row_shares(&self, y_m: f64) -> [(u8, f64); 2] {
        let Some(first) = self.rows.first() else { return [(0, 0.0); 2] };
        let above = self.rows.iter().rposition(|(_, depth_m)| *depth_m <= y_m);
        let Some(above) = above else { return [(first.0, 1.0), (first.0, 0.0)] };
        let (near, near_m) = self.rows[above];
        let Some((far, far_m)) = self.rows.get(above + 1) else {
            return [(near, 1.0), (near, 0.0)];
        };
        // Of rows at one depth the last counts, so the next one is deeper.
        let share = (y_m - near_m) / (far_m - near_m);
        [(near, 1.0 - share), (*far, share)]
    }
}

fn span(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    if low <= high { (low, high) } else { (0.0, 0.0) }
}

#[cfg(test)]
mod tests {
    use super::super::super::gp::squared_exponential;
    use super::super::super::linalg::dot;
    use super::super::super::survey::Survey;
    use super::super::super::test_planks::grand;
    use super::*;

    const SPREAD: BroadSpread = BroadSpread {
        level_sd: 0.5,
        section_sd: 0.2,
        section_slope_sd: 0.05,
        row_sd: 0.03,
        section_row_sd: 0.02,
        trend_sd: 0.1,
        trend_length_m: 0.25,
    };

    fn covariance(basis: &Basis, a: Place, b: Place, spread: &BroadSpread) -> f64 {
        let variances = basis.prior_variances(spread);
        let (a, b) = (basis.row(a), basis.row(b));
        let scaled: Vec<f64> = a.iter().zip(&variances).map(|(x, v)| x * v).collect();
        dot(&scaled, &b)
    }

    #[test]
    fn the_sines_are_the_squared_exponential_trend() {
        let instrument = grand();
        let sites = Survey::new(&instrument, &[]).sites;
        let basis = Basis::new(&sites);
        let zero = BroadSpread {
            level_sd: 0.0,
            section_sd: 0.0,
            section_slope_sd: 0.0,
            row_sd: 0.0,
            section_row_sd: 0.0,
            ..SPREAD
        };
        let place = |x_m| Place { x_m, y_m: 0.0, section: 0 };
        for (a, b) in [(0.1, 0.1), (0.4, 0.5), (0.6, 0.9), (0.02, 0.3), (1.2, 1.29)] {
            let ours = covariance(&basis, place(a), place(b), &zero);
            let exact = squared_exponential(a - b, 0.01, 0.25);
            // Reduced rank: three per cent of the variance over the whole field.
            assert!((ours - exact).abs() < 3e-4, "{a} {b}: {ours} {exact}");
        }
    }

    #[test]
    fn steps_and_rows_correlate_as_they_share() {
        let sites = Survey::new(&grand(), &[]).sites;
        let basis = Basis::new(&sites);
        let only = |section_sd, row_sd| BroadSpread {
            level_sd: 0.0,
            section_sd,
            section_slope_sd: 0.0,
            row_sd,
            section_row_sd: 0.0,
            trend_sd: 0.0,
            ..SPREAD
        };
        let at = |x_m, y_m, section| Place { x_m, y_m, section };
        let same = covariance(&basis, at(0.5, 0.0, 1), at(0.6, 0.042, 1), &only(0.2, 0.0));
        let across = covariance(&basis, at(0.5, 0.0, 1), at(0.9, 0.0, 2), &only(0.2, 0.0));
        assert!((same - 0.04).abs() < 1e-9 && across.abs() < 1e-9);
        let between = covariance(&basis, at(0.5, 0.0105, 1), at(0.9, 0.0, 2), &only(0.0, 0.1));
        assert!((between - 0.005).abs() < 1e-9, "{between}");
    }

    #[test]
    fn a_larger_pin_among_smaller_ones_has_a_shape_of_its_own() {
        let mut instrument = grand();
        for pin in instrument.pins.iter_mut().filter(|pin| pin.section == 2) {
            pin.diameter_um = Some(7_290);
        }
        instrument.pins[40].diameter_um = Some(7_290);
        let sites = Survey::new(&instrument, &[]).sites;
        let basis = Basis::new(&sites);
        let sizes: Vec<f64> =
            sites.iter().map(|site| *basis.row_at_site(site).last().expect("shapes")).collect();
        assert!((sizes[40] - 0.13).abs() < 1e-12);
        // A whole section on larger pins is that section's step.
        assert!(sizes.iter().enumerate().all(|(i, size)| i == 40 || *size == 0.0));
    }

    #[test]
    fn an_instrument_without_pins_has_shapes_all_the_same() {
        let basis = Basis::new(&[]);
        let row = basis.row(Place { x_m: 0.3, y_m: 0.0, section: 4 });
        assert_eq!(row.len(), basis.column_count());
        assert!(row.iter().all(|shape| shape.is_finite()));
    }
}
