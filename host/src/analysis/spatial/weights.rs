//! Who is whose neighbour, and how much: sparse weights between places.
//!
//! Deliberately not here: neighbours by note or string. Wood knows distances only.
//!
//! Invariants: every index is below the count, every weight is finite and above zero, a row is in
//! order of index and names nobody twice.

use thiserror::Error;

use crate::analysis::stats::median;

/// How far a pin's neighbours reach, in median distances to the nearest pin: on a field read
/// whole (13–14 mm from hole to hole in a row, rows 18–25 mm apart, MEM) some 30 mm, which takes
/// in two holes to either side and the rows beside. Ours (DER).
const REACH_RATIO: f64 = 2.2;

/// Why weights cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum WeightsError {
    /// An index names no place.
    #[error("weight {entry} names place {place}, and there are {count}")]
    NoSuchPlace {
        /// Which entry, from 0.
        entry: usize,
        /// The index it names.
        place: usize,
        /// Places there are.
        count: usize,
    },
    /// A weight is not finite, or negative.
    #[error("weight {entry} is not a finite number of at least 0")]
    NotAWeight {
        /// Which entry, from 0.
        entry: usize,
    },
    /// A pair is given twice.
    #[error("weight {entry} gives a pair that was given before")]
    Twice {
        /// Which entry, from 0.
        entry: usize,
    },
}

/// Weights w(i, j) between places; zero where none is named. Not always symmetric.
#[derive(Clone, Debug, PartialEq)]
pub struct Weights {
    rows: Vec<Vec<(usize, f64)>>,
}

/// Sums of weights that the moments of statistics are made of (Cliff and Ord, *Spatial Processes*,
/// 1981, section 1.4).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sums {
    /// S0: all weights.
    pub(super) s0: f64,
    /// S1: half the squares of w(i, j) + w(j, i).
    pub(super) s1: f64,
    /// S2: squares of row sum + column sum.
    pub(super) s2: f64,
}

impl Weights {
    /// From entries (i, j, weight) among `count` places; weights of zero are left out.
    ///
    /// # Errors
    /// [`WeightsError`] when an entry names no place, is no weight or comes twice.
    ///
    /// ```
    /// use pinhold::analysis::spatial::Weights;
    /// let pair = Weights::from_entries(2, [(0, 1, 1.0), (1, 0, 1.0)]).unwrap();
    /// assert_eq!(pair.neighbours(0), [(1, 1.0)]);
    /// assert!(Weights::from_entries(2, [(0, 2, 1.0)]).is_err());
    /// ```
    pub fn from_entries(
        count: usize,
        entries: impl IntoIterator<Item = (usize, usize, f64)>,
    ) -> Result<Weights, WeightsError> {
        let mut rows = vec![Vec::new(); count];
        for (entry, (from, to, weight)) in entries.into_iter().enumerate() {
            let place = from.max(to);
            if place >= count {
                return Err(WeightsError::NoSuchPlace { entry, place, count });
            }
            if !weight.is_finite() || weight < 0.0 {
                return Err(WeightsError::NotAWeight { entry });
            }
            let row: &mut Vec<(usize, f64)> = &mut rows[from];
            match row.binary_search_by_key(&to, |(place, _)| *place) {
                Ok(_) => return Err(WeightsError::Twice { entry }),
                Err(at) if weight > 0.0 => row.insert(at, (to, weight)),
                Err(_) => {}
            }
        }
        Ok(Weights { rows })
    }

    /// Weight 1 between places at most `distance` apart (in the places' unit), itself left out.
    pub fn within(places: &[[f64; 2]], distance: f64) -> Weights {
        let near = |from: &[f64; 2], to: &[f64; 2]| separation(from, to) <= distance;
        let row = |from: usize| {
            let others = (0..places.len()).filter(|to| *to != from);
            others.filter(|to| near(&places[from], &places[*to])).map(|to| (to, 1.0)).collect()
        };
        Weights { rows: (0..places.len()).map(row).collect() }
    }

    /// Neighbours in a pin field, weight 1, and how far they reach in metres: 2.2 median
    /// distances to the nearest pin, so that a survey of every fourth pin has neighbours too.
    ///
    /// Without two places nobody has neighbours and the reach is 0.
    pub fn of_pin_field(places: &[[f64; 2]]) -> (Weights, f64) {
        let nearest: Vec<f64> = (0..places.len())
            .filter_map(|from| {
                let others = (0..places.len()).filter(|to| *to != from);
                others.map(|to| separation(&places[from], &places[to])).min_by(f64::total_cmp)
            })
            .collect();
        let reach_m = REACH_RATIO * median(&nearest).unwrap_or(0.0);
        (Weights::within(places, reach_m), reach_m)
    }

    /// Each row divided by its sum, so that a place is compared with the mean of its neighbours.
    #[must_use]
    pub fn row_standardised(&self) -> Weights {
        let share = |row: &Vec<(usize, f64)>| {
            let sum = row.iter().fold(0.0, |sum, (_, weight)| sum + weight);
            row.iter().map(|(to, weight)| (*to, weight / sum)).collect()
        };
        Weights { rows: self.rows.iter().map(share).collect() }
    }

