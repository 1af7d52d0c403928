//! A picture as PNG, drawn in process with the program's own fonts.
//!
//! Deliberately not here: fonts of the system (the same picture must come out everywhere), pictures
//! in pictures, and any file.

use std::sync::Arc;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::Source;
use resvg::usvg::{ImageHrefResolver, Options, Tree};
use thiserror::Error;

use super::fonts;

/// Width a map is drawn with: 300 dots to the inch where it is printed 190 mm wide.
pub const WIDTH_PX: u32 = 2_244;
/// Most pixels one way.
const LENGTH_PX_MAX: u32 = 20_000;
/// Most pixels in all: 100 million take 400 MB while drawing.
const AREA_PX_MAX: u64 = 100_000_000;

/// Why a picture was not drawn.
#[derive(Debug, Error)]
pub enum RasterError {
    /// The text is no picture.
    #[error("the picture could not be read: {0}")]
    Unreadable(#[from] resvg::usvg::Error),
    /// It would have too many pixels.
    #[error("a picture of {width_px} by {height_px} pixels is too large")]
    TooLarge {
        /// Width, pixels.
        width_px: u32,
        /// Height, pixels.
        height_px: u32,
    },
    /// It could not be packed.
    #[error("the picture could not be packed: {0}")]
    Unpacked(String),
}

/// Draws an SVG picture so many pixels wide, its height in proportion.
///
/// # Errors
/// When the text is no SVG picture, or it would become larger than 20,000 pixels one way or
/// 100 million in all.
pub fn png(svg: &str, width_px: u32) -> Result<Vec<u8>, RasterError> {
    let tree = tree(svg)?;
    let scale = width_px as f32 / tree.size().width();
    let height_px = (tree.size().height() * scale).ceil().clamp(1.0, u32::MAX as f32) as u32;
    let too_large = RasterError::TooLarge { width_px, height_px };
    let is_large = width_px.max(height_px) > LENGTH_PX_MAX
        || u64::from(width_px) * u64::from(height_px) > AREA_PX_MAX;
    let Some(mut pixels) = (!is_large).then(|| Pixmap::new(width_px, height_px)).flatten() else {
        return Err(too_large);
    };
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
    packed(&pixels)
}

/// The pixels as a PNG file.
fn packed(pixels: &Pixmap) -> Result<Vec<u8>, RasterError> {
    pixels.encode_png().map_err(|error| RasterError::Unpacked(error.to_string()))
}

/// An SVG picture read, its words set in the program's own fonts. Nothing it names outside itself
/// is opened.
///
/// # Errors
/// When it is none.
pub(super) fn tree(svg: &str) -> Result<Tree, resvg::usvg::Error> {
    let mut options = Options { font_family: FAMILY.to_owned(), ..Options::default() };
    let faces = options.fontdb_mut();
    for face in [fonts::REGULAR, fonts::BOLD] {
        faces.load_font_source(Source::Binary(Arc::new(face)));
    }
    // Whatever a picture names: there is only the one.
    faces.set_sans_serif_family(FAMILY);
    faces.set_serif_family(FAMILY);
    faces.set_monospace_family(FAMILY);
    options.image_href_resolver = ImageHrefResolver {
        resolve_data: Box::new(|_, _, _| None),
        resolve_string: Box::new(|_, _| None),
    };
    Tree::from_str(svg, &options)
}

/// What the faces call themselves.
const FAMILY: &str = "DejaVu Sans";

#[cfg(test)]
mod tests {
    use super::*;

    const BLACK: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 100 20\" \
        width=\"100\" height=\"20\"><rect width=\"100\" height=\"20\" fill=\"#fff\"/>";

    fn pixels(svg: &str, width_px: u32) -> Pixmap {
        Pixmap::decode_png(&png(svg, width_px).expect("a picture")).expect("a png")
    }

    #[test]
    fn letters_are_drawn_with_the_programs_own_fonts() {
        for family in ["'DejaVu Sans Condensed', sans-serif", "Nowhere", "sans-serif"] {
            for weight in ["normal", "bold"] {
                let svg = format!(
                    "{BLACK}<text x=\"2\" y=\"15\" font-size=\"14\" font-family=\"{family}\" \
                     font-weight=\"{weight}\">88C N·m</text></svg>"
                );
                let drawn = pixels(&svg, 200);
                assert_eq!((drawn.width(), drawn.height()), (200, 40));
                let ink = drawn.pixels().iter().filter(|pixel| pixel.red() < 100).count();
                assert!((250..1500).contains(&ink), "{family} {weight}: {ink}");
            }
        }
    }

    #[test]
    fn what_cannot_be_drawn_is_refused() {
        assert!(matches!(png("no picture", 100), Err(RasterError::Unreadable(_))));
        let picture = format!("{BLACK}</svg>");
        assert!(matches!(png(&picture, 30_000), Err(RasterError::TooLarge { .. })));
        assert!(matches!(png(&picture, 0), Err(RasterError::TooLarge { .. })));
    }
}
