//! The main loop of every board: everything in a fixed order, then sleep until an interrupt.
//!
//! Deliberately not here: registers and pins ([`Hardware`] is what a board brings), and any
//! decision about a measurement (the lever's core).
//!
//! Invariants: the lever is called from here only; the watchdog is petted from here only, once in
//! a round; a power warning reaches the log before the lever is called again.

use embedded_hal::spi::SpiDevice;
use pinhold_lever::log::RecordLog;
use pinhold_lever::{Buttons, Input, Lamp, Lever, Power, Signals};
use pinhold_protocol::units::DeviceTime;

use crate::lamp::{Colour, Face};
use crate::pump::{Pump, Ready};
use crate::sensors::{Answers, Sensors};

/// Heartbeats a second: enough for a blink, few enough to sleep in.
pub const BEAT_HZ: u32 = 32;
/// Bytes from the host handed over at once.
const RECEIVE_BYTES: usize = 64;

/// What a board logs for a debug probe, if it likes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// The lamp shows something else.
    Lamp(Lamp),
    /// The log was told that power is failing, or good again.
    PowerFailing(bool),
    /// Sensors were switched off or on, and which of them answered.
    Asleep(bool, Answers),
    /// All records below this number are kept.
    RecordsBelow(u32),
}

/// What a board brings. Nothing in it waits, except [`Hardware::wait`].
pub trait Hardware {
    /// Microseconds since power-up, against the crystal.
    fn now_us(&mut self) -> u64;

    /// How often each data-ready line fell or rose, none lost.
    fn ready(&self) -> Ready;

    /// Heartbeats so far, [`BEAT_HZ`] a second, wrapping; they go on while asleep.
    fn beat_count(&self) -> u32;

    /// Moves received bytes into `buffer`; returns how many.
    fn receive(&mut self, buffer: &mut [u8]) -> usize;

    /// Whether no received byte waits.
    fn is_link_quiet(&self) -> bool;

    /// Starts sending the front of `bytes` if the line is free; returns how many it took.
    fn send(&mut self, bytes: &[u8]) -> usize;

    /// The buttons' levels as they are, bouncing included.
    fn buttons(&mut self) -> Buttons;

    /// Battery and power from outside; asked once a second.
    fn power(&mut self) -> Power;

    /// Whether the supply has fallen so low that it may go, and was not found good since.
    fn is_power_failing(&self) -> bool;

    /// Lights the lamp and sounds the beeper, or not.
    fn show(&mut self, colour: Colour, beeps: bool);

    /// Not hung.
    fn pet(&mut self);

    /// Sleeps until an interrupt if `is_idle` says so, asked with interrupts held back, so that
    /// one that comes in between still ends the sleep.
    fn wait(&mut self, is_idle: impl FnOnce(&Self) -> bool);

    /// Something worth a line in the board's log.
    fn tell(&mut self, _event: Event) {}
}

/// A board at work.
pub struct Run<H, Bridge, Motion, L: 'static> {
    hardware: H,
    sensors: Sensors<Bridge, Motion>,
    lever: &'static mut Lever<L>,
    face: Face,
    signals: Signals,
    pump: Pump,
    buttons: Buttons,
    is_failing_told: bool,
    is_asleep: bool,
    beats_seen: u32,
    records_told: u32,
}

/// Calls the lever: the one place that does.
fn step<H: Hardware, L: RecordLog>(
    hardware: &mut H,
    lever: &mut Lever<L>,
    face: &mut Face,
    signals: &mut Signals,
    input: Input<'_>,
) {
    let now_us = hardware.now_us();
    let before = signals.lamp;
    *signals = lever.step(DeviceTime::from_microseconds(now_us), input);
    face.take(now_us, *signals);
    if signals.lamp != before {
        hardware.tell(Event::Lamp(signals.lamp));
    }
}

