//! A lever on the calibration bench, behind a port: the firmware core, and weights that someone
//! hangs on it through a shared handle.
//!
//! Deliberately not here: who hangs what when (the host's procedure, or a test), and what it is
//! worth.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use pinhold_lever::log::{FlashLog, RecordLog};
use pinhold_lever::{Identity, Input, Lever};
use pinhold_protocol::units::DeviceTime;
use pinhold_sim::deadweight::Equipment;
use pinhold_sim::hanging::HangingLever;
pub use pinhold_sim::hanging::Placing;
use pinhold_sim::sensors::LeverModel;

use crate::chip::Chip;
use crate::practice::{SAMPLE_PERIOD_NS, inputs_of};
use crate::serve::Served;

/// What a bench practice is made of.
#[derive(Clone, Debug)]
pub struct BenchSetup {
    /// The lever's true properties.
    pub lever: LeverModel,
    /// Weights, arms and gravity as they are stated.
    pub equipment: Equipment,
    /// Seed of everything else.
    pub seed: u64,
    /// Device identity.
    pub device: u64,
}

/// The hands at the bench: put the lever so, from any thread.
#[derive(Clone, Debug)]
pub struct BenchHands(Arc<Mutex<Option<Placing>>>);

impl BenchHands {
    fn new() -> BenchHands {
        BenchHands(Arc::new(Mutex::new(None)))
    }

    fn wish(&self) -> MutexGuard<'_, Option<Placing>> {
        // A wish is whole or not there: a panic on the other side leaves it so.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts the lever so, at the next sample.
    pub fn put(&self, placing: Placing) {
        *self.wish() = Some(placing);
    }
}

/// A lever on the bench. Its log is in simulated flash, so a calibration stored on it stays.
pub struct BenchPractice {
    hanging: HangingLever,
    lever: Lever<FlashLog<Chip>>,
    identity: Identity,
    hands: BenchHands,
    sample_count: u64,
}

impl BenchPractice {
    /// The lever on the square, nothing hanging. With a chip that was used before, the lever finds
    /// what it kept.
    pub fn new(setup: BenchSetup, chip: Chip) -> BenchPractice {
        let identity =
            Identity { device: setup.device, epoch: 1, sample_period_ns: SAMPLE_PERIOD_NS };
        let log = FlashLog::mount(chip, identity.device, identity.epoch);
        BenchPractice {
            hanging: HangingLever::new(setup.lever, setup.equipment, setup.seed),
            lever: Lever::with_log(identity, log),
            identity,
            hands: BenchHands::new(),
            sample_count: 0,
        }
    }

    /// The hands at this bench.
    pub fn hands(&self) -> BenchHands {
        self.hands.clone()
    }

    /// The lever with what hangs on it, for its truth.
    pub fn hanging(&self) -> &HangingLever {
        &self.hanging
    }

    /// Power goes and comes back: whatever the lever did not keep is gone.
    pub fn cut_power(&mut self) {
        let chip = self.lever.log_mut().flash_mut().clone();
        let log = FlashLog::mount(chip, self.identity.device, self.identity.epoch);
        self.lever = Lever::with_log(self.identity, log);
    }

    /// The lever's log, for its truth.
    pub fn log_mut(&mut self) -> &mut impl RecordLog {
        self.lever.log_mut()
    }

    fn now(&self) -> DeviceTime {
        DeviceTime::from_microseconds(self.sample_count * u64::from(SAMPLE_PERIOD_NS / 1000))
    }
}

impl Served for BenchPractice {
    fn pending(&self) -> &[u8] {
        self.lever.pending()
    }

    fn sent(&mut self, byte_count: usize) {
        self.lever.sent(byte_count);
    }

    fn receive(&mut self, bytes: &[u8]) {
        self.lever.step(self.now(), Input::Received(bytes));
    }

    fn step(&mut self) {
        if let Some(placing) = self.hands.wish().take() {
            self.hanging.put(placing);
        }
        let tick = self.hanging.next_sample();
        let (motion, sample) = inputs_of(&tick);
        if let Some(motion) = motion {
            self.lever.step(self.now(), Input::Motion(motion));
        }
        self.sample_count += 1;
        self.lever.step(self.now(), Input::Sample(sample));
    }

    /// Always: a bench waits for its hands, who are on the other side of the port.
    fn is_waiting(&self) -> bool {
        true
    }
}
