//! Set-up: pins, clocks, sensors, log, lever; then the main loop. And the last words.
//!
//! Deliberately not here: what the loop does (`pinhold_drivers::run`).
//!
//! Invariant: a sensor that does not answer does not keep the lever from starting: its self-test
//! tells which, by lamp and to the host, and what is in the log can still be fetched.

use core::mem::MaybeUninit;
use core::panic::PanicInfo;

use cortex_m::interrupt;
use cortex_m::peripheral::NVIC;
use cortex_m_rt::entry;
use embedded_hal::delay::DelayNs;
use embedded_hal::spi::SpiBus;
use embedded_hal_bus::spi::ExclusiveDevice;
use nrf52840_hal::clocks::Clocks;
use nrf52840_hal::gpio::{Level, p0};
use nrf52840_hal::gpiote::Gpiote;
use nrf52840_hal::pac::{self, Interrupt};
use nrf52840_hal::rng::Rng;
use nrf52840_hal::spim::{self, Frequency, MODE_1, MODE_3, Spim};
use pinhold_drivers::design::{
    BATTERY_LIFE_MINUTES, BRIDGE_PERIOD_NOMINAL_NS, CALIBRATION, MOTION_PERIOD_NOMINAL_NS, SENSORS,
};
use pinhold_drivers::panel::Panel;
use pinhold_drivers::run::Run;
use pinhold_drivers::sensors::Sensors;
use pinhold_drivers::start::{Found, start};
use pinhold_lever::log::{FlashLog, RecordLog as _};
use pinhold_lever::{Identity, Input, Lever};

use crate::clock::{Edges, Time, start_heartbeat};
use crate::flash::Flash;
use crate::hardware::Hardware;
use crate::link::{Link, LinkPins};
use crate::log;
use crate::supply::{Dog, Supply, start_reason};

