//! What the main loop works with: this board's side of `pinhold_drivers::run`.
//!
//! Deliberately not here: set-up ([`crate::board`]) and the loop itself.
//!
//! Invariant: each function does one thing to one peripheral, and decides nothing.

use cortex_m::interrupt;
use nrf52840_hal::gpio::{Input, Output, Pin, PullUp, PushPull};
use pinhold_drivers::lamp::Colour;
use pinhold_drivers::panel::Panel;
use pinhold_drivers::pump::Ready;
use pinhold_drivers::run::{self, Event};
use pinhold_lever::{Buttons, Lamp, Power};

use crate::clock::{Edges, Time, beats};
use crate::link::Link;
use crate::log;
use crate::supply::{Dog, Supply, is_power_failing};

/// All of it.
pub(crate) struct Hardware {
    pub(crate) time: Time,
    pub(crate) edges: Edges,
    pub(crate) link: Link,
    pub(crate) panel: Panel<Pin<Output<PushPull>>, Pin<Input<PullUp>>>,
    pub(crate) supply: Supply,
    pub(crate) dog: Dog,
}

impl run::Hardware for Hardware {
    fn now_us(&mut self) -> u64 {
        self.time.now_us()
    }

    fn ready(&self) -> Ready {
        self.edges.ready()
    }

    fn beat_count(&self) -> u32 {
        beats()
    }

    fn receive(&mut self, buffer: &mut [u8]) -> usize {
        self.link.receive(buffer)
    }

    fn is_link_quiet(&self) -> bool {
        self.link.is_quiet()
    }

    fn send(&mut self, bytes: &[u8]) -> usize {
        self.link.send(bytes)
    }

    fn buttons(&mut self) -> Buttons {
        self.panel.buttons()
    }

    fn power(&mut self) -> Power {
        self.supply.read()
    }

    fn is_power_failing(&self) -> bool {
        is_power_failing()
    }

    fn show(&mut self, colour: Colour, beeps: bool) {
        self.panel.show(colour, beeps);
    }

    fn pet(&mut self) {
        self.dog.pet();
    }

    fn wait(&mut self, is_idle: impl FnOnce(&Self) -> bool) {
        interrupt::free(|_| {
            if is_idle(self) {
                cortex_m::asm::wfi();
            }
        });
    }

    fn tell(&mut self, event: Event) {
        match event {
            Event::Lamp(Lamp::Fault(fault)) => log::error!("fault {=u8}", fault.code()),
            Event::Lamp(Lamp::Full) => log::warn!("log full"),
            Event::Lamp(Lamp::BatteryLow) => log::warn!("battery too low to begin a pin"),
            Event::Lamp(Lamp::Stop) => log::warn!("torque beyond the stop"),
            Event::Lamp(_) => {}
            Event::PowerFailing(is_failing) => log::warn!("power failing {=bool}", is_failing),
            Event::Asleep(is_asleep, answers) => log::info!(
                "asleep {=bool}; answered: bridge {=bool}, motion {=bool}",
                is_asleep,
                answers.bridge,
                answers.motion
            ),
            Event::RecordsBelow(number) => log::info!("records kept below {=u32}", number),
        }
    }
}
