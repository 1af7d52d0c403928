//! What a map shows: five views, each with the classes its shading is cut into.
//!
//! Invariants: a scale has as many classes as there are shades; a darker class is always the one
//! to worry about; the limits of torque and holding factor are the profile's bands, so that
//! picture, bands and verdict speak of the same numbers.

use crate::analysis::field::grid::GridCell;
use crate::analysis::{Band, Profile};
use crate::units::TorqueUnit;
use crate::words::{Numeral, Said, pictures as say, plank};

/// What is drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum View {
    /// Friction of the plank.
    #[default]
    Torque,
    /// Friction over the string's moment at target pitch.
    Holding,
    /// Chance that a pin there is doubtful or worse.
    Loose,
    /// How well the friction of the plank is known.
    Uncertainty,
    /// What stands out: pins against the plank round them, the plank against a sound one.
    Residual,
}

/// Shades from light to dark. One hue, so that only lightness speaks.
pub(crate) const SHADES: [&str; CLASS_COUNT] =
    ["#fbf8f2", "#efe3d0", "#d9c2a0", "#b8946a", "#875c38", "#4a2a14"];
/// The same as numbers, for terminals.
pub(crate) const SHADES_RGB: [(u8, u8, u8); CLASS_COUNT] = [
    (251, 248, 242),
    (239, 227, 208),
    (217, 194, 160),
    (184, 148, 106),
    (135, 92, 56),
    (74, 42, 20),
];
/// Terminal glyphs of the classes, light to dark: those of the bands that mean as much.
pub(crate) const CLASS_GLYPHS: [char; CLASS_COUNT] = ['-', '~', 'o', 'x', 'X', '#'];
/// Classes of every scale.
pub(crate) const CLASS_COUNT: usize = 6;

impl View {
    /// All views, in the order they are offered.
    pub const ALL: [View; 5] =
        [View::Torque, View::Holding, View::Loose, View::Uncertainty, View::Residual];

    /// The word on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            View::Torque => "torque",
            View::Holding => "holding",
            View::Loose => "loose",
            View::Uncertainty => "uncertainty",
            View::Residual => "residual",
        }
    }

    /// The view of a word.
    pub fn from_word(word: &str) -> Option<View> {
        View::ALL.into_iter().find(|view| view.word() == word)
    }

    /// The picture's heading.
    pub const fn title(self) -> &'static str {
        match self {
            View::Torque => "Friction of the plank: the darker, the looser",
            View::Holding => "Holding factor: the darker, the less it holds",
            View::Loose => "Chance of a loose pin: the darker, the likelier",
            View::Uncertainty => "How well it is known: the darker, the less",
            View::Residual => "What stands out: dark wood, or single dark pins",
        }
    }

    /// What the shading is, with its unit.
    pub fn quantity(self, unit: TorqueUnit) -> Said {
        match self {
            View::Torque => say::friction_in(unit.to_string()),
            View::Holding => say::HOLDING.said(),
            View::Loose => say::LOOSE_CHANCE.said(),
            View::Uncertainty => say::u_of_friction(unit.to_string()),
            View::Residual => say::SOUND_SHARE.said(),
        }
    }

    /// The value of a cell that is shaded, in the scale's unit.
    pub(crate) fn value(self, cell: &GridCell) -> f64 {
        match self {
            View::Torque => cell.friction_nm.value,
            View::Holding => cell.holding_factor.value,
            View::Loose => cell.loose_chance,
            View::Uncertainty => cell.friction_nm.u,
            View::Residual => cell.sound_share,
        }
    }

    /// The classes of this view.
    pub(crate) fn scale(self, profile: &Profile, unit: TorqueUnit) -> Scale {
        let p = profile;
        match self {
            View::Torque => {
                let upper = 0.5 * (p.as_new_nm.value + p.tight_nm.value);
                let limits = [
                    upper,
                    p.as_new_nm.value,
                    p.serviceable_nm.value,
                    p.doubtful_nm.value,
                    p.failing_nm.value,
                ];
                let words = [Band::AsNew, Band::Serviceable, Band::Weak, Band::Doubtful];
                let words = words.into_iter().chain([Band::Failing]).map(Some);
                let words = std::iter::once(None).chain(words).collect();
                let shown =
                    |nm: f64| format!("{:.*}", unit.decimals(), unit.from_newton_metres(nm));
                Scale::falling(limits, &shown, words)
            }
            View::Holding => {
                let doubtful = p.doubtful_factor.value;
                let limits = [
                    FACTOR_AMPLE.max(doubtful + 1.0),
                    FACTOR_ENOUGH.max(doubtful + 0.5),
                    doubtful,
                    p.failing_factor.value,
                    p.not_holding_factor.value,
                ];
                let words = [Band::Doubtful, Band::Failing, Band::NotHolding];
                let words = [None; 3].into_iter().chain(words.map(Some)).collect();
                Scale::falling(limits, &|factor| format!("{factor:.1}"), words)
            }
            View::Loose => Scale::rising(LOOSE_LIMITS, &percent),
            View::Uncertainty => {
                let limits = uncertainty_limits(unit);
                let shown =
                    |nm: f64| format!("{:.*}", unit.decimals(), unit.from_newton_metres(nm));
                Scale::rising(limits, &shown)
            }
            View::Residual => Scale::falling(SHARE_LIMITS, &percent, vec![None; CLASS_COUNT]),
        }
    }
}

/// Holding factors between which the light shades lie; about 2 is a treble pin at 50 in·lbf, 2.5
/// the lower end of a workshop's design rule (ONE).
const FACTOR_AMPLE: f64 = 2.5;
const FACTOR_ENOUGH: f64 = 2.0;
/// Chances between the shades; a sound plank lies under the first, scatter included (ours).
const LOOSE_LIMITS: [f64; 5] = [0.05, 0.10, 0.25, 0.50, 0.75];
/// Shares of a sound plank's friction between the shades (ours).
const SHARE_LIMITS: [f64; 5] = [0.90, 0.80, 0.65, 0.50, 0.35];