#[entry]
fn main() -> ! {
    // Taken once, here: `None` cannot be.
    let Some(parts) = pac::Peripherals::take() else { stop() };
    let Some(dog) = Dog::start(parts.WDT) else { stop() };
    let _clocks = Clocks::new(parts.CLOCK).enable_ext_hfosc().start_lfclk();
    let reason = start_reason(&parts.POWER);
    log::info!("start, reason {=u8} (0 power, 1 watchdog, 2 asked, 3 other)", reason as u8);
    let pins = p0::Parts::new(parts.P0);
    let panel = Panel {
        red: pins.p0_28.into_push_pull_output(Level::Low).degrade(),
        green: pins.p0_29.into_push_pull_output(Level::Low).degrade(),
        blue: pins.p0_30.into_push_pull_output(Level::Low).degrade(),
        beeper: pins.p0_31.into_push_pull_output(Level::Low).degrade(),
        go: pins.p0_11.into_pullup_input().degrade(),
        back: pins.p0_12.into_pullup_input().degrade(),
    };
    let link_pins = LinkPins {
        send: pins.p0_06.into_push_pull_output(Level::High).degrade(),
        receive: pins.p0_08.into_floating_input().degrade(),
        request: pins.p0_05.into_push_pull_output(Level::High).degrade(),
        clear: pins.p0_07.into_floating_input().degrade(),
    };

    let bridge_pins = spim::Pins {
        sck: Some(pins.p0_13.into_push_pull_output(Level::Low).degrade()),
        mosi: Some(pins.p0_14.into_push_pull_output(Level::Low).degrade()),
        miso: Some(pins.p0_15.into_floating_input().degrade()),
    };
    // Both buses behind one type: the code that drives them is in flash once.
    let mut bridge_bus = Spim::new(parts.SPIM0, bridge_pins, Frequency::M4, MODE_1, 0);
    let bridge_bus: &mut dyn SpiBus<Error = spim::Error> = &mut bridge_bus;
    let bridge_select = pins.p0_16.into_push_pull_output(Level::High).degrade();
    let bridge = ExclusiveDevice::new(bridge_bus, bridge_select, Spin);

    let motion_pins = spim::Pins {
        sck: Some(pins.p0_19.into_push_pull_output(Level::High).degrade()),
        mosi: Some(pins.p0_20.into_push_pull_output(Level::Low).degrade()),
        miso: Some(pins.p0_21.into_floating_input().degrade()),
    };
    let mut motion_bus = Spim::new(parts.SPIM1, motion_pins, Frequency::M8, MODE_3, 0);
    let motion_bus: &mut dyn SpiBus<Error = spim::Error> = &mut motion_bus;
    let motion_select = pins.p0_22.into_push_pull_output(Level::High).degrade();
    let motion = ExclusiveDevice::new(motion_bus, motion_select, Spin);
    // Raising the selects is what could fail, and on this part cannot.
    let (Ok(bridge), Ok(motion)) = (bridge, motion);

    let gpiote = Gpiote::new(parts.GPIOTE);
    let bridge_ready = pins.p0_17.into_floating_input().degrade();
    gpiote.channel0().input_pin(&bridge_ready).hi_to_lo().enable_interrupt();
    let motion_ready = pins.p0_23.into_floating_input().degrade();
    gpiote.channel2().input_pin(&motion_ready).lo_to_hi().enable_interrupt();
    // A button ends the sleep.
    gpiote.port().input_pin(&panel.go).low();
    gpiote.port().input_pin(&panel.back).low();
    gpiote.port().enable_interrupt();
    let edges = Edges::start(parts.TIMER3, parts.TIMER4, parts.PPI, &gpiote);
    let supply = Supply::start(parts.SAADC, pins.p0_02, parts.POWER);
    start_heartbeat(parts.RTC0);
    let Some(link) = Link::start(parts.UARTE0, link_pins) else { stop() };
    unmask();

    let [low, high] = &parts.FICR.deviceid;
    let (low, high) = (low.read().bits(), high.read().bits());
    let device = u64::from(high) << 32 | u64::from(low);
    let epoch = Rng::new(parts.RNG).random_u32();
    let time = Time::start(parts.TIMER0);
    let mut hardware = Hardware { time, edges, link, panel, supply, dog };
    let mut sensors = Sensors::new(bridge, motion, SENSORS);
    let Found { answers, sample_period_ns, is_connected } = start(&mut hardware, &mut sensors);
    log::info!("bridge {=bool}, motion {=bool} answered", answers.bridge, answers.motion);
    log::info!("period {=u32} ns, torque cell connected {}", sample_period_ns, is_connected);
    let identity = Identity { device, epoch, sample_period_ns };
    let board = pinhold_lever::Board {
        start: reason,
        battery_life_minutes: BATTERY_LIFE_MINUTES,
        bridge_period_nominal_ns: BRIDGE_PERIOD_NOMINAL_NS,
        motion_period_nominal_ns: MOTION_PERIOD_NOMINAL_NS,
    };
    let Some(lever) = place(identity, Flash::new(parts.NVMC), board) else { stop() };
    let (epoch, next) = (lever.log_mut().epoch(), lever.log_mut().next_number());
    log::info!("log epoch {=u32}, next record {=u32}", epoch, next);
    let mut run = Run::new(hardware, sensors, lever);
    if let Some(connected) = is_connected {
        run.step(Input::Bridge { connected });
    }
    run.run()
}

/// Builds the log and the lever in its place for good: it is too large to be handed about on the
/// stack, and in a function of its own what is put together on the way is off the stack afterwards.
#[inline(never)]
fn place(
    identity: Identity,
    flash: Flash,
    board: pinhold_lever::Board,
) -> Option<&'static mut Lever<FlashLog<Flash>>> {
    let place =
        cortex_m::singleton!(: MaybeUninit<Lever<FlashLog<Flash>>> = MaybeUninit::uninit())?;
    let log = FlashLog::mount(flash, identity.device, identity.epoch);
    let lever = place.write(Lever::with_log(identity, log));
    lever.set_calibration(CALIBRATION);
    lever.set_board(board);
    Some(lever)
}

fn unmask() {
    let all = [Interrupt::GPIOTE, Interrupt::UARTE0_UART0, Interrupt::RTC0, Interrupt::POWER_CLOCK];
    for interrupt in all {
        // SAFETY: the handlers share only atomics and a mutex with the main loop, and nothing
        // relies on these interrupts being masked.
        unsafe { NVIC::unmask(interrupt) };
    }
}

/// Delays within a bus transaction, which no driver here asks for; by counting cycles of 64 MHz.
struct Spin;

impl DelayNs for Spin {
    fn delay_ns(&mut self, duration_ns: u32) {
        cortex_m::asm::delay(duration_ns / 15 + 1);
    }
}

/// Stands still until the watchdog resets the part, which then tells it as its reason.
fn stop() -> ! {
    interrupt::disable();
    loop {
        cortex_m::asm::wfi();
    }
}

// Nothing is logged from here: the logger itself may be what panicked.
#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    // Keeps the places that can panic in the ELF, where the runner reads them.
    core::hint::black_box(info.location());
    stop()
}
