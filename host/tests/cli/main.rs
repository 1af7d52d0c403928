//! The binary from outside: what it prints, how it ends, what it leaves in the store.

mod correct;
mod import;
mod inbox;
mod instrument;
mod lever;
mod run;
mod shelf;
