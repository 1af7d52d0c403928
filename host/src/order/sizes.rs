//! Pin sizes as they are sold.
//!
//! Labels collide: the same label is 7.00 mm in one scheme and 7.16 mm in another. So a size is
//! micrometres, and a label stands beside it with its scheme. Inch sizes 1/0 and 2/0 are reported
//! several times (ONE); the larger ones are from memory (MEM). Metric sizes go in steps of 0.05
//! and 0.1 mm (MEM).

use crate::report::diameter;

/// A size of the inch scheme.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InchSize {
    /// Label in this scheme.
    pub label: &'static str,
    /// Thousandths of an inch.
    pub thousandths: u32,
}

/// The inch scheme, smallest first.
pub const INCH_SIZES: [InchSize; 8] = [
    InchSize { label: "1/0", thousandths: 276 },
    InchSize { label: "2/0", thousandths: 282 },
    InchSize { label: "3/0", thousandths: 286 },
    InchSize { label: "4/0", thousandths: 291 },
    InchSize { label: "5/0", thousandths: 296 },
    InchSize { label: "6/0", thousandths: 301 },
    InchSize { label: "7/0", thousandths: 306 },
    InchSize { label: "8/0", thousandths: 311 },
];

/// Metric sizes, hundredths of a millimetre.
const METRIC_SIZES: [u32; 16] =
    [680, 690, 700, 710, 715, 720, 725, 730, 735, 740, 745, 750, 760, 770, 780, 790];

/// Micrometres that a diameter may lie from a size to be called by it: half a step (DER).
const NEAR_UM: u32 = 60;

impl InchSize {
    /// Diameter, µm. An inch is 25.4 mm (NIST SP 811).
    pub const fn diameter_um(self) -> u32 {
        (self.thousandths * 254 + 5) / 10
    }
}

/// The nearest inch size, when one is near.
pub fn inch_size(diameter_um: u32) -> Option<InchSize> {
    let nearest = INCH_SIZES.into_iter().min_by_key(|s| s.diameter_um().abs_diff(diameter_um))?;
    (nearest.diameter_um().abs_diff(diameter_um) <= NEAR_UM).then_some(nearest)
}

/// The nearest metric size, µm, when one is near.
pub fn metric_size_um(diameter_um: u32) -> Option<u32> {
    let sizes = METRIC_SIZES.into_iter().map(|hundredths| 10 * hundredths);
    let nearest = sizes.min_by_key(|um| um.abs_diff(diameter_um))?;
    (nearest.abs_diff(diameter_um) <= NEAR_UM).then_some(nearest)
}

/// A diameter with the sizes it may be ordered as.
pub fn words(diameter_um: u32) -> String {
    let mut sold = Vec::new();
    if let Some(size) = inch_size(diameter_um) {
        sold.push(format!(".{} in, {} in the inch scheme", size.thousandths, size.label));
    }
    if let Some(um) = metric_size_um(diameter_um).filter(|um| *um != diameter_um) {
        sold.push(diameter(um));
    }
    match sold.is_empty() {
        true => diameter(diameter_um),
        false => format!("{} (nearest sold: {})", diameter(diameter_um), sold.join("; ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inch_sizes_are_the_listed_millimetres() {
        let listed = [7010, 7163, 7264, 7391, 7518, 7645, 7772, 7899];
        assert_eq!(INCH_SIZES.map(InchSize::diameter_um), listed);
    }

    #[test]
    fn a_diameter_is_called_by_the_nearest_size_or_none() {
        assert_eq!(inch_size(7280).map(|s| s.label), Some("3/0"));
        assert_eq!(inch_size(6800), None);
        assert_eq!(metric_size_um(7280), Some(7300));
        assert_eq!(words(7280), "7.28 mm (nearest sold: .286 in, 3/0 in the inch scheme; 7.30 mm)");
        assert_eq!(words(6500), "6.50 mm");
        assert_eq!(words(7000), "7.00 mm (nearest sold: .276 in, 1/0 in the inch scheme)");
    }
}
