//! The store from outside: what is reported as stored is there, once, whatever happens.

mod calibrations;
mod corrections;
mod fixture;
mod lever;
mod opening;
mod records;
mod sample;
mod sample_lever;
mod trials;
