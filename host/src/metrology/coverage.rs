//! Where the true value lies: a best value and what may be wrong with it, each part with its own
//! shape, put together into one distribution (JCGM 101, *propagation of distributions*).
//!
//! Value + Σ parts, the parts independent; correlated ones are first made into one part by the
//! caller ([`super::propagation`]). The answer is computed, not drawn: the distribution function
//! comes from the product of the parts' characteristic functions ([`series`]), to 10⁻⁴ in
//! probability or better, the same bits on every machine.
//!
//! Parts of normal shape are added first, their degrees of freedom joined after Welch and
//! Satterthwaite (JCGM 100, G.4); together they count as one scaled t.
//!
//! Intervals are *probabilistically symmetric*: as much probability below as above. Every part is
//! symmetric about its own middle and highest there, and so is the sum: the interval is the
//! shortest one, too. About the *value* it need not be symmetric: a one-sided part moves it.
//!
//! Deliberately not here: where parts come from, and decisions ([`super::conformity`]).

mod series;
#[cfg(test)]
mod tests;

use thiserror::Error;

use series::Series;

/// Share of the whole spread below which a bounded part counts as normal with the same standard
/// uncertainty: it moves no probability by 10⁻⁶.
const NEGLIGIBLE_SHARE: f64 = 1e-3;

/// One part of what may be wrong with a value, in the value's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Component {
    /// Normal, or a scaled t where the standard uncertainty was itself estimated.
    Normal {
        /// Standard uncertainty, not negative.
        u: f64,
        /// At least 1; infinite where the standard uncertainty is taken as known.
        degrees_of_freedom: f64,
    },
    /// Anywhere within ± half width alike.
    Rectangular {
        /// Not negative.
        half_width: f64,
    },
    /// Anywhere between 0 and this width alike; the sign says which way. For a bias that can only
    /// go one way and was not taken off: the true value lies there from the value shown.
    OneSided {
        /// Negative when the true value can only lie below.
        signed_width: f64,
    },
    /// Sum of two equal rectangular ones.
    Triangular {
        /// Not negative.
        half_width: f64,
    },
}

impl Component {
    /// Normal with a known standard uncertainty.
    pub const fn normal(u: f64) -> Component {
        Component::Normal { u, degrees_of_freedom: f64::INFINITY }
    }

    /// Standard uncertainty (JCGM 100, 4.3).
    pub fn standard_uncertainty(self) -> f64 {
        match self {
            Component::Normal { u, .. } => u,
            Component::Rectangular { half_width } => half_width / 3f64.sqrt(),
            Component::OneSided { signed_width } => signed_width.abs() / 12f64.sqrt(),
            Component::Triangular { half_width } => half_width / 6f64.sqrt(),
        }
    }

    /// What it adds to the value on average.
    pub const fn mean(self) -> f64 {
        match self {
            Component::OneSided { signed_width } => signed_width / 2.0,
            _ => 0.0,
        }
    }

    /// Times a sensitivity.
    #[must_use]
    pub fn scaled(self, sensitivity: f64) -> Component {
        let size = sensitivity.abs();
        match self {
            Component::Normal { u, degrees_of_freedom } => {
                Component::Normal { u: u * size, degrees_of_freedom }
            }
            Component::Rectangular { half_width } => {
                Component::Rectangular { half_width: half_width * size }
            }
            Component::OneSided { signed_width } => {
                Component::OneSided { signed_width: signed_width * sensitivity }
            }
            Component::Triangular { half_width } => {
                Component::Triangular { half_width: half_width * size }
            }
        }
    }

    fn is_valid(self) -> bool {
        match self {
            Component::Normal { u, degrees_of_freedom } => {
                u.is_finite() && u >= 0.0 && degrees_of_freedom >= 1.0
            }
            Component::Rectangular { half_width } | Component::Triangular { half_width } => {
                half_width.is_finite() && half_width >= 0.0
            }
            Component::OneSided { signed_width } => signed_width.is_finite(),
        }
    }
}

/// Why there is no distribution.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum CoverageError {
    /// The value is no number.
    #[error("the value is not finite")]
    Value,
    /// A part is no number, is negative, or has less than one degree of freedom.
    #[error("part {index} of the uncertainty is not finite, negative, or has no degree of freedom")]
    Component {
        /// Which, from 0.
        index: usize,
    },
}

