//! The store from outside: what is reported as stored is there, once, whatever happens.

mod backup;
mod calibrations;
mod climate;
mod corrections;
mod everything;
mod exchange;
mod fixture;
mod flips;
mod kills;
mod lever;
mod opening;
mod records;
mod sample;
mod sample_lever;
mod trials;
mod verify;
