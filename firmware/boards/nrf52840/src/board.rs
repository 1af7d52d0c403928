//! Set-up, the main loop and the last words.

use core::panic::PanicInfo;

use cortex_m::interrupt;
use cortex_m::peripheral::NVIC;
use cortex_m_rt::entry;
use embedded_hal::spi::SpiDevice;
use embedded_hal_bus::spi::ExclusiveDevice;
use nrf52840_hal::clocks::Clocks;
use nrf52840_hal::gpio::{Level, p0};
use nrf52840_hal::gpiote::Gpiote;
use nrf52840_hal::pac::{self, Interrupt};
use nrf52840_hal::rng::Rng;
use nrf52840_hal::spim::{self, Frequency, MODE_1, MODE_3, Spim};
use nrf52840_hal::timer::{Periodic, Timer};
use pinhold_drivers::clock::{WideClock, elapsed_us};
use pinhold_lever::{Identity, Input, Lever, Signals};
use pinhold_protocol::units::DeviceTime;

use crate::link::{Link, LinkPins};
use crate::sensors::{CALIBRATION, Sensors, conversion_count};
use crate::show::{Show, WHITE};

/// Conversions counted to measure their period: 1 µs in 256 ms is 4 parts per million.
const PERIOD_CONVERSIONS: u32 = 256;
/// Longest time they may take, microseconds.
const PERIOD_US_MAX: u32 = 1_000_000;
/// Samples between looks at attitude and temperature.
const MOTION_SAMPLES: u32 = 64;
/// Bytes from the host handed over at once.
const RECEIVE_BYTES: usize = 64;

/// One microsecond counter made wide.
struct Time {
    // Wraps a microsecond early once in 71 minutes; nothing here measures that long.
    timer: Timer<pac::TIMER0, Periodic>,
    wide: WideClock,
}

impl Time {
    fn start(timer: pac::TIMER0) -> Time {
        let mut timer = Timer::periodic(timer);
        timer.start(u32::MAX);
        Time { wide: WideClock::starting_at(timer.read()), timer }
    }

    fn now_us(&mut self) -> u64 {
        self.wide.advance(self.timer.read())
    }
}

/// Everything the main loop works with.
struct Board<Bridge, Motion> {
    time: Time,
    sensors: Sensors<Bridge, Motion>,
    link: Link,
    show: Show,
    lever: Lever,
    signals: Signals,
    conversions_seen: u32,
    samples_to_motion: u32,
}

impl<Bridge: SpiDevice, Motion: SpiDevice> Board<Bridge, Motion> {
    fn step(&mut self, input: Input<'_>) {
        let now_us = self.time.now_us();
        self.signals = self.lever.step(DeviceTime::from_microseconds(now_us), input);
        self.show.signals(now_us, self.signals);
    }

    /// What the sensors have, if a conversion is done.
    fn samples(&mut self) {
        let count = conversion_count();
        let new = count.wrapping_sub(self.conversions_seen);
        if new == 0 {
            return;
        }
        self.conversions_seen = count;
        if self.samples_to_motion == 0 {
            if let Some(motion) = self.sensors.motion() {
                self.step(Input::Motion(motion));
            }
            self.samples_to_motion = MOTION_SAMPLES;
        }
        self.samples_to_motion = self.samples_to_motion.saturating_sub(new);
        let sample = self.sensors.sample();
        let missed = if sample.is_some() { new - 1 } else { new };
        if missed > 0 {
            self.step(Input::Missed(missed));
        }
        if let Some(sample) = sample {
            self.step(Input::Sample(sample));
        }
    }

    fn run(mut self) -> ! {
        loop {
            self.samples();
            let mut bytes = [0; RECEIVE_BYTES];
            let byte_count = self.link.receive(&mut bytes);
            match bytes.get(..byte_count) {
                Some(bytes) if !bytes.is_empty() => self.step(Input::Received(bytes)),
                _ => {}
            }
            let sent = self.link.send(self.lever.pending());
            self.lever.sent(sent);
            let seen = self.conversions_seen;
            // With interrupts masked between the check and the sleep, one that comes in between
            // still ends the sleep.
            interrupt::free(|_| {
                if conversion_count() == seen && self.link.is_quiet() {
                    cortex_m::asm::wfi();
                }
            });
        }
    }
}

/// Measures the period of conversions against the crystal, nanoseconds.
fn sample_period_ns(time: &Time) -> Option<u32> {
    let wait_from = time.timer.read();
    let first = conversion_count();
    let mut started = None;
    while elapsed_us(wait_from, time.timer.read()) < PERIOD_US_MAX {
        let count = conversion_count().wrapping_sub(first);
        match started {
            None if count > 0 => started = Some((count, time.timer.read())),
            Some((start_count, start)) if count - start_count >= PERIOD_CONVERSIONS => {
                let elapsed_ns = u64::from(elapsed_us(start, time.timer.read())) * 1000;
                let period_ns = elapsed_ns / u64::from(count - start_count);
                return u32::try_from(period_ns).ok();
            }
            _ => {}
        }
    }
    None
}