/// From and to, in the value's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// Whether a value lies in it, ends included.
    pub fn contains(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// Where the true value lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Distribution {
    centre: f64,
    standard_uncertainty: f64,
    normal_u: f64,
    degrees_of_freedom: f64,
    /// `None` when nothing is uncertain.
    series: Option<Series>,
}

impl Distribution {
    /// A value and the independent parts of what may be wrong with it.
    ///
    /// # Errors
    /// When a number is not finite or a part is none.
    pub fn new(value: f64, components: &[Component]) -> Result<Distribution, CoverageError> {
        if !value.is_finite() {
            return Err(CoverageError::Value);
        }
        if let Some(index) = components.iter().position(|component| !component.is_valid()) {
            return Err(CoverageError::Component { index });
        }
        let centre = components.iter().fold(value, |sum, component| sum + component.mean());
        let variance = components
            .iter()
            .fold(0.0, |sum, component| sum + square(component.standard_uncertainty()));
        let standard_uncertainty = variance.sqrt();
        let mut half_widths = Vec::new();
        let mut normal_variance = 0.0;
        let mut fourth_over_freedom = 0.0;
        for component in components {
            let (half_width, count) = match *component {
                Component::Normal { u, degrees_of_freedom } => {
                    normal_variance += u * u;
                    fourth_over_freedom += square(u * u) / degrees_of_freedom;
                    continue;
                }
                Component::Rectangular { half_width } => (half_width, 1),
                Component::OneSided { signed_width } => (signed_width.abs() / 2.0, 1),
                Component::Triangular { half_width } => (half_width / 2.0, 2),
            };
            if half_width < NEGLIGIBLE_SHARE * standard_uncertainty {
                normal_variance += square(component.standard_uncertainty());
            } else if half_width > 0.0 {
                half_widths.extend(std::iter::repeat_n(half_width, count));
            }
        }
        let degrees_of_freedom = if fourth_over_freedom > 0.0 {
            square(normal_variance) / fourth_over_freedom
        } else {
            f64::INFINITY
        };
        let normal_u = normal_variance.sqrt();
        let series = (standard_uncertainty > 0.0)
            .then(|| Series::new(normal_u, degrees_of_freedom, &half_widths));
        Ok(Distribution { centre, standard_uncertainty, normal_u, degrees_of_freedom, series })
    }

    /// Its middle: mean and median.
    pub const fn centre(&self) -> f64 {
        self.centre
    }

    /// Combined standard uncertainty: root sum of squares (JCGM 100, 5.1).
    pub const fn standard_uncertainty(&self) -> f64 {
        self.standard_uncertainty
    }

    /// Effective degrees of freedom of the whole after Welch and Satterthwaite, bounded parts
    /// taken as known.
    pub fn degrees_of_freedom(&self) -> f64 {
        if self.normal_u > 0.0 {
            let ratio = square(square(self.standard_uncertainty / self.normal_u));
            self.degrees_of_freedom * ratio
        } else {
            f64::INFINITY
        }
    }

    /// Probability that the true value lies below `limit`.
    pub fn probability_below(&self, limit: f64) -> f64 {
        let Some(series) = &self.series else {
            return if self.centre < limit { 1.0 } else { 0.0 };
        };
        let distance = limit - self.centre;
        0.5 + 0.5 * series.mass_within(distance.abs()).copysign(distance)
    }

    /// Probability that the true value lies between two limits.
    pub fn probability_between(&self, low: f64, high: f64) -> f64 {
        (self.probability_below(high) - self.probability_below(low)).max(0.0)
    }

    /// The limit below which the true value lies with this probability; 0 and 1 give the smallest
    /// and largest value that rounding can tell apart from impossible.
    pub fn quantile(&self, probability: f64) -> f64 {
        let mass = (2.0 * probability - 1.0).clamp(-1.0, 1.0);
        self.centre + self.half_width(mass.abs()).copysign(mass)
    }

    /// Probabilistically symmetric coverage interval, for instance 0.95.
    pub fn interval(&self, probability: f64) -> Interval {
        let half_width = self.half_width(probability.clamp(0.0, 1.0));
        Interval { low: self.centre - half_width, high: self.centre + half_width }
    }

    /// Half width about the centre that holds this probability.
    fn half_width(&self, mass: f64) -> f64 {
        self.series.as_ref().map_or(0.0, |series| series.half_width(mass))
    }
}

fn square(x: f64) -> f64 {
    x * x
}
