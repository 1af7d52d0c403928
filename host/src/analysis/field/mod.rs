//! Torque over the plank as a random field.
//!
//! Logarithm of friction = level + section steps + rows + a smooth trend along the plank (`basis`)
//! + a local part that ends (`compact`) + scatter from pin to pin + measurement error. Two fields
//! are made of it: the *sound* field, what a pin would have if nothing ailed it there (`sound`:
//! broad shapes only, loose pins kept from dragging it down), against which zones are found; and
//! the *plank* as it is found, bad zones included (`plank`: local part too), which is what the
//! pictures show and what unread pins are expected to have.

pub mod basis;
pub mod compact;
pub mod grid;
pub mod linear;
mod robust;
mod sound;
mod spread;

pub use sound::{FieldPrior, SoundField, SoundPlank};
