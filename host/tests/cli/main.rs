//! The `pinhold` binary from outside: sentences, exit codes, documents.

mod budget;
mod calibrate;
mod compare;
mod condition;
mod correct;
mod costs;
mod fit;
mod history;
mod import;
mod inbox;
mod instrument;
mod layout;
mod lever;
mod map;
mod moving;
mod order;
mod profile;
mod record;
mod report;
mod run;
#[path = "../store/sample_lever.rs"]
mod sample_lever;
mod seatings;
mod shelf;
mod standing;
mod strings;
mod trial;
mod units;
