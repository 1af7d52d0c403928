//! Battery and supply: how much is left, and when a pin must not be begun any more.
//!
//! Deliberately not here: the gauge itself (the board's).

use crate::Power;

/// Below this a pin is not begun, millivolts: some six hundredths are left, an hour or more at the
/// currents of such a lever, enough to end a pin and send the log away …
pub const LOW_MV: u16 = 3_500;
/// … and from here on it is again: a cell recovers when the load falls.
pub const ENOUGH_MV: u16 = 3_650;
/// Millivolts and thousandths left of a lithium-polymer cell, lightly loaded at room temperature
/// (MEM of published discharge curves; good for a tenth either way).
const CURVE: [(u16, u16); 12] = [
    (4_200, 1_000),
    (4_060, 900),
    (3_980, 800),
    (3_920, 700),
    (3_870, 600),
    (3_820, 500),
    (3_790, 400),
    (3_770, 300),
    (3_740, 200),
    (3_680, 100),
    (3_450, 50),
    (3_000, 0),
];

/// What is known of the supply.
#[derive(Clone, Copy, Debug, Default)]
pub struct Supply {
    power: Power,
    low: bool,
}

impl Supply {
    /// Takes what the board says.
    pub fn set(&mut self, power: Power) {
        self.power = power;
        self.low = match power.battery_mv {
            Some(_) if power.external => false,
            Some(mv) if mv < LOW_MV => true,
            Some(mv) if mv >= ENOUGH_MV => false,
            Some(_) => self.low,
            None => false,
        };
    }

    /// What the board said last.
    pub fn power(&self) -> Power {
        self.power
    }

    /// Too little is left to begin a pin.
    pub fn is_low(&self) -> bool {
        self.low
    }

    /// Charge left, thousandths of full.
    pub fn permille(&self) -> Option<u16> {
        self.power.battery_mv.map(permille)
    }

    /// Time of use left, minutes, of a battery that lasts `life_minutes`; 0 unknown.
    pub fn minutes(&self, life_minutes: u16) -> Option<u16> {
        let left = u32::from(self.permille()?) * u32::from(life_minutes) / 1_000;
        // At most the life itself.
        (life_minutes != 0).then_some(left as u16)
    }
}

/// Charge left at a voltage, thousandths.
fn permille(mv: u16) -> u16 {
    let mut above = (u16::MAX, 1_000);
    for point in CURVE {
        if mv >= point.0 {
            let (width, rise) = (above.0 - point.0, above.1 - point.1);
            let part = u32::from(mv - point.0) * u32::from(rise);
            // Points differ, so the width is never 0.
            let risen = part.checked_div(u32::from(width)).unwrap_or(0);
            return point.1.saturating_add(risen as u16);
        }
        above = point;
    }
    0
}
