//! The lever's core through its public face: arithmetic against figures worked out by hand,
//! commands and their refusals, hosts that send anything at all.

mod alone;
mod arithmetic;
mod beeps;
mod buttons;
mod calibration;
mod chip;
mod commands;
mod course;
mod hostile_host;
mod link;
mod log_rules;
mod numbers;
mod plan;
mod sample;
mod selftest;
mod settings;
mod size;
mod stored_calibration;
mod synthetic;
mod trace;
