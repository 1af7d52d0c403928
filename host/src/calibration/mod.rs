//! A lever's calibration: what was hung on it, what it said, what follows, and for how long.
//!
//! The way through: [`bench`] holds what was done with dead weights, [`record`] the whole
//! calibration as it is kept, [`terms`] what a reading's budget takes from it, [`mark`] why a
//! reading's lever is to be doubted. Deliberately not here: the conversation with the lever, and
//! where records are kept.
//!
//! The model, as the lever's core has it: torque on the pin = span · (code − zero) + weight
//! moment · f_y, sharp positive, f_y the specific force across the handle in units of standard
//! gravity. The cell feels the hand alone: a load hung on the handle while the head sits on a
//! fixed square moves the code by load / span; off the square the hand carries the lever, and the
//! code moves by −weight moment · f_y / span.

pub mod bench;
pub mod load_table;
pub mod mark;
pub mod record;
pub mod terms;
