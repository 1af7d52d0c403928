//! How a band looks: glyph, colour and mark. One table for terminal, SVG and HTML.
//!
//! Colours run from pale blue (over-tight) to dark red (not holding) in one ramp of lightness:
//! apart for common colour blindness, and in greyscale darker is looser. The mark's shape and the
//! glyph tell every band without colour.

use crate::analysis::{Band, Profile};
use crate::units::TorqueUnit;
use crate::words::{Fixed, Numeral, Said, Word, pictures as say, plank};

/// Shape of a pin's mark in pictures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Triangle, point up.
    Triangle,
    /// Square standing on its side.
    Square,
    /// Small disc.
    Disc,
    /// Ring.
    Ring,
    /// Disc with its lower half filled.
    HalfDisc,
    /// Square on its corner.
    Diamond,
    /// Square crossed out.
    CrossedSquare,
    /// Heavy cross.
    Cross,
    /// Question mark.
    Question,
    /// Dot: no reading.
    Dot,
    /// Triangle, point down.
    Fork,
    /// Thick ring, empty.
    Wheel,
}

/// How a band looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Terminal glyph.
    pub glyph: char,
    /// Fill, `#rrggbb`.
    pub colour: &'static str,
    /// The same as numbers, for terminals.
    pub rgb: (u8, u8, u8),
    /// Mark in pictures.
    pub mark: Mark,
}

/// Look of a band.
pub const fn look(band: Band) -> Look {
    match band {
        Band::OverTight => new('^', "#e8f4fc", (232, 244, 252), Mark::Triangle),
        Band::Tight => new('=', "#d0e5f2", (208, 229, 242), Mark::Square),
        Band::AsNew => new('-', "#bed6e2", (190, 214, 226), Mark::Disc),
        Band::Serviceable => new('~', "#c8c096", (200, 192, 150), Mark::Ring),
        Band::Weak => new('o', "#e1a046", (225, 160, 70), Mark::HalfDisc),
        Band::Doubtful => new('x', "#c86c28", (200, 108, 40), Mark::Diamond),
        Band::Failing => new('X', "#96341c", (150, 52, 28), Mark::Cross),
        Band::NotHolding => new('#', "#470d1b", (71, 13, 27), Mark::CrossedSquare),
        Band::CannotTell => new('?', "#ffffff", (160, 160, 160), Mark::Question),
    }
}

/// Look of a pin that was not read.
pub const UNREAD: Look = new('.', "#ffffff", (120, 120, 120), Mark::Dot);

/// Look of a pin that was read, where it is asked how well the plank is known.
pub const READ: Look = new('-', "#e4e0da", (228, 224, 218), Mark::Disc);
/// Look of a pin that was not read, where that is the question.
pub const MISSING: Look = new('.', "#ffffff", (120, 120, 120), Mark::Wheel);

/// Look of a pin that is as its neighbours let expect.
pub const ORDINARY: Look = new('-', "#e4e0da", (228, 224, 218), Mark::Disc);
/// Look of a pin tighter than that.
pub const ABOVE: Look = new('^', "#e8f4fc", (232, 244, 252), Mark::Triangle);
/// Look of a pin loose by itself, among sound neighbours.
pub const BAD_HOLE: Look = new('V', "#470d1b", (71, 13, 27), Mark::Fork);
/// Look of a pin loose as its neighbours are.
pub const BAD_PLACE: Look = new('x', "#c86c28", (200, 108, 40), Mark::Diamond);

const fn new(glyph: char, colour: &'static str, rgb: (u8, u8, u8), mark: Mark) -> Look {
    Look { glyph, colour, rgb, mark }
}

/// The band's name.
pub const fn name(band: Band) -> Word {
    plank::band(band)
}

/// What a band covers, in the user's unit, without the unit.
pub fn range(band: Band, profile: &Profile, unit: TorqueUnit) -> Said {
    let show = |nm: f64| Numeral(format!("{:.*}", unit.decimals(), unit.from_newton_metres(nm)));
    let between = |low: f64, high: f64| say::between(show(low), show(high));
    let factor = |factor: f64| Fixed(factor, 1);
    let p = profile;
    match band {
        Band::OverTight => say::over(show(p.over_tight_nm.value)),
        Band::Tight => between(p.tight_nm.value, p.over_tight_nm.value),
        Band::AsNew => between(p.as_new_nm.value, p.tight_nm.value),
        Band::Serviceable => between(p.serviceable_nm.value, p.as_new_nm.value),
        Band::Weak => between(p.doubtful_nm.value, p.serviceable_nm.value),
        Band::Doubtful => say::between_or_factor(
            between(p.failing_nm.value, p.doubtful_nm.value),
            factor(p.doubtful_factor.value),
        ),
        Band::Failing => {
            say::under_or_factor(show(p.failing_nm.value), factor(p.failing_factor.value))
        }
        Band::NotHolding => say::factor_under(factor(p.not_holding_factor.value)),
        Band::CannotTell => say::DOES_NOT_TELL.said(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance (WCAG 2 weights, linear enough for an order).
    fn luminance(rgb: (u8, u8, u8)) -> f64 {
        0.2126 * f64::from(rgb.0) + 0.7152 * f64::from(rgb.1) + 0.0722 * f64::from(rgb.2)
    }

    #[test]
    fn every_band_has_its_own_glyph_and_mark() {
        let looks: Vec<Look> = Band::ALL.into_iter().map(look).chain([UNREAD]).collect();
        for (i, a) in looks.iter().enumerate() {
            for b in &looks[i + 1..] {
                assert_ne!(a.glyph, b.glyph);
                assert_ne!(a.mark, b.mark);
            }
        }
    }

    #[test]
    fn looser_is_darker_in_greyscale() {
        let bands = Band::ALL.into_iter().filter(|band| *band != Band::CannotTell);
        let grey: Vec<f64> = bands.map(|band| luminance(look(band).rgb)).collect();
        assert!(grey.windows(2).all(|pair| pair[0] > pair[1] + 10.0), "{grey:?}");
    }

    #[test]
    fn colour_text_and_numbers_agree() {
        for band in Band::ALL.into_iter().filter(|band| *band != Band::CannotTell) {
            let look = look(band);
            let (r, g, b) = look.rgb;
            assert_eq!(look.colour, format!("#{r:02x}{g:02x}{b:02x}"));
        }
    }
}
