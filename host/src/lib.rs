//! pinhold: torque of every tuning pin, a map of the pinblock, and an honest verdict.

pub mod analysis;
pub mod instrument;
pub mod units;