/// Uncertainties between the shades: round numbers in the user's unit, N·m (ours).
fn uncertainty_limits(unit: TorqueUnit) -> [f64; 5] {
    let shown = match unit {
        TorqueUnit::NewtonMetre => [0.2, 0.4, 0.7, 1.0, 1.5],
        TorqueUnit::InchPoundForce | TorqueUnit::KilogramForceCentimetre => {
            [2.0, 4.0, 7.0, 10.0, 15.0]
        }
    };
    shown.map(|value| value * unit.newton_metres())
}

fn percent(share: f64) -> String {
    format!("{:.0}", 100.0 * share)
}

/// Values cut into classes, the lightest first.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Scale {
    limits: [f64; CLASS_COUNT - 1],
    falling: bool,
    /// What each class covers, with its word where it has one.
    pub(crate) labels: Vec<Said>,
}

impl Scale {
    /// Darker where the value is smaller.
    fn falling(
        limits: [f64; CLASS_COUNT - 1],
        shown: &dyn Fn(f64) -> String,
        words: Vec<Option<Band>>,
    ) -> Scale {
        let ranges = ranges(limits, shown, true);
        let labels = ranges.into_iter().zip(words).map(|(range, band)| match band {
            None => range,
            Some(band) => Said::joined(&[range, plank::band(band).said()], " "),
        });
        Scale { limits, falling: true, labels: labels.collect() }
    }

    /// Darker where the value is greater.
    fn rising(limits: [f64; CLASS_COUNT - 1], shown: &dyn Fn(f64) -> String) -> Scale {
        Scale { limits, falling: false, labels: ranges(limits, shown, false) }
    }

    /// The class of a value; `None` for what is no number.
    pub(crate) fn class(&self, value: f64) -> Option<usize> {
        if value.is_nan() {
            return None;
        }
        let past = |limit: &&f64| if self.falling { value < **limit } else { value >= **limit };
        Some(self.limits.iter().filter(past).count())
    }
}

/// What each class covers; the first is open above where `falling`, else below.
fn ranges(
    limits: [f64; CLASS_COUNT - 1],
    shown: &dyn Fn(f64) -> String,
    falling: bool,
) -> Vec<Said> {
    let shown = |limit: f64| Numeral(shown(limit));
    let open = |above: bool, limit: f64| {
        if above { say::and_more(shown(limit)) } else { say::under(shown(limit)) }
    };
    let mut ranges = vec![open(falling, limits[0])];
    for pair in limits.windows(2) {
        let (low, high) = (pair[0].min(pair[1]), pair[0].max(pair[1]));
        ranges.push(say::between(shown(low), shown(high)));
    }
    ranges.push(open(!falling, limits[CLASS_COUNT - 2]));
    ranges
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNITS: [TorqueUnit; 3] =
        [TorqueUnit::NewtonMetre, TorqueUnit::InchPoundForce, TorqueUnit::KilogramForceCentimetre];

    #[test]
    fn every_shade_is_darker_than_the_one_before_in_greyscale() {
        // Luma of Rec. 601, as a plain greyscale conversion takes it.
        let luma = |(r, g, b): (u8, u8, u8)| {
            0.299 * f64::from(r) + 0.587 * f64::from(g) + 0.114 * f64::from(b)
        };
        let grey: Vec<f64> = SHADES_RGB.into_iter().map(luma).collect();
        assert!(grey.windows(2).all(|pair| pair[0] - pair[1] > 16.0), "{grey:?}");
        for (text, (r, g, b)) in SHADES.into_iter().zip(SHADES_RGB) {
            assert_eq!(text, format!("#{r:02x}{g:02x}{b:02x}"));
        }
    }

    #[test]
    fn worse_is_never_lighter() {
        let profile = Profile::default();
        for unit in UNITS {
            for view in View::ALL {
                let scale = view.scale(&profile, unit);
                assert_eq!(scale.labels.len(), CLASS_COUNT, "{view:?}");
                let classes: Vec<usize> =
                    (0..400).filter_map(|i| scale.class(f64::from(i) * 0.05)).collect();
                let falling = matches!(view, View::Torque | View::Holding | View::Residual);
                let ordered =
                    |pair: &[usize]| if falling { pair[0] >= pair[1] } else { pair[0] <= pair[1] };
                assert!(classes.windows(2).all(ordered), "{view:?}");
                assert!(classes.contains(&0) && classes.contains(&(CLASS_COUNT - 1)), "{view:?}");
                assert_eq!(scale.class(f64::NAN), None);
            }
        }
    }

    #[test]
    fn classes_are_the_bands_in_the_users_unit() {
        let scale = View::Torque.scale(&Profile::default(), TorqueUnit::InchPoundForce);
        assert_eq!(&*scale.labels[5], "under 30 failing");
        assert_eq!(&*scale.labels[4], "30–50 doubtful");
        assert_eq!(scale.class(3.3), Some(5));
        assert_eq!(scale.class(12.0), Some(1));
        let scale = View::Holding.scale(&Profile::default(), TorqueUnit::NewtonMetre);
        assert_eq!(&*scale.labels[5], "under 1.0 not holding");
        assert_eq!(&*scale.labels[0], "2.5 and more");
    }

    #[test]
    fn words_name_views() {
        for view in View::ALL {
            assert_eq!(View::from_word(view.word()), Some(view));
        }
        assert_eq!(View::from_word("colour"), None);
    }
}
