//! Surveys that do not read every pin: which pins first, which next, and when to stop.
//!
//! `design` says which pins a quick or full survey reads and an adaptive one begins with; `hidden`
//! weighs where loose pins could be that nobody has read; `rest` draws what the unread pins might
//! say and what verdict would follow; `propose` chooses the next pins by what they would tell about
//! the verdict, and says when it is settled; `told` puts it into words. `check_pin`
//! weaves in the pin that is read again and again. `places` knows rows and distances.
//!
//! Deliberately not here: the lever, the store and the plan that grows; those belong to the caller.
//!
//! Invariants: nothing is drawn but from the seed, so the same readings give the same step; a step
//! never names a pin that was read or passed over; a survey that has read all it can is settled.

mod check_pin;
mod design;
mod hidden;
mod places;
mod propose;
mod rest;
#[cfg(test)]
mod tests;
mod told;

pub use check_pin::{
    CHECK_EVERY_COUNT, append_with_checks, check_pin, close_with_check, with_checks,
};
pub use design::{Design, full, quick, start};
pub use propose::{
    Asked, CONFIDENCE_DEFAULT, Proposal, STEP_PIN_COUNT_MAX, STEP_PIN_COUNT_MIN, Settled, Step,
    Why, propose,
};
