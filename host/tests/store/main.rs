//! The store from outside: what is reported as stored is there, once, whatever happens.

mod fixture;
mod lever;
mod opening;
mod sample;
