//! Pictures from outside, made small and clean: the letterhead's sign and photos.
//!
//! Whatever comes in (PNG, JPEG, for a sign SVG too) goes out as a PNG of our own with pixels and
//! nothing else: no place, time, camera or text that the file held. Turned photos are turned
//! upright first, since the note that told it is gone then.
//!
//! Deliberately not here: files, and how large a picture is printed.

use resvg::tiny_skia::{IntSize, Pixmap, Transform};
use thiserror::Error;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::document::Raster;
use super::raster;

/// Largest file taken, bytes.
pub const FILE_BYTES_MAX: usize = 4_000_000;
/// Largest photo taken, bytes: what a telephone's camera makes.
pub const PHOTO_BYTES_MAX: usize = 16_000_000;
/// Most pixels one way, and in all, before it is made small: 64 million take 256 MB.
const SIDE_PX_MAX: u32 = 12_000;
const AREA_PX_MAX: u64 = 64_000_000;
/// Longest side of a sign: 300 dots to the inch where it is printed, 60 mm.
const SIGN_PX: u32 = 700;
/// Longest side of a photo: 190 dots to the inch where it is printed, 84 mm wide.
const PHOTO_PX: u32 = 640;

/// Why a picture was not taken.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PictureError {
    /// More bytes than are read.
    #[error("the file has more than {} MB; make it smaller", limit / 1_000_000)]
    TooLong {
        /// Bytes at most.
        limit: usize,
    },
    /// No picture of a kind that is read.
    #[error("the file is no {kinds} picture")]
    Unknown {
        /// Those that are.
        kinds: &'static str,
    },
    /// More pixels than are read.
    #[error("the picture has {width_px} by {height_px} pixels; make it smaller")]
    TooLarge {
        /// Width, pixels.
        width_px: u32,
        /// Height, pixels.
        height_px: u32,
    },
    /// Its bytes are damaged.
    #[error("the picture cannot be read ({0})")]
    Damaged(String),
}

/// The sign of a letterhead, from the bytes of a PNG, JPEG or SVG file.
///
/// # Errors
/// When it is none of them, damaged, or too large.
pub fn sign(bytes: &[u8]) -> Result<Raster, PictureError> {
    if bytes.len() > FILE_BYTES_MAX {
        return Err(PictureError::TooLong { limit: FILE_BYTES_MAX });
    }
    if let Some(pixels) = pixels(bytes)? {
        return small(&pixels, SIGN_PX);
    }
    let text = std::str::from_utf8(bytes).ok().filter(|text| text.contains("<svg"));
    let text = text.ok_or(PictureError::Unknown { kinds: "PNG, JPEG or SVG" })?;
    let damaged = |error: String| PictureError::Damaged(error);
    let tree = raster::tree(text).map_err(|error| damaged(error.to_string()))?;
    let (width, height) = (tree.size().width(), tree.size().height());
    let scale = SIGN_PX as f32 / width.max(height);
    let side = |length: f32| (length * scale).ceil().clamp(1.0, SIGN_PX as f32) as u32;
    let mut pixels = Pixmap::new(side(width), side(height))
        .ok_or_else(|| damaged("it has no size".to_owned()))?;
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
    packed(&pixels)
}

/// A photo, from the bytes of a JPEG or PNG file.
///
/// # Errors
/// When it is none of them, damaged, or too large.
pub fn photo(bytes: &[u8]) -> Result<Raster, PictureError> {
    if bytes.len() > PHOTO_BYTES_MAX {
        return Err(PictureError::TooLong { limit: PHOTO_BYTES_MAX });
    }
    match pixels(bytes)? {
        Some(pixels) => small(&pixels, PHOTO_PX),
        None => Err(PictureError::Unknown { kinds: "JPEG or PNG" }),
    }
}

