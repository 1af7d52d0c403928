//! The main loop: everything in a fixed order, then sleep until an interrupt.
//!
//! Deliberately not here: set-up ([`crate::board`]), and any decision about a measurement.
//!
//! Invariants: the lever is called from here only; the watchdog is petted from here only; a power
//! warning reaches the log before the lever is called again.

use cortex_m::interrupt;
use embedded_hal::spi::SpiDevice;
use pinhold_drivers::lamp::Face;
use pinhold_drivers::pump::Pump;
use pinhold_drivers::sensors::Sensors;
use pinhold_lever::log::{FlashLog, RecordLog as _};
use pinhold_lever::{Buttons, Input, Lamp, Lever, Signals};
use pinhold_protocol::units::DeviceTime;

use crate::clock::{BEAT_HZ, Edges, Time, beats};
use crate::flash::Flash;
use crate::link::Link;
use crate::show::{ButtonPins, Show};
use crate::supply::{Dog, Supply, is_power_failing};

/// Bytes from the host handed over at once.
const RECEIVE_BYTES: usize = 64;

/// The core with its time, and what it last said.
pub(crate) struct Core {
    pub(crate) time: Time,
    pub(crate) lever: &'static mut Lever<FlashLog<Flash>>,
    pub(crate) face: Face,
    pub(crate) signals: Signals,
}

impl Core {
    /// The one place that calls the lever.
    pub(crate) fn step(&mut self, input: Input<'_>) {
        let now_us = self.time.now_us();
        let before = self.signals.lamp;
        self.signals = self.lever.step(DeviceTime::from_microseconds(now_us), input);
        self.face.take(now_us, self.signals);
        if self.signals.lamp != before {
            log_lamp(self.signals.lamp);
        }
    }
}

fn log_lamp(lamp: Lamp) {
    match lamp {
        Lamp::Fault(fault) => defmt::error!("self-test: fault {=u8}", fault.code()),
        Lamp::Full => defmt::warn!("log full"),
        Lamp::BatteryLow => defmt::warn!("battery too low to begin a pin"),
        Lamp::Stop => defmt::warn!("torque beyond the stop"),
        _ => {}
    }
}

/// Everything the main loop works with.
pub(crate) struct Board<Bridge, Motion> {
    pub(crate) core: Core,
    pub(crate) edges: Edges,
    pub(crate) pump: Pump,
    pub(crate) sensors: Sensors<Bridge, Motion>,
    pub(crate) link: Link,
    pub(crate) show: Show,
    pub(crate) button_pins: ButtonPins,
    pub(crate) buttons: Buttons,
    pub(crate) supply: Supply,
    pub(crate) dog: Dog,
    /// The log was told that power is failing.
    pub(crate) is_failing_told: bool,
    /// Sensors are switched off.
    pub(crate) is_asleep: bool,
    pub(crate) beats_seen: u32,
    /// Number the next record had when it was last logged.
    pub(crate) record_logged: u32,
}

impl<Bridge: SpiDevice, Motion: SpiDevice> Board<Bridge, Motion> {
    // Not inlined: what set-up had on the stack is not carried along for good.
    #[inline(never)]
    pub(crate) fn run(mut self) -> ! {
        loop {
            self.dog.pet();
            self.take_power_warning();
            let Board { core, edges, pump, sensors, .. } = &mut self;
            pump.run(edges.ready(), sensors, |input| core.step(input));
            self.take_bytes();
            self.take_buttons();
            self.take_beat();
            self.follow_sleep();
            let sent = self.link.send(self.core.lever.pending());
            self.core.lever.sent(sent);
            let (colour, beeps) = self.core.face.at(self.core.time.now_us(), self.core.signals);
            self.show.set(colour, beeps);
            self.log_records();
            self.wait();
        }
    }

    /// Tells the log when power is failing and when it is good again.
    fn take_power_warning(&mut self) {
        let is_failing = is_power_failing();
        if is_failing != self.is_failing_told {
            self.core.lever.log_mut().set_power_failing(is_failing);
            self.is_failing_told = is_failing;
            if is_failing {
                defmt::warn!("supply below 2.8 V: no flash write begins");
            } else {
                defmt::info!("supply good again");
            }
        }
    }

    fn take_bytes(&mut self) {
        let mut bytes = [0; RECEIVE_BYTES];
        let byte_count = self.link.receive(&mut bytes);
        match bytes.get(..byte_count) {
            Some(bytes) if !bytes.is_empty() => self.core.step(Input::Received(bytes)),
            _ => {}
        }
    }

    fn take_buttons(&mut self) {
        let buttons = self.button_pins.read();
        if buttons != self.buttons {
            self.buttons = buttons;
            self.core.step(Input::Buttons(buttons));
        }
    }

    /// On each heartbeat lets time-outs run; once a second tells the supply.
    fn take_beat(&mut self) {
        let beats = beats();
        if beats == self.beats_seen {
            return;
        }
        self.beats_seen = beats;
        self.core.step(Input::Tick);
        if beats.is_multiple_of(BEAT_HZ) {
            let power = self.supply.read();
            self.core.step(Input::Power(power));
            if self.is_failing_told {
                self.supply.look_again();
            }
        }
    }

    /// Switches the sensors off and on as the core says.
    fn follow_sleep(&mut self) {
        if self.core.signals.asleep == self.is_asleep {
            return;
        }
        self.is_asleep = self.core.signals.asleep;
        let answers = if self.is_asleep {
            self.sensors.sleep()
        } else {
            let answers = self.sensors.start();
            self.pump = Pump::starting_at(self.edges.ready());
            answers
        };
        defmt::info!(
            "asleep {=bool}; answered: bridge {=bool}, motion {=bool}",
            self.is_asleep,
            answers.bridge,
            answers.motion
        );
    }

    fn log_records(&mut self) {
        let next = self.core.lever.log_mut().next_number();
        if next != self.record_logged {
            self.record_logged = next;
            defmt::info!("records kept below {=u32}", next);
        }
    }

    /// Sleeps until an interrupt, unless there is something to do already.
    fn wait(&self) {
        // With interrupts masked between the check and the sleep, one that comes in between still
        // ends the sleep.
        interrupt::free(|_| {
            let quiet = self.pump.is_idle(self.edges.ready())
                && self.link.is_quiet()
                && beats() == self.beats_seen
                && is_power_failing() == self.is_failing_told;
            if quiet {
                cortex_m::asm::wfi();
            }
        });
    }
}
