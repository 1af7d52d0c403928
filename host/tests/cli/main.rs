//! The `pinhold` binary from outside: sentences, exit codes, documents.

mod budget;
mod correct;
mod import;
mod inbox;
mod instrument;
mod lever;
mod run;
mod shelf;
