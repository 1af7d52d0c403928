//! What seating the lever anew does to a reading, and what another person does.
//!
//! One-way analysis of variance inside each pin, on friction over the pin's mean friction: groups
//! are people, members their rounds. With S_w the mean square within people and S_b between them,
//! within² = S_w and between² = max(0, (S_b − S_w) / n₀), n₀ the usual mean group size for groups
//! of unequal size. Sums of squares and degrees of freedom add over pins, so pins may differ as
//! they like. Deliberately not here: guiding people through it.

use super::bench::SeatingReading;
use super::characteristics::SeatingResult;

/// Readings taken into account at most.
pub const SEATING_COUNT_MAX: usize = 2_000;

/// Pins asked for.
pub const SEATING_PIN_COUNT: usize = 10;
/// Rounds asked for.
pub const SEATING_ROUND_COUNT: usize = 3;
/// People asked for.
pub const SEATING_PERSON_COUNT: usize = 2;

/// The components; `None` when no person seated the lever twice on any pin, or a friction is not
/// above zero.
pub fn seating(readings: &[SeatingReading]) -> Option<SeatingResult> {
    let good =
        |reading: &SeatingReading| reading.friction_nm.is_finite() && reading.friction_nm > 0.0;
    if readings.len() > SEATING_COUNT_MAX || !readings.iter().all(good) {
        return None;
    }
    let mut sums = Sums::default();
    let pins = distinct(readings.iter().map(|reading| reading.pin));
    for pin in &pins {
        let here: Vec<&SeatingReading> =
            readings.iter().filter(|reading| reading.pin == *pin).collect();
        let groups: Vec<Vec<f64>> = distinct(here.iter().map(|reading| reading.person))
            .into_iter()
            .map(|person| {
                let own = here.iter().filter(|reading| reading.person == person);
                own.map(|reading| reading.friction_nm).collect()
            })
            .collect();
        sums.add(&groups);
    }
    if sums.within_dof == 0 {
        return None;
    }
    let within = sums.within / sums.within_dof as f64;
    let between = if sums.between_dof == 0 || sums.size_sum <= 0.0 {
        0.0
    } else {
        let size = sums.size_sum / sums.between_dof as f64;
        (sums.between / sums.between_dof as f64 - within).max(0.0) / size
    };
    Some(SeatingResult {
        pin_count: pins.len(),
        person_count: distinct(readings.iter().map(|reading| reading.person)).len(),
        reading_count: readings.len(),
        within_relative: within.sqrt(),
        within_degrees_of_freedom: sums.within_dof,
        between_relative: between.sqrt(),
        between_degrees_of_freedom: sums.between_dof,
    })
}

#[derive(Default)]
struct Sums {
    within: f64,
    within_dof: u32,
    between: f64,
    between_dof: u32,
    /// Σ over pins of (N − Σn²/N): over the degrees of freedom it is n₀.
    size_sum: f64,
}

impl Sums {
    /// Adds one pin's groups, each of one person's readings.
    fn add(&mut self, groups: &[Vec<f64>]) {
        let count: usize = groups.iter().map(Vec::len).sum();
        let mean = groups.iter().flatten().sum::<f64>() / count.max(1) as f64;
        let mut squares = 0.0;
        for group in groups {
            let size = group.len() as f64;
            let own = group.iter().sum::<f64>() / size / mean;
            self.within += group.iter().map(|value| square(value / mean - own)).sum::<f64>();
            self.within_dof += group.len() as u32 - 1;
            self.between += size * square(own - 1.0);
            squares += size * size;
        }
        self.between_dof += groups.len() as u32 - 1;
        self.size_sum += count as f64 - squares / count.max(1) as f64;
    }
}

fn square(value: f64) -> f64 {
    value * value
}

fn distinct(values: impl Iterator<Item = usize>) -> Vec<usize> {
    let mut values: Vec<usize> = values.collect();
    values.sort_unstable();
    values.dedup();
    values
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::random::Random;

    fn reading(pin: usize, person: usize, round: usize, friction_nm: f64) -> SeatingReading {
        SeatingReading { pin, person, round, friction_nm, moment_nm: 3.0 }
    }

    #[test]
    fn a_table_worked_by_hand() {
        // One pin, mean 10.
        let readings = [
            reading(0, 0, 0, 8.0),
            reading(0, 0, 1, 10.0),
            reading(0, 1, 0, 10.0),
            reading(0, 1, 1, 12.0),
        ];
        // Relative: (0.8, 1.0), (1.0, 1.2); within SS = 4·0.01 = 0.04 on 2, between SS =
        // 2·(0.1² + 0.1²) = 0.04 on 1; (0.04 − 0.02)/2 = 0.01.
        let result = seating(&readings).unwrap();
        assert!((result.within_relative - 0.02_f64.sqrt()).abs() < 1e-12);
        assert!((result.between_relative - 0.1).abs() < 1e-12);
        assert_eq!((result.within_degrees_of_freedom, result.between_degrees_of_freedom), (2, 1));
    }

    #[test]
    fn components_are_found_on_average() {
        let (mut within, mut between, mut random) = (0.0, 0.0, Random::new(600_900));
        let count = 400;
        for _ in 0..count {
            let mut readings = Vec::new();
            for pin in 0..10 {
                for person in 0..2 {
                    let hand = 1.0 + 0.02 * random.normal();
                    for round in 0..3 {
                        let nm = (5.0 + pin as f64) * hand * (1.0 + 0.01 * random.normal());
                        readings.push(reading(pin, person, round, nm));
                    }
                }
            }
            let result = seating(&readings).unwrap();
            within += result.within_relative * result.within_relative;
            between += result.between_relative * result.between_relative;
        }
        let mean = |sum: f64| (sum / f64::from(count)).sqrt();
        // Standard errors 0.6 % and 2.4 % of 400 tables with 40 and 10 degrees of freedom.
        assert!((mean(within) / 0.01 - 1.0).abs() < 0.03, "{}", mean(within));
        assert!((mean(between) / 0.02 - 1.0).abs() < 0.08, "{}", mean(between));
    }

    #[test]
    fn what_says_nothing_gives_nothing() {
        assert_eq!(seating(&[]), None);
        assert_eq!(seating(&[reading(0, 0, 0, 5.0), reading(1, 0, 0, 6.0)]), None);
        assert_eq!(seating(&[reading(0, 0, 0, 5.0), reading(0, 0, 1, -1.0)]), None);
        assert_eq!(seating(&[reading(0, 0, 0, f64::NAN), reading(0, 0, 1, 1.0)]), None);
        let one = seating(&[reading(0, 0, 0, 5.0), reading(0, 0, 1, 5.0)]).unwrap();
        assert_eq!((one.person_count, one.between_relative), (1, 0.0));
    }
}
