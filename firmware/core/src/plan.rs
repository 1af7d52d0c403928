//! The plan stored on the lever: which pins in which order, and which of them are done.
//!
//! Pins are packed, 9 bits each, here as in the settings ([`crate::settings`]). Deliberately not
//! here: what the operator does with it ([`crate::device`]).
//!
//! Invariant: a plan holds known pins only, and none twice.

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{PLAN_PART_PIN_COUNT, PLAN_PIN_COUNT_MAX, PlanPart};
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_protocol::units::Angle;

/// Slip that may be asked for, microradians: 0.2 to 1.5 degrees.
pub const SLIP_MICRORADIANS: core::ops::RangeInclusive<i32> = 3_490..=26_180;
/// Bits of a packed pin: note · 4 + string.
pub const PIN_BITS: usize = 9;
/// Bytes of a plan's packed pins at most.
pub const PINS_BYTES_MAX: usize = bytes_of(PLAN_PIN_COUNT_MAX);

/// Bytes that so many packed pins take.
pub const fn bytes_of(pin_count: usize) -> usize {
    (pin_count * PIN_BITS).div_ceil(8)
}

/// A plan; without pins it is none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Its name, which its readings carry as their survey; 0 only without pins.
    pub name: u64,
    /// Slip asked of each stroke.
    pub slip: Angle,
    pin_count: u16,
    /// First pin in the lowest bits of the first byte.
    packed: [u8; PINS_BYTES_MAX],
}

impl Plan {
    /// No plan.
    pub const NONE: Plan =
        Plan { name: 0, slip: Angle::ZERO, pin_count: 0, packed: [0; PINS_BYTES_MAX] };

    /// A plan without pins yet.
    pub const fn begun(name: u64, slip: Angle) -> Plan {
        Plan { name, slip, ..Plan::NONE }
    }

    /// Whether there is none.
    pub fn is_none(&self) -> bool {
        self.pin_count == 0
    }

    /// Pins in it, at most [`PLAN_PIN_COUNT_MAX`].
    pub fn pin_count(&self) -> u16 {
        self.pin_count
    }

    /// Its pins, packed: the last byte filled with zero bits.
    pub fn packed(&self) -> &[u8] {
        self.packed.get(..bytes_of(self.pin_count.into())).unwrap_or(&[])
    }

    /// Pin at `place`.
    pub fn pin(&self, place: u16) -> Option<Pin> {
        if place >= self.pin_count { None } else { unpacked(&self.packed, place) }
    }

    /// All pins, in order.
    pub fn pins(&self) -> impl Iterator<Item = Pin> {
        (0..self.pin_count).filter_map(|place| self.pin(place))
    }

    /// Place of a pin.
    pub fn place(&self, pin: Pin) -> Option<u16> {
        (0..self.pin_count).find(|place| self.pin(*place) == Some(pin))
    }

    /// Adds a pin; `false`, and nothing is changed, when it is unknown, there already, or too many.
    #[must_use]
    pub fn push(&mut self, pin: Pin) -> bool {
        let full = usize::from(self.pin_count) >= PLAN_PIN_COUNT_MAX;
        if full || !pin.is_known() || self.place(pin).is_some() {
            return false;
        }
        let code = u16::from(pin.note) * 4 + pin.string as u16;
        let bit = usize::from(self.pin_count) * PIN_BITS;
        let [low, high] = (code << (bit % 8)).to_le_bytes();
        for (offset, part) in [low, high].into_iter().enumerate() {
            if let Some(byte) = self.packed.get_mut(bit / 8 + offset) {
                *byte |= part;
            }
        }
        self.pin_count += 1;
        true
    }
}

/// Pin number `place` of packed ones; `None` where there is none or it is unknown.
pub fn unpacked(packed: &[u8], place: u16) -> Option<Pin> {
    let bit = usize::from(place) * PIN_BITS;
    let low = *packed.get(bit / 8)?;
    let high = *packed.get(bit / 8 + 1)?;
    let code = (u16::from_le_bytes([low, high]) >> (bit % 8)) & ((1 << PIN_BITS) - 1);
    let string = match code % 4 {
        0 => StringPosition::Left,
        1 => StringPosition::Centre,
        2 => StringPosition::Right,
        _ => StringPosition::Fourth,
    };
    let pin = Pin { note: (code / 4) as u8, string };
    pin.is_known().then_some(pin)
}

/// A plan that comes in parts.
#[derive(Clone, Debug)]
pub struct Incoming {
    plan: Plan,
    pin_count: u16,
}

