//! The wire and record formats, from outside: the document's own examples, committed bytes,
//! properties, damage on the line, worst-case sizes and other versions.
//!
//! One test binary, so that hex, example values and strategies are shared without dead code.

mod block;
mod damage;
mod encoding;
mod golden;
mod hex;
mod round_trip;
mod sample;
mod sizes;
mod spec;
mod spec_form;
mod strategy;
mod versions;
