//! The `pinhold` binary from outside: sentences, exit codes, documents.

mod correct;
mod import;
mod inbox;
mod instrument;
mod lever;
mod record;
mod run;
#[path = "../store/sample_lever.rs"]
mod sample_lever;
mod shelf;
mod standing;