/// The pixels of a PNG or JPEG file; `None` when it is neither.
fn pixels(bytes: &[u8]) -> Result<Option<Pixmap>, PictureError> {
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        // The header comes first in every PNG file (ISO/IEC 15948, 5.6).
        let side = |at: usize| {
            let four = bytes.get(at..at + 4).and_then(|four| four.try_into().ok());
            four.map_or(0, u32::from_be_bytes)
        };
        check_size(side(16), side(20))?;
        let read = Pixmap::decode_png(bytes);
        return read.map(Some).map_err(|error| PictureError::Damaged(error.to_string()));
    }
    if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
        return jpeg(bytes).map(Some);
    }
    Ok(None)
}

fn check_size(width_px: u32, height_px: u32) -> Result<(), PictureError> {
    if width_px.max(height_px) > SIDE_PX_MAX
        || u64::from(width_px) * u64::from(height_px) > AREA_PX_MAX
    {
        return Err(PictureError::TooLarge { width_px, height_px });
    }
    Ok(())
}

fn jpeg(bytes: &[u8]) -> Result<Pixmap, PictureError> {
    let damaged = |error: String| PictureError::Damaged(error);
    let options = DecoderOptions::default()
        .set_max_width(SIDE_PX_MAX as usize)
        .set_max_height(SIDE_PX_MAX as usize)
        .jpeg_set_out_colorspace(ColorSpace::RGBA);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|error| damaged(error.to_string()))?;
    let side = |length: usize| u32::try_from(length).unwrap_or(u32::MAX);
    let (width, height) = decoder.dimensions().ok_or_else(|| damaged("no size".to_owned()))?;
    let (width, height) = (side(width), side(height));
    check_size(width, height)?;
    let turned = decoder.exif().map_or(1, |exif| orientation(exif));
    let rgba = decoder.decode().map_err(|error| damaged(error.to_string()))?;
    let size = IntSize::from_wh(width, height).ok_or_else(|| damaged("no size".to_owned()))?;
    let pixels = Pixmap::from_vec(rgba, size);
    let pixels = pixels.ok_or_else(|| damaged("it ends too early".to_owned()))?;
    Ok(upright(pixels, turned))
}

/// How the camera was held, 1 to 8 (Exif 2.3, tag 274); 1, upright, where nothing tells.
fn orientation(exif: &[u8]) -> u16 {
    const TAG: u16 = 274;
    /// Entries looked at: more is no Exif.
    const ENTRY_COUNT_MAX: usize = 200;
    let exif = exif.strip_prefix(b"Exif\0\0").unwrap_or(exif);
    let is_little = exif.starts_with(b"II");
    let two = |at: usize| -> Option<u16> {
        let bytes: [u8; 2] = exif.get(at..at + 2)?.try_into().ok()?;
        Some(if is_little { u16::from_le_bytes(bytes) } else { u16::from_be_bytes(bytes) })
    };
    let first = || -> Option<usize> {
        let bytes: [u8; 4] = exif.get(4..8)?.try_into().ok()?;
        let at = if is_little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) };
        usize::try_from(at).ok().filter(|at| *at < exif.len())
    };
    let Some((start, count)) = first().and_then(|start| Some((start, usize::from(two(start)?))))
    else {
        return 1;
    };
    (0..count.min(ENTRY_COUNT_MAX))
        .map(|entry| start + 2 + 12 * entry)
        .find(|at| two(*at) == Some(TAG))
        .and_then(|at| two(at + 8))
        .filter(|turned| (1..=8).contains(turned))
        .unwrap_or(1)
}

/// The picture as it was seen.
fn upright(pixels: Pixmap, turned: u16) -> Pixmap {
    let (width, height) = (pixels.width() as usize, pixels.height() as usize);
    if turned <= 1 {
        return pixels;
    }
    let swaps = turned >= 5;
    let (new_width, new_height) = if swaps { (height, width) } else { (width, height) };
    let Some(mut seen) = Pixmap::new(new_width as u32, new_height as u32) else { return pixels };
    for y in 0..new_height {
        for x in 0..new_width {
            // From where the pixel is taken, after the table of Exif 2.3.
            let (from_x, from_y) = match turned {
                2 => (width - 1 - x, y),
                3 => (width - 1 - x, height - 1 - y),
                4 => (x, height - 1 - y),
                5 => (y, x),
                6 => (y, height - 1 - x),
                7 => (width - 1 - y, height - 1 - x),
                _ => (width - 1 - y, x),
            };
            seen.pixels_mut()[y * new_width + x] = pixels.pixels()[from_y * width + from_x];
        }
    }
    seen
}

