//! The `pinhold` binary from outside: sentences, exit codes, documents.

mod import;
mod instrument;
mod run;
