//! Benches for the tests: the setup a workshop would have, and what a practice lever makes of it.

use super::bench::{Bench, HandPosition, Mass};
use super::loads::gravity_of_place;
use super::practice::{Model, PracticeLever};
use super::procedure::{Procedure, Setup};
use crate::metrology::Estimate;

/// Six masses and two arms, well measured: 1 g and 0.3 mm at k = 2.
pub(crate) fn setup() -> Setup {
    let mass = |(name, kg): (&str, f64)| Mass {
        name: name.to_owned(),
        mass_kg: Estimate { value: kg, u: 0.000_5 },
    };
    let arm = |(name, m): (&str, f64)| HandPosition {
        name: name.to_owned(),
        arm_m: Estimate { value: m, u: 0.000_15 },
    };
    Setup {
        masses: [("A", 1.0), ("B", 1.0), ("C", 2.0), ("D", 2.0), ("E", 2.0), ("F", 2.0)]
            .map(mass)
            .to_vec(),
        positions: [("grip", 0.25), ("end", 0.3)].map(arm).to_vec(),
        gravity: gravity_of_place(48.0, 400.0),
    }
}

/// The bench a model gives.
pub(crate) fn bench_of(setup: &Setup, model: Model, seed: u64) -> Bench {
    let mut procedure = Procedure::new(setup.clone(), 7, true).unwrap();
    PracticeLever::new(model, seed).finish(&mut procedure, 1_700_000_000_000);
    procedure.bench()
}

/// An honest bench.
pub(crate) fn honest(seed: u64) -> (Model, Bench) {
    let setup = setup();
    let model = Model::drawn(&setup, seed);
    let bench = bench_of(&setup, model.clone(), seed);
    (model, bench)
}