/// Made so small that its longest side has so many pixels, each the mean of those it stands for.
fn small(pixels: &Pixmap, side_px: u32) -> Result<Raster, PictureError> {
    let (width, height) = (pixels.width(), pixels.height());
    let longest = width.max(height);
    if longest <= side_px {
        return packed(pixels);
    }
    let side = |length: u32| {
        let scaled = u64::from(length) * u64::from(side_px) / u64::from(longest);
        u32::try_from(scaled).unwrap_or(1).max(1)
    };
    let (new_width, new_height) = (side(width), side(height));
    let made = Pixmap::new(new_width, new_height);
    let mut made = made.ok_or_else(|| PictureError::Damaged("it has no size".to_owned()))?;
    let span = |at: u32, new: u32, old: u32| {
        let edge = |at: u32| (u64::from(at) * u64::from(old) / u64::from(new)) as usize;
        edge(at)..edge(at + 1).max(edge(at) + 1)
    };
    let data = pixels.data();
    for y in 0..new_height {
        for x in 0..new_width {
            let mut sums = [0_u64; 4];
            let mut count = 0;
            for row in span(y, new_height, height) {
                for column in span(x, new_width, width) {
                    let at = 4 * (row * width as usize + column);
                    for (sum, value) in sums.iter_mut().zip(&data[at..at + 4]) {
                        *sum += u64::from(*value);
                    }
                    count += 1;
                }
            }
            let at = 4 * (y as usize * new_width as usize + x as usize);
            for (value, sum) in made.data_mut()[at..at + 4].iter_mut().zip(sums) {
                // A mean of bytes is a byte.
                *value = (sum / count.max(1)) as u8;
            }
        }
    }
    packed(&made)
}

