//! The `pinhold` binary from outside: sentences, exit codes, documents.

mod correct;
mod import;
mod inbox;
mod instrument;
mod lever;
mod run;
mod shelf;
mod strings;
