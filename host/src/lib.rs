//! pinhold: torque of every tuning pin, a map of the pinblock, and an honest verdict.

pub mod analysis;
pub mod bench;
pub mod calibration;
pub mod cli;
pub mod condition;
pub mod correct;
pub mod exchange;
pub mod import;
pub mod instrument;
pub mod lever_reads;
pub mod link;
pub mod metrology;
pub mod order;
pub mod report;
pub mod store;
pub mod survey;
pub mod text;
pub mod toml_file;
pub mod units;
pub mod words;
