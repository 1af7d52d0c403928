//! What carries the conversation: a serial port, a pseudo-terminal, or a pipe within the process.
//!
//! Deliberately not here: what is said.

use std::io::{self, Read, Write};
use std::time::Duration;

/// Line rate asked of a serial port; a pseudo-terminal has none and ignores it.
pub const BAUD: u32 = 921_600;
/// Longest time a read waits for bytes.
pub const READ_TIMEOUT: Duration = Duration::from_millis(5);

/// Why a port could not be used.
#[derive(Debug, thiserror::Error)]
pub enum PortError {
    /// No port of that name.
    #[error("there is no port '{name}'; 'pinhold ports' lists those there are")]
    NotThere {
        /// The name given.
        name: String,
    },
    /// Another program has it.
    #[error("'{name}' is in use by another program; close that one first")]
    InUse {
        /// The name given.
        name: String,
    },
    /// The system refuses access.
    #[error(
        "no permission to open '{name}'; on Linux add yourself to the group that owns it (often \
         'dialout') and log in again"
    )]
    NoPermission {
        /// The name given.
        name: String,
    },
    /// Anything else the system says.
    #[error("cannot open '{name}': {reason}")]
    Other {
        /// The name given.
        name: String,
        /// The system's words.
        reason: String,
    },
    /// The ports could not be listed.
    #[error("cannot list the ports: {reason}")]
    NoList {
        /// The system's words.
        reason: String,
    },
}

/// A two-way stream of bytes whose reads wait no longer than [`READ_TIMEOUT`].
pub trait Port: Read + Write + Send {}

impl<T: Read + Write + Send + ?Sized> Port for T {}

/// Opens the serial port or pseudo-terminal `name`.
///
/// # Errors
/// [`PortError`] with what to do about it.
pub fn open(name: &str) -> Result<Box<dyn Port>, PortError> {
    let opened = serialport::new(name, BAUD).timeout(READ_TIMEOUT).open();
    match opened {
        Ok(port) => Ok(Box::new(port)),
        Err(error) => Err(explain(name, &error)),
    }
}

fn explain(name: &str, error: &serialport::Error) -> PortError {
    let is_there = std::path::Path::new(name).exists();
    let name = crate::text::printable(name);
    match error.kind() {
        // A port locked by somebody is reported like one that is not there.
        serialport::ErrorKind::NoDevice if is_there => PortError::InUse { name },
        serialport::ErrorKind::NoDevice | serialport::ErrorKind::Io(io::ErrorKind::NotFound) => {
            PortError::NotThere { name }
        }
        serialport::ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            PortError::NoPermission { name }
        }
        _ => PortError::Other { name, reason: error.to_string() },
    }
}

/// A port the system knows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListedPort {
    /// Name to open it by.
    pub name: String,
    /// What the system says of it.
    pub description: String,
    /// Whether it is of a kind a lever would be on.
    pub likely: bool,
}

/// Ports the system knows, likely ones first.
///
/// # Errors
/// [`PortError::NoList`] when the system does not say.
pub fn list() -> Result<Vec<ListedPort>, PortError> {
    let ports = serialport::available_ports()
        .map_err(|error| PortError::NoList { reason: error.to_string() })?;
    let mut listed: Vec<ListedPort> = ports
        .into_iter()
        .map(|port| {
            let (description, likely) = match &port.port_type {
                serialport::SerialPortType::UsbPort(usb) => {
                    let product = usb.product.as_deref().unwrap_or("no product name");
                    (format!("USB {:04x}:{:04x} {product}", usb.vid, usb.pid), true)
                }
                serialport::SerialPortType::BluetoothPort => ("Bluetooth".to_owned(), false),
                serialport::SerialPortType::PciPort => ("built in".to_owned(), false),
                serialport::SerialPortType::Unknown => ("of unknown kind".to_owned(), false),
            };
            ListedPort { name: port.port_name, description, likely }
        })
        .collect();
    listed.sort_by(|a, b| b.likely.cmp(&a.likely).then_with(|| a.name.cmp(&b.name)));
    Ok(listed)
}
