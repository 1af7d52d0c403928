//! The lever's core through its public face: arithmetic against figures worked out by hand,
//! commands and their refusals, hosts that send anything at all.

mod arithmetic;
mod calibration;
mod commands;
mod hostile_host;
mod link;
mod log_rules;
mod sample;
mod synthetic;
mod trace;
