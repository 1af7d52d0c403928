//! Adaptive surveys of invented instruments: the same torques handed out pin by pin, and what a
//! full survey of them would say.
//!
//! Deliberately not here: strokes and levers; torques are the truth with a lever's noise.

use std::collections::{BTreeMap, BTreeSet};

use pinhold::analysis::input::{Condition, Estimate, PinReading};
use pinhold::analysis::sampling::{Asked, CONFIDENCE_DEFAULT, Settled, Step, Why, propose, start};
use pinhold::analysis::{Assessment, AssessmentInput, Profile, assess};
use pinhold::cli::demo::{condition_of, instrument_of};
use pinhold::instrument::Instrument;
use pinhold_protocol::record::Pin;
use pinhold_sim::piano::{Fault, Piano, Severity};

/// Relative standard uncertainty of a torque.
pub const RELATIVE_U: f64 = 0.02;
/// More steps than any survey needs.
const STEP_COUNT_MAX: usize = 120;

/// An invented instrument with the reading every pin would give.
pub struct Plank {
    /// The instrument as the host sees it.
    pub instrument: Instrument,
    /// What is known beside torque.
    pub condition: Condition,
    readings: BTreeMap<Pin, PinReading>,
    seed: u64,
}

impl Plank {
    /// Of one seed, fault and severity.
    pub fn new(seed: u64, fault: Fault, severity: Severity) -> Plank {
        Plank::of_piano(seed, &Piano::invent(seed, fault, severity))
    }

    /// Of an invented instrument.
    pub fn of_piano(seed: u64, piano: &Piano) -> Plank {
        let instrument = instrument_of(piano, "Invented");
        let condition = condition_of(&piano.facts);
        let torques = piano.quick_readings(seed, RELATIVE_U);
        let readings = instrument
            .pins
            .iter()
            .zip(&piano.pins)
            .zip(torques)
            .map(|((place, pin), (sharp, flat))| {
                (place.pin, reading(place.pin, pin.moment_at_pitch_nm, sharp, flat))
            })
            .collect();
        Plank { instrument, condition, readings, seed }
    }

    /// Pins it has.
    pub fn count(&self) -> usize {
        self.readings.len()
    }

    /// The readings of these pins, in order of note and string.
    pub fn readings_of(&self, pins: &[Pin]) -> Vec<PinReading> {
        let wanted: BTreeSet<Pin> = pins.iter().copied().collect();
        wanted.iter().filter_map(|pin| self.readings.get(pin).cloned()).collect()
    }

    /// What these readings say.
    pub fn assess(&self, readings: &[PinReading]) -> Assessment {
        let input = AssessmentInput {
            instrument: &self.instrument,
            readings,
            condition: &self.condition,
            seed: self.seed,
        };
        assess(&input, &Profile::default())
    }

    /// What a survey of every pin says.
    pub fn full(&self) -> Assessment {
        let all: Vec<PinReading> = self.readings.values().cloned().collect();
        self.assess(&all)
    }

    /// Runs an adaptive survey to its end: the pins read, in order, and how it ended.
    pub fn adaptive(&self, mut watch: impl FnMut(&Step, usize)) -> (Vec<Pin>, Settled) {
        let mut pins = start(&self.instrument).pins;
        for _ in 0..STEP_COUNT_MAX {
            let readings = self.readings_of(&pins);
            let step = propose(&Asked {
                instrument: &self.instrument,
                readings: &readings,
                condition: &self.condition,
                profile: &Profile::default(),
                confidence: CONFIDENCE_DEFAULT,
                at: pins.last().copied(),
                passed_over: &[],
                seed: self.seed,
            });
            watch(&step, pins.len());
            match step {
                Step::Read(proposal) => {
                    assert_ne!(proposal.why, Why::FirstRound);
                    assert!(!proposal.pins.is_empty(), "a step without pins");
                    assert!(proposal.pins.iter().all(|pin| !pins.contains(pin)));
                    pins.extend(proposal.pins);
                }
                Step::Settled(settled) => return (pins, settled),
            }
        }
        panic!("no end after {STEP_COUNT_MAX} steps");
    }
}

fn reading(pin: Pin, pull: f64, sharp: f64, flat: f64) -> PinReading {
    let u = RELATIVE_U * sharp.abs();
    let friction = 0.5 * (sharp + flat);
    let u_friction = u / 2.0_f64.sqrt();
    PinReading {
        sharp_nm: Some(Estimate { value: sharp, u }),
        flat_nm: Some(Estimate { value: flat, u }),
        friction_nm: Some(Estimate { value: friction, u: u_friction }),
        moment_nm: Some(Estimate { value: 0.5 * (sharp - flat), u: u_friction }),
        holding_factor: Some(Estimate {
            value: friction / pull,
            u: (u_friction / pull).hypot(0.05 * friction / pull),
        }),
        not_holding: flat < 0.0,
        ..PinReading::without_torques(pin, Estimate { value: pull, u: 0.05 * pull })
    }
}
