//! The two faces that documents and pictures are set in, carried in the program.

/// DejaVu Sans Condensed 2.37, from <https://dejavu-fonts.github.io/>; its licence lies beside.
pub(crate) static REGULAR: &[u8] = include_bytes!("../../fonts/DejaVuSansCondensed.ttf");
/// The same, bold.
pub(crate) static BOLD: &[u8] = include_bytes!("../../fonts/DejaVuSansCondensed-Bold.ttf");
