//! Whether the lever may measure, and what it says of its health.
//!
//! Deliberately not here: finding faults ([`crate::selftest`], [`crate::supply`]).

use pinhold_protocol::error::{CommandResult, Fault};
use pinhold_protocol::message::Health;
use pinhold_protocol::units::Torque;

use super::Lever;
use super::keep::SettingsState;
use crate::Lamp;
use crate::log::RecordLog;
use crate::selftest::blocks;

impl<L: RecordLog> Lever<L> {
    /// Bits of all faults that stand.
    pub(super) fn faults(&self) -> u32 {
        let log = self.log.health();
        let newer = log.newer_format || self.settings == SettingsState::Newer;
        let failing = log.failed_count > 0 || self.settings == SettingsState::Broken;
        [
            (Fault::FlashNewer, newer),
            (Fault::FlashFailing, failing),
            (Fault::FlashSmall, !log.large_enough),
            (Fault::BatteryLow, self.supply.is_low()),
        ]
        .iter()
        .fold(
            self.test.faults(),
            |bits, (fault, found)| {
                if *found { bits | fault.bit() } else { bits }
            },
        )
    }

    /// The fault to show: one that blocks before one that does not, the lowest number first.
    pub(super) fn fault_lamp(&self) -> Option<Lamp> {
        let faults = self.faults();
        // Mostly so, and asked for with every bin.
        if faults == 0 {
            return None;
        }
        let stands = |fault: &&Fault| faults & fault.bit() != 0;
        let first = Fault::ALL
            .iter()
            .filter(stands)
            .find(|fault| blocks(**fault))
            .or_else(|| Fault::ALL.iter().find(stands))?;
        Some(match first {
            Fault::BatteryLow => Lamp::BatteryLow,
            other => Lamp::Fault(*other),
        })
    }

    /// Whether a pin may be begun, room in the log aside.
    pub(super) fn check_fit(&self) -> Result<(), CommandResult> {
        self.check_fit_but_for(0)
    }

    /// Whether a zero may be taken: that is how an impossible one is put right.
    pub(super) fn check_fit_to_zero(&self) -> Result<(), CommandResult> {
        self.check_fit_but_for(Fault::ZeroOffLimits.bit())
    }

    fn check_fit_but_for(&self, excepted: u32) -> Result<(), CommandResult> {
        let faults = self.faults() & !excepted;
        if Fault::ALL.iter().any(|fault| faults & fault.bit() != 0 && blocks(*fault)) {
            return Err(CommandResult::NotFit);
        }
        if self.supply.is_low() { Err(CommandResult::BatteryLow) } else { Ok(()) }
    }

    /// How the lever is.
    pub(super) fn health(&self) -> Health {
        let (bridge_period_ns, motion_period_ns) = self.test.periods_ns();
        let power = self.supply.power();
        Health {
            faults: self.faults(),
            tested: self.test.is_done(),
            start: self.board.start,
            battery_mv: power.battery_mv,
            battery_permille: self.supply.permille(),
            battery_minutes: self.supply.minutes(self.board.battery_life_minutes),
            external_power: power.external,
            bridge_period_ns,
            motion_period_ns,
            zero: Torque::from_newton_metres_f32(self.zero_shown_nm).unwrap_or_default(),
            uncommitted_count: self.log.next_number().saturating_sub(self.log.committed().0),
            room_count: self.log.room_count(),
            flash_failed_count: self.log.health().failed_count,
        }
    }
}
