//! What is known of an instrument beside torque: recorded per survey, carried into verdict and
//! report.
//!
//! Roadmap:
//! - [x] [`facts`]: the facts there are, with their questions
//! - [x] [`value`]: answers, typed and checked
//! - [x] [`record`]: a record, whole or in part; what it tells the verdict
//! - [x] [`file`]: as a TOML file, and a template to fill in
//!
//! Deliberately not here: asking (`cli`), keeping (`store`), weighing (`analysis`).

pub mod facts;
pub mod file;
pub mod record;
pub mod value;

pub use facts::{FACTS, Fact, Group, Kind, find};
pub use file::ConditionFileError;
pub use record::ConditionRecord;
pub use value::Value;
