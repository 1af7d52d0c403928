//! Log lines over the debug probe, for the bench: with the feature `log`, by defmt. Without it, as
//! a lever leaves the house, there is no logger to fill flash or to fail.

#[cfg(feature = "log")]
mod lines {
    pub(crate) use defmt::{error, info, warn};
    use defmt_rtt as _;
}

#[cfg(not(feature = "log"))]
mod lines {
    /// Says nothing.
    macro_rules! nothing {
        ($text:literal $(, $value:expr)* $(,)?) => {{
            $(let _ = &$value;)*
        }};
    }
    pub(crate) use nothing as error;
    pub(crate) use nothing as info;
    pub(crate) use nothing as warn;
}

pub(crate) use lines::{error, info, warn};