impl<H, Bridge, Motion, L> Run<H, Bridge, Motion, L>
where
    H: Hardware,
    Bridge: SpiDevice,
    Motion: SpiDevice,
    L: RecordLog,
{
    /// With sensors that were started just now.
    pub fn new(
        hardware: H,
        sensors: Sensors<Bridge, Motion>,
        lever: &'static mut Lever<L>,
    ) -> Self {
        let beats_seen = hardware.beat_count();
        Run {
            pump: Pump::starting_at(hardware.ready()),
            hardware,
            sensors,
            lever,
            face: Face::new(),
            signals: Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false },
            buttons: Buttons::default(),
            is_failing_told: false,
            is_asleep: false,
            beats_seen,
            records_told: 0,
        }
    }

    /// Hands the lever an input, as what was found out at start.
    pub fn step(&mut self, input: Input<'_>) {
        let Run { hardware, lever, face, signals, .. } = self;
        step(hardware, lever, face, signals, input);
    }

    // Not inlined: what set-up had on the stack is not carried along for good.
    /// Works for good.
    #[inline(never)]
    pub fn run(mut self) -> ! {
        loop {
            self.round();
            let Run { hardware, pump, beats_seen, is_failing_told, .. } = &mut self;
            hardware.wait(|hardware| {
                pump.is_idle(hardware.ready())
                    && hardware.is_link_quiet()
                    && hardware.beat_count() == *beats_seen
                    && hardware.is_power_failing() == *is_failing_told
            });
        }
    }

    /// Once everything, in order.
    fn round(&mut self) {
        self.hardware.pet();
        self.take_power_warning();
        let ready = self.hardware.ready();
        let Run { hardware, sensors, lever, face, signals, pump, .. } = self;
        pump.run(ready, sensors, |input| step(hardware, lever, face, signals, input));
        self.take_bytes();
        self.take_buttons();
        self.take_beat();
        self.follow_sleep();
        let sent = self.hardware.send(self.lever.pending());
        self.lever.sent(sent);
        let (colour, beeps) = self.face.at(self.hardware.now_us(), self.signals);
        self.hardware.show(colour, beeps);
        self.tell_records();
    }

    /// Tells the log when power is failing and when it is good again.
    fn take_power_warning(&mut self) {
        let is_failing = self.hardware.is_power_failing();
        if is_failing != self.is_failing_told {
            self.lever.log_mut().set_power_failing(is_failing);
            self.is_failing_told = is_failing;
            self.hardware.tell(Event::PowerFailing(is_failing));
        }
    }

    fn take_bytes(&mut self) {
        let mut bytes = [0; RECEIVE_BYTES];
        let byte_count = self.hardware.receive(&mut bytes);
        match bytes.get(..byte_count) {
            Some(bytes) if !bytes.is_empty() => self.step(Input::Received(bytes)),
            _ => {}
        }
    }

    fn take_buttons(&mut self) {
        let buttons = self.hardware.buttons();
        if buttons != self.buttons {
            self.buttons = buttons;
            self.step(Input::Buttons(buttons));
        }
    }

    /// On each heartbeat lets time-outs run; once a second tells the supply.
    fn take_beat(&mut self) {
        let beats = self.hardware.beat_count();
        let before = core::mem::replace(&mut self.beats_seen, beats);
        if beats == before {
            return;
        }
        self.step(Input::Tick);
        // Also where a round took so long that the beat on the second was not seen.
        if beats / BEAT_HZ != before / BEAT_HZ {
            let power = self.hardware.power();
            self.step(Input::Power(power));
        }
    }

    /// Switches the sensors off and on as the core says.
    fn follow_sleep(&mut self) {
        if self.signals.asleep == self.is_asleep {
            return;
        }
        self.is_asleep = self.signals.asleep;
        let answers = if self.is_asleep {
            self.sensors.sleep()
        } else {
            let answers = self.sensors.start();
            self.pump = Pump::starting_at(self.hardware.ready());
            answers
        };
        self.hardware.tell(Event::Asleep(self.is_asleep, answers));
    }

    fn tell_records(&mut self) {
        let next = self.lever.log_mut().next_number();
        if next != self.records_told {
            self.records_told = next;
            self.hardware.tell(Event::RecordsBelow(next));
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::mock::{Exchange, device};
    use crate::sensors::tests::{BRIDGE_START, MOTION_START, SETTINGS, done};
    use embedded_hal_mock::eh1::spi::Mock;
    use pinhold_lever::Identity;
    use pinhold_lever::log::RamLog;
    use pinhold_protocol::message::{FromHost, Greet};

    /// Hardware that is told what there is and remembers what was done.
    #[derive(Default)]
    pub(crate) struct Fake {
        /// Time that passes from one look at the clock to the next.
        pub(crate) look_us: u64,
        pub(crate) look_count: u64,
        /// Period of conversions; 0 where none come.
        pub(crate) bridge_period_us: u64,
        beat_count: u32,
        received: Vec<u8>,
        sent: Vec<u8>,
        buttons: Buttons,
        is_failing: bool,
        pet_count: u32,
        power_count: u32,
        shown: Vec<Colour>,
        told: Vec<Event>,
    }

    impl Hardware for Fake {
        fn now_us(&mut self) -> u64 {
            self.look_count += 1;
            u64::from(self.beat_count) * 31_250 + self.look_count * self.look_us
        }
        fn ready(&self) -> Ready {
            let count = (self.look_count * self.look_us).checked_div(self.bridge_period_us);
            Ready { bridge_count: count.unwrap_or(0) as u32, motion_count: 0 }
        }
        fn beat_count(&self) -> u32 {
            self.beat_count
        }
        fn receive(&mut self, buffer: &mut [u8]) -> usize {
            let count = buffer.len().min(self.received.len());
            let bytes = self.received.drain(..count);
            buffer.iter_mut().zip(bytes).for_each(|(slot, byte)| *slot = byte);
            count
        }
        fn is_link_quiet(&self) -> bool {
            self.received.is_empty()
        }
        fn send(&mut self, bytes: &[u8]) -> usize {
            let count = bytes.len().min(7);
            self.sent.extend_from_slice(&bytes[..count]);
            count
        }
        fn buttons(&mut self) -> Buttons {
            self.buttons
        }
        fn power(&mut self) -> Power {
            self.power_count += 1;
            Power { battery_mv: Some(3900), external: false }
        }
        fn is_power_failing(&self) -> bool {
            self.is_failing
        }
        fn show(&mut self, colour: Colour, _beeps: bool) {
            self.shown.push(colour);
        }
        fn pet(&mut self) {
            self.pet_count += 1;
        }
        fn wait(&mut self, is_idle: impl FnOnce(&Self) -> bool) {
            assert!(is_idle(self));
        }
        fn tell(&mut self, event: Event) {
            self.told.push(event);
        }
    }

    fn run(
        bridge: &[Exchange<'_>],
        motion: &[Exchange<'_>],
    ) -> Run<Fake, Mock<u8>, Mock<u8>, RamLog> {
        let identity = Identity { device: 7, epoch: 3, sample_period_ns: 1_000_000 };
        let sensors = Sensors::new(device(bridge), device(motion), SETTINGS);
        Run::new(Fake::default(), sensors, Box::leak(Box::new(Lever::new(identity))))
    }

    #[test]
    fn a_host_that_greets_is_answered_a_part_at_a_time() {
        let mut run = run(&[], &[]);
        let greet = FromHost::Greet(Greet { protocol_min: 0, protocol_max: 255, calendar_ms: 1 });
        let mut wire = [0; 600];
        let length = greet.encode(1, &mut wire).expect("room");
        run.hardware.received.extend_from_slice(&wire[..length]);
        for _ in 0..40 {
            run.round();
        }
        assert!(run.lever.pending().is_empty());
        let sent = &run.hardware.sent;
        assert!(sent.len() > 7 && sent.last() == Some(&0), "{sent:?}");
        assert_eq!(run.hardware.pet_count, 40);
        assert_eq!(run.hardware.shown.len(), 40);
        done(run.sensors);
    }

    #[test]
    fn supply_is_told_once_a_second_even_where_beats_were_skipped() {
        let mut run = run(&[], &[]);
        for beat in [1, 2, 31, 33, 34, 63, 100, 127] {
            run.hardware.beat_count = beat;
            run.round();
            run.round();
        }
        assert_eq!(run.hardware.power_count, 2);
        done(run.sensors);
    }

    #[test]
    fn a_power_warning_and_its_end_are_told_once_each() {
        let mut run = run(&[], &[]);
        for is_failing in [false, true, true, false, false] {
            run.hardware.is_failing = is_failing;
            run.round();
        }
        let told = &run.hardware.told;
        assert_eq!(told[..], [Event::PowerFailing(true), Event::PowerFailing(false)]);
        done(run.sensors);
    }

    #[test]
    fn sleep_switches_the_sensors_off_and_waking_starts_them_anew() {
        let bridge: Vec<_> = [Exchange::Write(&[0x02])].into_iter().chain(BRIDGE_START).collect();
        let motion: Vec<_> =
            [Exchange::Write(&[0x10, 0, 0])].into_iter().chain(MOTION_START).collect();
        let mut run = run(&bridge, &motion);
        run.signals.asleep = true;
        run.round();
        run.round();
        assert_eq!(run.hardware.shown, [Colour::OFF; 2]);
        run.signals.asleep = false;
        run.round();
        let both = Answers { bridge: true, motion: true };
        let told = &run.hardware.told;
        assert_eq!(told[..], [Event::Asleep(true, both), Event::Asleep(false, both)]);
        done(run.sensors);
    }

    #[test]
    fn levels_of_the_buttons_are_handed_on_when_they_change() {
        let mut run = run(&[], &[]);
        run.hardware.buttons.go = true;
        run.round();
        assert!(run.buttons.go);
        done(run.sensors);
    }
}
