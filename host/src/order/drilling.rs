//! Holes to drill for pins, as a range to try in scrap.
//!
//! Quoted bits leave 0.4 to 0.9 mm of interference, 6–12 % of the diameter (DER from quoted bits,
//! common practice without a source): the wood is crushed, not stretched, so no press-fit formula
//! says which bit is right. A trial in scrap of the same wood, read with the lever, does.

/// Interference that quoted bits leave, µm, least and greatest.
const INTERFERENCE_UM: (u32, u32) = (400, 900);
/// Letter drills, µm (.242, .246, .250, .257, .261 and .266 in).
const LETTER_DRILLS: [(char, u32); 6] =
    [('C', 6147), ('D', 6248), ('E', 6350), ('F', 6528), ('G', 6629), ('H', 6756)];
/// Friction to aim at in a new plank, N·m: 100–120 in·lbf (PRAC).
pub const AIM_NM: (f64, f64) = (11.3, 13.6);

/// Bits to try.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drilling {
    /// Diameter of the pin, µm.
    pub pin_um: u32,
    /// Smallest hole to try, µm: the tightest.
    pub least_um: u32,
    /// Largest hole to try, µm.
    pub greatest_um: u32,
    /// Letter drills within.
    pub letters: Vec<char>,
}

impl Drilling {
    /// For a pin of this diameter, µm.
    pub fn for_pin(pin_um: u32) -> Drilling {
        let least_um = pin_um.saturating_sub(INTERFERENCE_UM.1);
        let greatest_um = pin_um.saturating_sub(INTERFERENCE_UM.0);
        let within = |um: u32| (least_um..=greatest_um).contains(&um);
        let letters = LETTER_DRILLS.into_iter().filter(|(_, um)| within(*um));
        Drilling { pin_um, least_um, greatest_um, letters: letters.map(|(c, _)| c).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_lie_within_the_quoted_interference() {
        let drilling = Drilling::for_pin(7010);
        assert_eq!((drilling.least_um, drilling.greatest_um), (6110, 6610));
        assert_eq!(drilling.letters, vec!['C', 'D', 'E', 'F']);
        for (_, um) in LETTER_DRILLS {
            let share = f64::from(7010 - um.min(7010)) / 7010.0;
            assert!(share < 0.13, "{um}");
        }
        assert_eq!(Drilling::for_pin(300).least_um, 0);
    }
}