fn packed(pixels: &Pixmap) -> Result<Raster, PictureError> {
    let png = pixels.encode_png().map_err(|error| PictureError::Damaged(error.to_string()))?;
    Ok(Raster { png: png.into(), width_px: pixels.width(), height_px: pixels.height() })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture whose upper left quarter is dark.
    fn marked(width: u32, height: u32) -> Pixmap {
        let mut pixels = Pixmap::new(width, height).unwrap();
        for y in 0..height {
            for x in 0..width {
                let dark = x < width / 2 && y < height / 2;
                let level = if dark { 10 } else { 240 };
                let at = 4 * (y * width + x) as usize;
                pixels.data_mut()[at..at + 4].copy_from_slice(&[level, level, level, 255]);
            }
        }
        pixels
    }

    fn dark_at(raster: &Raster, x: u32, y: u32) -> bool {
        Pixmap::decode_png(&raster.png).unwrap().pixel(x, y).unwrap().red() < 100
    }

    #[test]
    fn a_large_picture_becomes_small_and_keeps_its_form() {
        let bytes = marked(2_000, 1_000).encode_png().unwrap();
        let made = photo(&bytes).unwrap();
        assert_eq!((made.width_px, made.height_px), (640, 320));
        assert!(dark_at(&made, 10, 10) && !dark_at(&made, 630, 10) && !dark_at(&made, 10, 310));
        assert!(made.png.len() < 10_000);
        let small = photo(&marked(30, 20).encode_png().unwrap()).unwrap();
        assert_eq!((small.width_px, small.height_px), (30, 20), "never made larger");
    }

    #[test]
    fn a_sign_may_be_svg_and_opens_nothing() {
        let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 200 50\">\
                   <script>alert(1)</script>\
                   <image href=\"/etc/hostname\" width=\"9\" height=\"9\"/>\
                   <rect width=\"100\" height=\"50\"/><text x=\"110\" y=\"30\">Ab</text></svg>";
        let made = sign(svg.as_bytes()).unwrap();
        assert_eq!((made.width_px, made.height_px), (700, 175));
        assert!(made.png.starts_with(b"\x89PNG"));
    }

    #[test]
    fn what_is_no_picture_is_refused_in_a_sentence() {
        let said = |bytes: &[u8]| sign(bytes).unwrap_err().to_string();
        assert_eq!(said(b"hello"), "the file is no PNG, JPEG or SVG picture");
        assert!(said(b"").contains("no PNG"));
        assert!(said(b"\x89PNG\r\n\x1a\nrubbish").contains("cannot be read"));
        assert!(said(&[0xff, 0xd8, 0xff, 0xe0, 1, 2, 3]).contains("cannot be read"));
        assert!(said(b"<svg").contains("cannot be read"));
        let mut bomb = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
        bomb.extend([0, 1, 0, 0, 0, 1, 0, 0, 8, 6, 0, 0, 0]);
        assert!(said(&bomb).contains("65536 by 65536 pixels"), "{}", said(&bomb));
        assert!(photo(&vec![0; PHOTO_BYTES_MAX + 1]).unwrap_err().to_string().contains("16 MB"));
        assert!(photo(b"<svg/>").unwrap_err().to_string().contains("no JPEG or PNG"));
    }

    /// A photo of ours, 32 by 16, with what a camera held turned would write into it.
    fn taken() -> Vec<u8> {
        let plain = include_bytes!("../../../tests/fixtures/photo.jpg");
        let mut exif = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01".to_vec();
        exif.extend(b"\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0");
        exif.extend(b"48.1N 11.5E, camera 4711");
        let length = u16::try_from(exif.len() + 2).unwrap().to_be_bytes();
        [&plain[..2], b"\xff\xe1", &length, &exif, &plain[2..]].concat()
    }

    #[test]
    fn a_photo_loses_its_place_and_stands_upright() {
        let made = photo(&taken()).unwrap();
        assert_eq!((made.width_px, made.height_px), (16, 32));
        // Dark at the file's upper left, turned to the right: at the upper right.
        assert!(dark_at(&made, 12, 4) && !dark_at(&made, 3, 4) && !dark_at(&made, 12, 28));
        let holds = |text: &[u8]| made.png.windows(text.len()).any(|part| part == text);
        assert!(!holds(b"48.1N") && !holds(b"4711") && !holds(b"Exif"));
        let plain = photo(include_bytes!("../../../tests/fixtures/photo.jpg")).unwrap();
        assert_eq!((plain.width_px, plain.height_px), (32, 16));
        let cut = taken();
        assert!(photo(&cut[..cut.len() / 3]).is_err());
    }

    #[test]
    fn orientations_are_read_and_undone() {
        for little in [true, false] {
            let two = |value: u16| if little { value.to_le_bytes() } else { value.to_be_bytes() };
            let four = |value: u32| if little { value.to_le_bytes() } else { value.to_be_bytes() };
            let mut exif = if little { b"II".to_vec() } else { b"MM".to_vec() };
            exif.extend(two(42));
            exif.extend(four(8));
            exif.extend(two(1));
            for part in [&two(274)[..], &two(3), &four(1), &two(6), &two(0)] {
                exif.extend(part);
            }
            assert_eq!(orientation(&exif), 6);
            assert_eq!(orientation(&exif[..12]), 1, "cut short");
        }
        assert_eq!(orientation(b""), 1);
        // Held turned, the dark quarter of the scene lies elsewhere in the file.
        for (turned, (x, y)) in [(3, (39, 19)), (6, (19, 0)), (8, (0, 39))] {
            let seen = upright(marked(40, 20), turned);
            assert!(seen.pixel(x, y).unwrap().red() < 100, "{turned}");
        }
    }
}
