//! Torque over the plank as a random field.
//!
//! Logarithm of friction = level, section steps, rows and a smooth trend along the plank (`basis`),
//! a local part that ends (`compact`), scatter from pin to pin, and measurement error. Two fields
//! are made of it: the *sound* field, what a pin would have if nothing ailed it there (`sound`:
//! broad shapes only, loose pins kept from dragging it down), against which zones are found; and
//! the *plank* as it is found, bad zones included (`plank`: local part too), which is what the
//! pictures show and what unread pins are expected to have.

pub mod basis;
pub mod common;
pub mod compact;
pub mod grid;
pub mod hyper;
pub mod kriging;
mod leftovers;
pub mod linear;
pub mod local;
pub mod pin_law;
pub mod plank;
mod plank_grid;
pub mod plank_point;
#[cfg(test)]
mod plank_tests;
mod robust;
pub mod simplex;
mod sound;
pub mod window;

pub use grid::{FieldGrid, GridCell};
pub use plank::PlankField;
pub use plank_point::{PinEstimate, PinStanding, PlankPoint};
pub use sound::{FieldPrior, SoundField, SoundPlank};
