//! Numbers of twice a double's precision, for sums and fits whose digits would cancel.
//!
//! A number is the unevaluated sum of two doubles. Error-free sums after Knuth, products after
//! Dekker and Veltkamp (T. J. Dekker, Numerische Mathematik 18, 1971): about 31 digits. Plain
//! additions and products only, so the same bits on every machine.
//!
//! Invariant: arguments are of moderate size (a caller scales by powers of two), because Dekker's
//! split overflows above 1e300.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// The sum of two doubles, the second below the last digit of the first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Double {
    high: f64,
    low: f64,
}

/// Exact sum of any two doubles.
fn exact_sum(a: f64, b: f64) -> Double {
    let high = a + b;
    let shadow = high - a;
    Double { high, low: (a - (high - shadow)) + (b - shadow) }
}

/// Exact sum where |a| ≥ |b|.
fn exact_sum_ordered(a: f64, b: f64) -> Double {
    let high = a + b;
    Double { high, low: b - (high - a) }
}

/// The upper and the lower half of a double's digits.
fn split(a: f64) -> (f64, f64) {
    let shifted = 134_217_729.0 * a;
    let high = shifted - (shifted - a);
    (high, a - high)
}

/// Exact product of two doubles.
fn exact_product(a: f64, b: f64) -> Double {
    let high = a * b;
    let (a_high, a_low) = split(a);
    let (b_high, b_low) = split(b);
    let low = ((a_high * b_high - high) + a_high * b_low + a_low * b_high) + a_low * b_low;
    Double { high, low }
}

impl Double {
    /// Nothing.
    pub(super) const ZERO: Double = Double { high: 0.0, low: 0.0 };
    /// One.
    pub(super) const ONE: Double = Double { high: 1.0, low: 0.0 };

    /// The nearest double.
    pub(super) fn rounded(self) -> f64 {
        self.high
    }

    /// Square root; of what is not above zero, zero.
    pub(super) fn sqrt(self) -> Double {
        if self.high <= 0.0 {
            return Double::ZERO;
        }
        // One step of Newton's from the double root.
        let root = self.high.sqrt();
        let rest = self - exact_product(root, root);
        exact_sum_ordered(root, rest.high / (2.0 * root))
    }

    /// The product with itself.
    pub(super) fn squared(self) -> Double {
        self * self
    }

    /// Without its sign.
    pub(super) fn abs(self) -> Double {
        if self.high < 0.0 { -self } else { self }
    }
}

impl From<f64> for Double {
    fn from(value: f64) -> Double {
        Double { high: value, low: 0.0 }
    }
}

impl Add for Double {
    type Output = Double;
    fn add(self, other: Double) -> Double {
        let high = exact_sum(self.high, other.high);
        let low = exact_sum(self.low, other.low);
        let sum = exact_sum_ordered(high.high, high.low + low.high);
        exact_sum_ordered(sum.high, sum.low + low.low)
    }
}

impl Neg for Double {
    type Output = Double;
    fn neg(self) -> Double {
        Double { high: -self.high, low: -self.low }
    }
}

impl Sub for Double {
    type Output = Double;
    fn sub(self, other: Double) -> Double {
        self + -other
    }
}

impl Mul for Double {
    type Output = Double;
    fn mul(self, other: Double) -> Double {
        let product = exact_product(self.high, other.high);
        let low = product.low + (self.high * other.low + self.low * other.high);
        exact_sum_ordered(product.high, low)
    }
}

impl Div for Double {
    type Output = Double;
    fn div(self, other: Double) -> Double {
        let first = self.high / other.high;
        let rest = self - other * Double::from(first);
        let second = rest.high / other.high;
        let rest = rest - other * Double::from(second);
        let sum = exact_sum_ordered(first, second);
        sum + Double::from(rest.high / other.high)
    }
}

/// Sum in index order.
pub(super) fn sum(values: impl Iterator<Item = Double>) -> Double {
    values.fold(Double::ZERO, |sum, value| sum + value)
}

/// Sum of products in index order.
pub(super) fn dot(left: &[Double], right: &[Double]) -> Double {
    sum(left.iter().zip(right).map(|(l, r)| *l * *r))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cancels_in_a_double_stays() {
        let tiny = 1e-25;
        let sum = Double::from(1.0) + Double::from(tiny);
        assert_eq!((sum - Double::ONE).rounded(), tiny);
        // (1 + 2⁻⁴⁰)² = 1 + 2⁻³⁹ + 2⁻⁸⁰
        let step = 2.0_f64.powi(-40);
        let square = (Double::ONE + Double::from(step)).squared();
        let rest = square - Double::ONE - Double::from(2.0 * step);
        assert_eq!(rest.rounded(), step * step);
    }

    #[test]
    fn quotients_and_roots_come_back_to_thirty_digits() {
        for value in [3.0, 0.1, 7.25e9, 1.0e-7, 2.0] {
            let value = Double::from(value);
            let third = value / Double::from(3.0);
            let back = third * Double::from(3.0) - value;
            assert!(back.rounded().abs() <= 1e-30 * value.rounded(), "{back:?}");
            let rest = value.sqrt().squared() - value;
            assert!(rest.rounded().abs() <= 1e-30 * value.rounded(), "{rest:?}");
        }
        assert_eq!(Double::from(-1.0).sqrt(), Double::ZERO);
        assert_eq!(Double::from(-2.0).abs().rounded(), 2.0);
    }
}
