//! What strikes, and how a campaign went, with its denominators.

use std::collections::BTreeMap;
use std::fmt;

use pinhold_protocol::record::Pin;

use crate::ledger::Complaints;

/// What strikes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Blow {
    /// The emulator gets SIGKILL and is started again on the same flash.
    KillEmulator,
    /// The machine is reset.
    ResetEmulator,
    /// The host gets SIGKILL.
    KillHost,
    /// The cable is pulled.
    CutCable,
}

/// Every blow.
pub const BLOWS: [Blow; 4] =
    [Blow::KillEmulator, Blow::ResetEmulator, Blow::KillHost, Blow::CutCable];

/// How it went.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// Blows done, by kind.
    pub blows: BTreeMap<Blow, usize>,
    /// Of which while a pin was in hand.
    pub on_pin_count: usize,
    /// Of which while a reading in flash was not committed.
    pub uncommitted_count: usize,
    /// Ends of the emulator in the middle of a write, as near as can be aimed.
    pub ambush_count: usize,
    /// Pins heard to be accepted, in their order.
    pub accepted: Vec<Pin>,
    /// Pins of the readings in the flash, in their order.
    pub kept: Vec<Pin>,
    /// Readings in the flash.
    pub reading_count: usize,
    /// Numbers used up by torn writes.
    pub lost_number_count: usize,
    /// Readings in the store.
    pub stored_count: usize,
    /// Lives of the host, and those that ended by themselves with their survey done.
    pub host_life_count: usize,
    /// … done.
    pub survey_done_count: usize,
    /// … because no lever answered.
    pub lever_absent_count: usize,
    /// Reads of the port that found nobody there.
    pub hung_up_count: u32,
    /// What is wrong.
    pub complaints: Complaints,
    /// Wall time, seconds.
    pub wall_s: u64,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let blows: Vec<String> =
            self.blows.iter().map(|(blow, count)| format!("{count} {blow:?}")).collect();
        write!(
            f,
            "{} ({} on a pin, {} with a reading not committed, {} in a write); \
             {} host lives, {} surveys done, {} without a lever; {} readings heard accepted, \
             {} in flash ({} numbers torn), {} stored: {}; {} s",
            blows.join(", "),
            self.on_pin_count,
            self.uncommitted_count,
            self.ambush_count,
            self.host_life_count,
            self.survey_done_count,
            self.lever_absent_count,
            self.accepted.len(),
            self.reading_count,
            self.lost_number_count,
            self.stored_count,
            self.complaints,
            self.wall_s,
        )?;
        if self.complaints != Complaints::default() {
            write!(f, "\naccepted: {:?}\nin flash: {:?}", self.accepted, self.kept)?;
        }
        Ok(())
    }
}
