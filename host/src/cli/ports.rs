//! `pinhold ports`: the ports a lever may be on.

use clap::Args;
use serde_json::json;

use super::context::Context;
use super::exit::{CliError, Exit};
use crate::link::port;
use crate::survey::SurveyError;
use crate::text::printable;

/// Arguments of `pinhold ports`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
A lever shows up as a USB serial port; likely ones come first, marked with a star.

Example:
  pinhold ports")]
pub struct PortsArguments {}

/// Lists the ports.
///
/// # Errors
/// When the system does not list them, or there is none.
pub fn run(context: &Context, _arguments: &PortsArguments) -> Result<(), CliError> {
    let ports = port::list().map_err(|error| {
        CliError::new(Exit::InputOutput, format!("{error}; name the port yourself with --port"))
    })?;
    if context.json {
        let listed: Vec<_> = ports
            .iter()
            .map(|port| {
                json!({
                    "name": port.name,
                    "description": port.description,
                    "likely": port.likely,
                })
            })
            .collect();
        return context.print_document(&json!({
            "format": "pinhold.ports",
            "version": 1,
            "ports": listed,
        }));
    }
    if ports.is_empty() {
        return Err(CliError::new(
            Exit::NotThere,
            "no serial port is there; plug the lever in, or practise without one: pinhold demo",
        ));
    }
    let mut text = String::new();
    for port in ports {
        let mark = if port.likely { '*' } else { ' ' };
        text.push_str(&format!(
            "{mark} {}  {}\n",
            printable(&port.name),
            printable(&port.description)
        ));
    }
    context.print(&text)
}

/// The port named, else the one port a lever can be on.
///
/// # Errors
/// When none is named and there is not exactly one.
pub(super) fn chosen(named: Option<&String>) -> Result<String, CliError> {
    match named {
        Some(name) => Ok(name.clone()),
        None => only_likely_port(),
    }
}

/// The one port a lever can be on.
fn only_likely_port() -> Result<String, CliError> {
    let ports = port::list().map_err(|error| CliError::from(SurveyError::from(error)))?;
    let likely: Vec<_> = ports.iter().filter(|port| port.likely).collect();
    match likely.as_slice() {
        [only] => Ok(only.name.clone()),
        [] => Err(CliError::new(
            Exit::LeverAbsent,
            "no lever is plugged in; plug it in, name its port with --port, or practise without \
             one: pinhold demo",
        )),
        _ => Err(CliError::new(
            Exit::Usage,
            "several ports could be the lever's; choose one of 'pinhold ports' with --port",
        )),
    }
}