#[entry]
fn main() -> ! {
    // Taken once, here: `None` cannot be.
    let Some(parts) = pac::Peripherals::take() else { stop() };
    let _clocks = Clocks::new(parts.CLOCK).enable_ext_hfosc();
    let pins = p0::Parts::new(parts.P0);
    let mut show = Show {
        lamp: [
            pins.p0_28.into_push_pull_output(Level::Low).degrade(),
            pins.p0_29.into_push_pull_output(Level::Low).degrade(),
            pins.p0_30.into_push_pull_output(Level::Low).degrade(),
        ],
        beeper: pins.p0_31.into_push_pull_output(Level::Low).degrade(),
        beep_ends_us: 0,
    };
    let time = Time::start(parts.TIMER0);

    let bridge_pins = spim::Pins {
        sck: Some(pins.p0_13.into_push_pull_output(Level::Low).degrade()),
        mosi: Some(pins.p0_14.into_push_pull_output(Level::Low).degrade()),
        miso: Some(pins.p0_15.into_floating_input().degrade()),
    };
    let bridge_bus = Spim::new(parts.SPIM0, bridge_pins, Frequency::M4, MODE_1, 0);
    let bridge_select = pins.p0_16.into_push_pull_output(Level::High);
    let bridge = ExclusiveDevice::new(bridge_bus, bridge_select, Timer::one_shot(parts.TIMER1));

    let motion_pins = spim::Pins {
        sck: Some(pins.p0_19.into_push_pull_output(Level::High).degrade()),
        mosi: Some(pins.p0_20.into_push_pull_output(Level::Low).degrade()),
        miso: Some(pins.p0_21.into_floating_input().degrade()),
    };
    let motion_bus = Spim::new(parts.SPIM1, motion_pins, Frequency::M8, MODE_3, 0);
    let motion_select = pins.p0_22.into_push_pull_output(Level::High);
    let motion = ExclusiveDevice::new(motion_bus, motion_select, Timer::one_shot(parts.TIMER2));

    let link_pins = LinkPins {
        send: pins.p0_06.into_push_pull_output(Level::High).degrade(),
        receive: pins.p0_08.into_floating_input().degrade(),
        request: pins.p0_05.into_push_pull_output(Level::High).degrade(),
        clear: pins.p0_07.into_floating_input().degrade(),
    };
    let data_ready = pins.p0_17.into_floating_input().degrade();
    let gpiote = Gpiote::new(parts.GPIOTE);
    gpiote.channel0().input_pin(&data_ready).hi_to_lo().enable_interrupt();

    // Raising the selects is what could fail, and on this part cannot.
    let (Ok(bridge), Ok(motion)) = (bridge, motion);
    let Some(sensors) = Sensors::start(bridge, motion) else { dead(&mut show) };
    let Some(link) = Link::start(parts.UARTE0, link_pins) else { dead(&mut show) };
    // SAFETY: the handlers share only atomics and a mutex with the main loop, and nothing relies
    // on these interrupts being masked.
    unsafe {
        NVIC::unmask(Interrupt::GPIOTE);
        NVIC::unmask(Interrupt::UARTE0_UART0);
    }
    let Some(sample_period_ns) = sample_period_ns(&time) else { dead(&mut show) };

    let [low, high] = &parts.FICR.deviceid;
    let (low, high) = (low.read().bits(), high.read().bits());
    let identity = Identity {
        device: u64::from(high) << 32 | u64::from(low),
        // Readings live in RAM, so every power-up starts a new log.
        epoch: Rng::new(parts.RNG).random_u32(),
        sample_period_ns,
    };
    let mut lever = Lever::new(identity).with_calibration(CALIBRATION);
    let mut time = time;
    let now = DeviceTime::from_microseconds(time.now_us());
    let signals = lever.step(now, Input::Tick);
    let conversions_seen = conversion_count();
    let samples_to_motion = 0;
    Board { time, sensors, link, show, lever, signals, conversions_seen, samples_to_motion }.run()
}

/// A lever without its sensors or its link: white lamp, for good.
fn dead(show: &mut Show) -> ! {
    show.colour(WHITE);
    stop()
}

fn stop() -> ! {
    interrupt::disable();
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    // Keeps the places that can panic in the ELF, where the runner reads them.
    core::hint::black_box(info.location());
    stop()
}