    /// How many places there are.
    pub fn count(&self) -> usize {
        self.rows.len()
    }

    /// The neighbours of a place and their weights, in order of index; none beyond the last.
    pub fn neighbours(&self, place: usize) -> &[(usize, f64)] {
        self.rows.get(place).map_or(&[], Vec::as_slice)
    }

    /// Places that have a neighbour.
    pub fn connected_count(&self) -> usize {
        self.rows.iter().filter(|row| !row.is_empty()).count()
    }

    /// w(i, j), zero where none is named.
    pub fn at(&self, from: usize, to: usize) -> f64 {
        let row = self.neighbours(from);
        row.binary_search_by_key(&to, |(place, _)| *place).map_or(0.0, |found| row[found].1)
    }

    /// Sum over j of w(i, j) · value(j), for every i. Values beyond the count are not looked at.
    pub fn lag(&self, values: &[f64]) -> Vec<f64> {
        let row = |row: &Vec<(usize, f64)>| {
            row.iter().fold(0.0, |sum, (to, weight)| {
                sum + weight * values.get(*to).copied().unwrap_or(f64::NAN)
            })
        };
        self.rows.iter().map(row).collect()
    }

    pub(super) fn sums(&self) -> Sums {
        let mut columns = vec![0.0; self.count()];
        let (mut s0, mut s1) = (0.0, 0.0);
        for (from, row) in self.rows.iter().enumerate() {
            for (to, weight) in row {
                columns[*to] += weight;
                s0 += weight;
                // Both orders of a pair are visited when both are named; when only one is, its
                // square stands for the two equal terms of the definition.
                let back = self.at(*to, from);
                let square = (weight + back) * (weight + back);
                s1 += if back > 0.0 { 0.5 * square } else { square };
            }
        }
        let s2 = self.rows.iter().zip(&columns).fold(0.0, |sum, (row, column)| {
            let both = row.iter().fold(*column, |sum, (_, weight)| sum + weight);
            sum + both * both
        });
        Sums { s0, s1, s2 }
    }
}

/// Distance between two places.
pub(super) fn separation(from: &[f64; 2], to: &[f64; 2]) -> f64 {
    libm::hypot(from[0] - to[0], from[1] - to[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_are_the_definitions() {
        let entries = [(0, 1, 2.0), (1, 0, 1.0), (1, 2, 3.0), (2, 0, 0.5)];
        let weights = Weights::from_entries(3, entries).expect("weights");
        let sums = weights.sums();
        let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
        for i in 0..3 {
            let (mut row, mut column) = (0.0, 0.0);
            for j in 0..3 {
                s0 += weights.at(i, j);
                let both = weights.at(i, j) + weights.at(j, i);
                s1 += 0.5 * both * both;
                row += weights.at(i, j);
                column += weights.at(j, i);
            }
            s2 += (row + column) * (row + column);
        }
        assert_eq!((sums.s0, sums.s1, sums.s2), (s0, s1, s2));
    }

    #[test]
    fn what_is_no_weight_is_refused() {
        let made = |entry| Weights::from_entries(2, [(0, 1, 1.0), entry]);
        let missing = WeightsError::NoSuchPlace { entry: 1, place: 7, count: 2 };
        assert_eq!(made((7, 0, 1.0)), Err(missing));
        assert_eq!(made((1, 0, f64::NAN)), Err(WeightsError::NotAWeight { entry: 1 }));
        assert_eq!(made((1, 0, -1.0)), Err(WeightsError::NotAWeight { entry: 1 }));
        assert_eq!(made((0, 1, 1.0)), Err(WeightsError::Twice { entry: 1 }));
        assert_eq!(made((1, 0, 0.0)).map(|weights| weights.connected_count()), Ok(1));
    }

    #[test]
    fn a_pins_neighbours_are_holes_beside_and_in_the_next_rows() {
        // Three straight rows at 13.5 mm, 21 mm apart.
        let places: Vec<[f64; 2]> =
            (0..30).map(|i| [f64::from(i % 10) * 0.0135, f64::from(i / 10) * 0.021]).collect();
        let (weights, reach_m) = Weights::of_pin_field(&places);
        assert!((reach_m - 0.0297).abs() < 1e-9);
        let names = |place: usize| -> Vec<usize> {
            weights.neighbours(place).iter().map(|(to, _)| *to).collect()
        };
        assert_eq!(names(15), [4, 5, 6, 13, 14, 16, 17, 24, 25, 26]);
        // Every second pin of one row: neighbours lie twice as far.
        let sparse: Vec<[f64; 2]> = (0..5).map(|i| [f64::from(i) * 0.027, 0.0]).collect();
        assert_eq!(Weights::of_pin_field(&sparse).0.neighbours(2).len(), 4);
        assert_eq!(Weights::of_pin_field(&[[0.0, 0.0]]).0.connected_count(), 0);
    }
}
