//! Time, the count of both sensors' data-ready edges, and a heartbeat.
//!
//! Edges are counted in hardware, event to counter, so none is lost while the processor stands
//! still for an erase or is busy; the interrupt only ends the sleep. Deliberately not here: what is
//! done with them.

use core::sync::atomic::{AtomicU32, Ordering};

use nrf52840_hal::clocks::LFCLK_FREQ;
use nrf52840_hal::gpiote::Gpiote;
use nrf52840_hal::pac::{self, GPIOTE, RTC0, TIMER0, TIMER3, TIMER4, interrupt};
use nrf52840_hal::ppi::{self, ConfigurablePpi as _, Ppi as _};
use nrf52840_hal::rtc::{Rtc, RtcInterrupt};
use nrf52840_hal::timer::{Periodic, Timer};
use pinhold_drivers::clock::WideClock;
use pinhold_drivers::pump::Ready;
use pinhold_drivers::run::BEAT_HZ;

/// GPIOTE channel of the bridge converter's data-ready.
pub(crate) const BRIDGE_CHANNEL: usize = 0;
/// GPIOTE channel of the motion sensor's data-ready.
pub(crate) const MOTION_CHANNEL: usize = 2;
static BEATS: AtomicU32 = AtomicU32::new(0);

/// Heartbeats so far, wrapping.
pub(crate) fn beats() -> u32 {
    BEATS.load(Ordering::Relaxed)
}

/// Starts the heartbeat, on the low-frequency clock, which runs through every sleep.
pub(crate) fn start_heartbeat(counter: RTC0) {
    // Fails only for a prescaler beyond 12 bits.
    if let Ok(mut rtc) = Rtc::new(counter, LFCLK_FREQ / BEAT_HZ - 1) {
        rtc.enable_event(RtcInterrupt::Tick);
        rtc.enable_interrupt(RtcInterrupt::Tick, None);
        rtc.enable_counter();
    }
}

/// One microsecond counter on the crystal, made wide.
pub(crate) struct Time {
    // Wraps a microsecond early once in 71 minutes; nothing here measures that long.
    timer: Timer<TIMER0, Periodic>,
    wide: WideClock,
}

impl Time {
    pub(crate) fn start(timer: TIMER0) -> Time {
        let mut timer = Timer::periodic(timer);
        timer.start(u32::MAX);
        Time { wide: WideClock::starting_at(timer.read()), timer }
    }

    /// Microseconds since power-up; the heartbeat sees to it that this is asked often enough.
    pub(crate) fn now_us(&mut self) -> u64 {
        self.wide.advance(self.timer.read())
    }
}

/// Counters of data-ready edges.
pub(crate) struct Edges {
    bridge: TIMER3,
    motion: TIMER4,
}

fn count_from_zero(counter: &pac::timer3::RegisterBlock) {
    counter.mode.write(|w| w.mode().low_power_counter());
    counter.bitmode.write(|w| w.bitmode()._32bit());
    // SAFETY: writing 1 to a task register triggers it and nothing else.
    counter.tasks_clear.write(|w| unsafe { w.bits(1) });
    // SAFETY: as above.
    counter.tasks_start.write(|w| unsafe { w.bits(1) });
}

fn count(counter: &pac::timer3::RegisterBlock) -> u32 {
    // SAFETY: writing 1 to a task register triggers it and nothing else.
    counter.tasks_capture[0].write(|w| unsafe { w.bits(1) });
    counter.cc[0].read().bits()
}

impl Edges {
    /// Connects both channels' events to a counter each.
    pub(crate) fn start(
        bridge: TIMER3,
        motion: TIMER4,
        connections: pac::PPI,
        gpiote: &Gpiote,
    ) -> Edges {
        count_from_zero(&bridge);
        count_from_zero(&motion);
        let mut connections = ppi::Parts::new(connections);
        connections.ppi0.set_event_endpoint(gpiote.channel0().event());
        connections.ppi0.set_task_endpoint(&bridge.tasks_count);
        connections.ppi0.enable();
        connections.ppi1.set_event_endpoint(gpiote.channel2().event());
        connections.ppi1.set_task_endpoint(&motion.tasks_count);
        connections.ppi1.enable();
        Edges { bridge, motion }
    }

    /// Edges so far.
    pub(crate) fn ready(&self) -> Ready {
        Ready { bridge_count: count(&self.bridge), motion_count: count(&self.motion) }
    }
}

#[interrupt]
fn GPIOTE() {
    // SAFETY: only this handler touches the event registers once interrupts are on, and the set-up
    // in `board` is done by then.
    let gpiote = unsafe { &*GPIOTE::ptr() };
    gpiote.events_in[BRIDGE_CHANNEL].reset();
    gpiote.events_in[MOTION_CHANNEL].reset();
    gpiote.events_port.reset();
}

#[interrupt]
fn RTC0() {
    // SAFETY: only this handler touches the event register once interrupts are on.
    unsafe { &*RTC0::ptr() }.events_tick.reset();
    BEATS.fetch_add(1, Ordering::Relaxed);
}