impl Incoming {
    /// Nothing has come.
    pub const NOTHING: Incoming = Incoming { plan: Plan::NONE, pin_count: 0 };

    /// Takes a part; the plan when it is whole. A part that is there already changes nothing.
    ///
    /// # Errors
    /// [`CommandResult::OutOfRange`] or [`CommandResult::NoSuchPin`]; nothing counts as come then.
    pub fn take(&mut self, part: &PlanPart) -> Result<Option<&Plan>, CommandResult> {
        if let Err(refusal) = self.add(part) {
            *self = Incoming::NOTHING;
            return Err(refusal);
        }
        Ok((self.plan.pin_count == self.pin_count).then_some(&self.plan))
    }

    fn add(&mut self, part: &PlanPart) -> Result<(), CommandResult> {
        let total = usize::from(part.pin_count);
        let first = usize::from(part.first);
        let count = total.saturating_sub(first).min(PLAN_PART_PIN_COUNT);
        let in_range = (1..=PLAN_PIN_COUNT_MAX).contains(&total)
            && first.is_multiple_of(PLAN_PART_PIN_COUNT)
            && SLIP_MICRORADIANS.contains(&part.slip.microradians());
        let filled = |(index, pin): (usize, &Option<Pin>)| pin.is_some() == (index < count);
        let is_filled = count > 0 && part.pins.iter().enumerate().all(filled);
        if part.plan == 0 || !in_range || !is_filled {
            return Err(CommandResult::OutOfRange);
        }
        let same = (self.plan.name, self.plan.slip, self.pin_count)
            == (part.plan, part.slip, part.pin_count);
        if same && self.holds(part) {
            return Ok(());
        }
        if part.first == 0 {
            self.plan = Plan::begun(part.plan, part.slip);
            self.pin_count = part.pin_count;
        } else if !same || part.first != self.plan.pin_count {
            return Err(CommandResult::OutOfRange);
        }
        for pin in part.pins.iter().flatten() {
            if !pin.is_known() {
                return Err(CommandResult::NoSuchPin);
            }
            if !self.plan.push(*pin) {
                return Err(CommandResult::OutOfRange);
            }
        }
        Ok(())
    }

    /// Whether the part's pins stand where it says.
    fn holds(&self, part: &PlanPart) -> bool {
        (part.first..).zip(part.pins.iter().flatten()).all(|(place, pin)| {
            // Never beyond the number of pins, so never past the last place.
            self.plan.pin(place) == Some(*pin)
        })
    }
}

/// Places of a plan, each in or out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Places([u32; PLAN_PIN_COUNT_MAX / 32]);

impl Places {
    fn contains(&self, place: u16) -> bool {
        let word = self.0.get(usize::from(place / 32)).copied().unwrap_or(0);
        word & (1 << (place % 32)) != 0
    }

    fn set(&mut self, place: u16, inside: bool) {
        if let Some(word) = self.0.get_mut(usize::from(place / 32)) {
            let bit = 1 << (place % 32);
            *word = if inside { *word | bit } else { *word & !bit };
        }
    }

    fn count(&self) -> u16 {
        self.0.iter().map(|word| word.count_ones() as u16).sum()
    }
}

/// How far a plan is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    read: Places,
    skipped: Places,
    /// Place of the pin that is next; the number of pins when all are done.
    pub position: u16,
    /// Place of the pin read or skipped last.
    pub last: Option<u16>,
}

impl Progress {
    /// The pin at `place` was read.
    pub fn note_read(&mut self, place: u16) {
        self.read.set(place, true);
        self.skipped.set(place, false);
        self.last = Some(place);
    }

    /// The pin at `place` was passed over; one that was read stays read.
    pub fn note_skipped(&mut self, place: u16) {
        if !self.read.contains(place) {
            self.skipped.set(place, true);
        }
        self.last = Some(place);
    }

    /// Whether the pin at `place` was read or skipped.
    pub fn is_done(&self, place: u16) -> bool {
        self.read.contains(place) || self.skipped.contains(place)
    }

    /// Pins read.
    pub fn read_count(&self) -> u16 {
        self.read.count()
    }

    /// Pins skipped.
    pub fn skipped_count(&self) -> u16 {
        self.skipped.count()
    }

    /// The first place from `from` on that is not done, of `pin_count`, going on at the beginning.
    pub fn next_undone(&self, from: u16, pin_count: u16) -> Option<u16> {
        let undone = |place: &u16| !self.is_done(*place);
        (from..pin_count).find(undone).or_else(|| (0..from.min(pin_count)).find(undone))
    }
}
