//! Battery, power from outside, the warning that power is failing, why the part started, and the
//! watchdog.
//!
//! Deliberately not here: what a voltage means (the lever's core).
//!
//! Invariant: the warning is taken by interrupt and stays until the supply was measured good again.

use core::sync::atomic::{AtomicBool, Ordering};

use nrf52840_hal::gpio::{Disconnected, p0::P0_02};
use nrf52840_hal::pac::{POWER, SAADC, WDT, interrupt};
use nrf52840_hal::saadc::{Gain, InternalVdd, Oversample, Reference, Resistor, Resolution};
use nrf52840_hal::saadc::{Saadc, SaadcConfig, Time};
use nrf52840_hal::wdt::{Parts, Watchdog, WatchdogHandle, count, handles::Hdl0};
use pinhold_drivers::design::{CELL, SUPPLY, SUPPLY_GOOD_MV};
use pinhold_lever::Power;
use pinhold_protocol::message::Start;

static POWER_FAILING: AtomicBool = AtomicBool::new(false);

/// Whether the supply fell below the comparator and was not found good since.
pub(crate) fn is_power_failing() -> bool {
    POWER_FAILING.load(Ordering::Acquire)
}

/// What measures and watches the supply.
pub(crate) struct Supply {
    converter: Saadc,
    cell: P0_02<Disconnected>,
    power: POWER,
}

impl Supply {
    /// Sets up the converter and the power-fail comparator: 2.8 V on a supply of 3.3 V, the highest
    /// it has.
    pub(crate) fn start(converter: SAADC, cell: P0_02<Disconnected>, power: POWER) -> Supply {
        let range = SaadcConfig {
            resolution: Resolution::_12BIT,
            oversample: Oversample::OVER8X,
            reference: Reference::INTERNAL,
            gain: Gain::GAIN1_6,
            resistor: Resistor::BYPASS,
            time: Time::_40US,
        };
        power.pofcon.write(|w| w.pof().enabled().threshold().v28());
        power.events_pofwarn.reset();
        power.intenset.write(|w| w.pofwarn().set());
        Supply { converter: Saadc::new(converter, range), cell, power }
    }

    /// Battery and power from outside; after a warning also looks whether the supply is good again.
    pub(crate) fn read(&mut self) -> Power {
        if is_power_failing() {
            self.look_again();
        }
        let code = self.converter.read_channel(&mut self.cell).ok();
        Power {
            battery_mv: code.map(|code| CELL.millivolts(code)),
            external: self.power.usbregstatus.read().vbusdetect().is_vbus_present(),
        }
    }

    /// Measures the supply after a warning; takes the warning back where it is good again.
    fn look_again(&mut self) {
        let good = self
            .converter
            .read_channel(&mut InternalVdd)
            .is_ok_and(|code| SUPPLY.millivolts(code) >= SUPPLY_GOOD_MV);
        if good {
            POWER_FAILING.store(false, Ordering::Release);
        }
    }
}

/// Why the part started; forgets it, so that the next start tells its own reason.
pub(crate) fn start_reason(power: &POWER) -> Start {
    let reason = power.resetreas.read();
    // SAFETY: any value is valid; bits written 1 are cleared.
    power.resetreas.write(|w| unsafe { w.bits(reason.bits()) });
    if reason.bits() == 0 {
        Start::PowerOn
    } else if reason.dog().is_detected() || reason.lockup().is_detected() {
        // A stack that ran off the RAM locks the processor up, which is a hang too.
        Start::Watchdog
    } else if reason.sreq().is_detected() {
        Start::Asked
    } else {
        Start::Other
    }
}

#[interrupt]
fn POWER_CLOCK() {
    // SAFETY: only this handler touches the event register once interrupts are on.
    unsafe { &*POWER::ptr() }.events_pofwarn.reset();
    POWER_FAILING.store(true, Ordering::Release);
}

/// Seconds without a pet after which the part is reset. The log may erase pages one after the
/// other between pins, at worst all 61 of records and 3 of state at 87 ms: 5.6 s (DER).
const WATCHDOG_S: u32 = 8;

/// The watchdog; it cannot be stopped once started, counts through every sleep and pauses while a
/// debug probe holds the processor.
pub(crate) struct Dog {
    handle: WatchdogHandle<Hdl0>,
}

impl Dog {
    /// Starts it, or takes over the one that a soft reset left running; `None` when that one was
    /// started otherwise.
    pub(crate) fn start(watchdog: WDT) -> Option<Dog> {
        let Parts { handles: (handle,), .. } = match Watchdog::try_new(watchdog) {
            Ok(mut idle) => {
                idle.set_lfosc_ticks(WATCHDOG_S * nrf52840_hal::clocks::LFCLK_FREQ);
                idle.run_during_sleep(true);
                idle.run_during_debug_halt(false);
                idle.activate::<count::One>()
            }
            Err(running) => Watchdog::try_recover::<count::One>(running).ok()?,
        };
        Some(Dog { handle })
    }

    /// Not hung. Only the main loop says so.
    pub(crate) fn pet(&mut self) {
        self.handle.pet();
    }
}
