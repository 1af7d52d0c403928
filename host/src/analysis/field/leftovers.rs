//! What the plank's field leaves over, handed to a check that knows nothing of fields.
//!
//! Deliberately not here: the check itself ([`crate::analysis::spatial::check`]).

use super::super::linalg::SquareMatrix;
use super::super::spatial::{ModelCheck, Null, check, leave_one_out_correlation};
use super::plank::PlankField;

impl PlankField {
    /// Checks the map by its leave-one-out residuals, those of sites in `set_aside` (zones already
    /// told, in order) left out. Indices in the result are sites. The same seed gives the same
    /// bits.
    pub fn check(&self, set_aside: &[usize], seed: u64) -> ModelCheck {
        let observed = self.observed_sites();
        let kept: Vec<usize> = (0..observed.len().min(self.window.precision().size()))
            .filter(|i| set_aside.binary_search(&observed[*i]).is_err())
            .collect();
        let places: Vec<[f64; 2]> = kept
            .iter()
            .map(|i| [self.sites[observed[*i]].x_m, self.sites[observed[*i]].y_m])
            .collect();
        let residual = |i: &usize| self.points[observed[*i]].residual_sd.unwrap_or(f64::NAN);
        let z: Vec<f64> = kept.iter().map(residual).collect();
        let whole = leave_one_out_correlation(self.window.precision());
        let correlation =
            SquareMatrix::from_fn(kept.len(), |row, column| whole.at(kept[row], kept[column]));
        let mut found = check(&places, &z, Null::Correlated(&correlation), seed);
        let site = |index: usize| observed[kept[index]];
        found.standing_out.iter_mut().for_each(|pin| pin.index = site(pin.index));
        let spots = found.low_spots.iter_mut().chain(&mut found.high_spots);
        spots.for_each(|index| *index = site(*index));
        found
    }

    /// Sites that were read, in the order of the observations: along the plank.
    fn observed_sites(&self) -> Vec<usize> {
        let read = |site: &usize| self.points[*site].residual_sd.is_some();
        let mut observed: Vec<usize> = (0..self.points.len()).filter(read).collect();
        let x_m = |site: usize| self.sites[site].x_m;
        observed.sort_by(|a, b| x_m(*a).total_cmp(&x_m(*b)).then(a.cmp(b)));
        observed
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::profile::Profile;
    use super::super::super::survey::Survey;
    use super::super::super::test_planks::plank;
    use super::super::{FieldPrior, SoundField};
    use super::*;

    #[test]
    fn leftovers_are_those_of_their_sites() {
        let (instrument, readings) =
            plank(
                41,
                10.0,
                0.10,
                |place, sound, _| {
                    if place.pin.note == 60 && place.row == 1 { 3.0 } else { sound }
                },
            );
        let survey = Survey::new(&instrument, &readings[..readings.len() - 20]);
        let sound = SoundField::fit(&survey, &FieldPrior::default()).expect("observations");
        let field = PlankField::fit(&survey, &sound, &Profile::default()).expect("observations");
        let observed = field.observed_sites();
        assert_eq!(observed.len(), survey.observations.len());
        for (site, spot) in observed.iter().zip(&field.spots) {
            assert_eq!((field.sites[*site].x_m, field.sites[*site].y_m), (spot.x_m, spot.y_m));
        }
        let found = field.check(&[], 3);
        assert_eq!((found.pin_count, found.correlation_known), (observed.len(), true));
        let hole = found.standing_out.first().expect("the hole");
        let site = &field.sites[hole.index];
        assert_eq!((site.pin.note, site.row, hole.shared), (60, 1, false));
        let without = field.check(&[hole.index], 3);
        assert_eq!(without.pin_count, observed.len() - 1);
        assert!(without.standing_out.iter().all(|pin| pin.index != hole.index));
    }
}
