//! Student's t and Fisher's F: probabilities and quantiles.
//!
//! Degrees of freedom may be any number above zero, as Welch and Satterthwaite's formula gives
//! them; infinite ones mean the normal law (t) or chi-squared over its degrees of freedom (F) and
//! are accepted for t only. Deliberately not here: where degrees of freedom come from.
//!
//! Invariants: bounded loops, `libm` only, so the same bits on every machine; small tails keep
//! their relative precision.

use std::f64::consts::{PI, SQRT_2};

use super::beta::{Tails, beta_tails};

/// From here on t is taken through the normal law, where the beta function begins to lose digits.
const NEAR_NORMAL_FROM_DOF: f64 = 1e4;
/// From here on it is the normal law to every digit.
const NORMAL_FROM_DOF: f64 = 1e17;
/// Doublings until a bracket holds any quantile a double can hold.
const BRACKET_COUNT_MAX: u32 = 2200;
/// Steps of a quantile's search; bisection alone would need about sixty.
const STEP_COUNT_MAX: u32 = 200;

/// Probability that Student's t with `dof` degrees of freedom is at most `t`, 0–1.
///
/// NaN when `dof` is not above zero, or an argument is NaN.
///
/// ```
/// use pinhold::metrology::student::t_cdf;
/// assert!((t_cdf(1.0, 1.0) - 0.75).abs() < 1e-15);
/// ```
pub fn t_cdf(t: f64, dof: f64) -> f64 {
    t_tails(t, dof).lower
}

/// Probability that Student's t with `dof` degrees of freedom is above `t`, 0–1.
///
/// NaN as in [`t_cdf`]. Keeps its digits far out, where 1 − [`t_cdf`] has none.
pub fn t_upper_tail(t: f64, dof: f64) -> f64 {
    t_tails(t, dof).upper
}

/// Value Student's t with `dof` degrees of freedom stays below with this probability.
///
/// `None` when `probability` is not inside 0–1 or `dof` not above zero.
///
/// ```
/// use pinhold::metrology::student::t_quantile;
/// assert!((t_quantile(0.975, 10.0).unwrap() - 2.228139).abs() < 1e-6);
/// assert_eq!(t_quantile(1.0, 10.0), None);
/// ```
pub fn t_quantile(probability: f64, dof: f64) -> Option<f64> {
    if !inside(probability) || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    if probability < 0.5 {
        return t_with_upper_tail(probability, dof).map(|t| -t);
    }
    t_with_upper_tail(1.0 - probability, dof)
}

/// Factor k so that ±k standard uncertainties hold this share of Student's t, two-sided: 1.96 for
/// 0.95 and infinite degrees of freedom.
///
/// `None` as in [`t_quantile`].
///
/// ```
/// use pinhold::metrology::student::coverage_factor;
/// assert!((coverage_factor(0.95, f64::INFINITY).unwrap() - 1.959964).abs() < 1e-6);
/// ```
pub fn coverage_factor(level: f64, dof: f64) -> Option<f64> {
    if !inside(level) || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    t_with_upper_tail(0.5 * (1.0 - level), dof)
}

/// Probability that Fisher's F is at most `f`, 0–1; degrees of freedom of numerator and
/// denominator, both finite.
///
/// NaN when they are not above zero, or an argument is NaN.
pub fn f_cdf(f: f64, numerator_dof: f64, denominator_dof: f64) -> f64 {
    f_tails(f, numerator_dof, denominator_dof).lower
}

/// Probability that Fisher's F is above `f`, 0–1: the p-value of a test that found `f`.
///
/// NaN as in [`f_cdf`].
///
/// ```
/// use pinhold::metrology::student::f_upper_tail;
/// assert!((f_upper_tail(4.0, 2.0, 2.0) - 0.2).abs() < 1e-15);
/// ```
pub fn f_upper_tail(f: f64, numerator_dof: f64, denominator_dof: f64) -> f64 {
    f_tails(f, numerator_dof, denominator_dof).upper
}

/// Value Fisher's F stays below with this probability.
///
/// `None` when `probability` is not inside 0–1 or degrees of freedom not above zero and finite.
pub fn f_quantile(probability: f64, numerator_dof: f64, denominator_dof: f64) -> Option<f64> {
    let (m, n) = (numerator_dof, denominator_dof);
    if !inside(probability) || !is_dof(m) || !is_dof(n) {
        return None;
    }
    if probability < 0.5 {
        // 1 / F has its degrees of freedom the other way round.
        return f_quantile_above_half(1.0 - probability, probability, n, m).map(|f| 1.0 / f);
    }
    f_quantile_above_half(probability, 1.0 - probability, m, n)
}

fn f_quantile_above_half(lower: f64, upper: f64, m: f64, n: f64) -> Option<f64> {
    let log_constant = 0.5 * m * libm::log(m / n) - log_beta_half(m, n);
    let density = |f: f64| {
        let log =
            log_constant + (0.5 * m - 1.0) * libm::log(f) - 0.5 * (m + n) * libm::log1p(m * f / n);
        libm::exp(log)
    };
    solve(Tails { lower, upper }, |f| (f_tails(f, m, n), density(f)))
}

fn log_beta_half(m: f64, n: f64) -> f64 {
    super::beta::log_beta(0.5 * m, 0.5 * n)
}

fn inside(probability: f64) -> bool {
    probability > 0.0 && probability < 1.0
}

fn is_dof(dof: f64) -> bool {
    dof > 0.0 && dof.is_finite()
}

fn t_tails(t: f64, dof: f64) -> Tails {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return Tails::NAN;
    }
    let upper = t_upper_half(t.abs(), dof);
    let above = Tails { lower: 1.0 - upper, upper };
    if t < 0.0 { above.swapped() } else { above }
}

/// Probability beyond `t`, which is not negative.
fn t_upper_half(t: f64, dof: f64) -> f64 {
    if dof >= NEAR_NORMAL_FROM_DOF {
        return 0.5 * libm::erfc(normal_deviate(t, dof) / SQRT_2);
    }
    // Shares of dof and t² in their sum, without squaring what may overflow.
    let ratio = t / dof.sqrt();
    if ratio > 1e150 {
        return 0.0;
    }
    let square = ratio * ratio;
    0.5 * beta_tails(0.5 * dof, 0.5, 1.0 / (1.0 + square), square / (1.0 + square)).lower
}

/// The standard normal deviate with the same tail as `t`, for many degrees of freedom: the first
/// terms of Hill's expansion (G. W. Hill, Algorithm 395, Communications of the ACM 13, 1970); the
/// next is below 1e-13 of it up to seven deviations.
fn normal_deviate(t: f64, dof: f64) -> f64 {
    if dof >= NORMAL_FROM_DOF {
        return t;
    }
    let a = dof - 0.5;
    let ratio = t / dof.sqrt();
    let square = a * libm::log1p(ratio * ratio);
    square.sqrt() * (1.0 + (square + 3.0) / (48.0 * a * a))
}

fn t_density(t: f64, dof: f64) -> f64 {
    if dof >= NORMAL_FROM_DOF {
        return libm::exp(-0.5 * t * t) / (2.0 * PI).sqrt();
    }
    let log_constant = -0.5 * libm::log(dof) - super::beta::log_beta(0.5 * dof, 0.5);
    libm::exp(log_constant - 0.5 * (dof + 1.0) * libm::log1p(t * t / dof))
}

/// The t, not negative, with this much probability beyond it; `upper` inside 0 to 1/2.
fn t_with_upper_tail(upper: f64, dof: f64) -> Option<f64> {
    if upper >= 0.5 {
        return Some(0.0);
    }
    solve(Tails { lower: 1.0 - upper, upper }, |t| (t_tails(t, dof), t_density(t, dof)))
}

fn f_tails(f: f64, m: f64, n: f64) -> Tails {
    if f.is_nan() || !is_dof(m) || !is_dof(n) {
        return Tails::NAN;
    }
    if f <= 0.0 {
        return Tails { lower: 0.0, upper: 1.0 };
    }
    let ratio = m / n * f;
    if ratio.is_infinite() {
        return Tails { lower: 1.0, upper: 0.0 };
    }
    beta_tails(0.5 * m, 0.5 * n, ratio / (1.0 + ratio), 1.0 / (1.0 + ratio))
}

/// The point above zero where the upper tail is `wanted.upper` (at most about 1/2): Newton's
/// steps on the tail's logarithm, halving where one leaves the bracket.
fn solve(wanted: Tails, law: impl Fn(f64) -> (Tails, f64)) -> Option<f64> {
    let log_wanted = libm::log(wanted.upper);
    let (mut below, mut above) = (0.0, 1.0);
    for _ in 0..BRACKET_COUNT_MAX {
        if law(above).0.upper <= wanted.upper {
            break;
        }
        below = above;
        above *= 2.0;
    }
    if !f64::is_finite(above) {
        return None;
    }
    let mut point: f64 = above;
    for _ in 0..STEP_COUNT_MAX {
        let (tails, density) = law(point);
        if tails.upper > wanted.upper {
            below = point;
        } else {
            above = point;
        }
        let step = (libm::log(tails.upper) - log_wanted) * tails.upper / density;
        let newton = point + step;
        let next = if newton > below && newton < above { newton } else { 0.5 * (below + above) };
        let moved = (next - point).abs();
        point = next;
        if moved <= 2.0 * f64::EPSILON * point {
            break;
        }
    }
    Some(point)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assert_close(got: f64, want: f64, relative: f64) {
        assert!((got - want).abs() <= relative * want.abs(), "{got:e} is not {want:e}");
    }

    /// Probability beyond t for one, two and four degrees of freedom, in closed form.
    fn closed_upper(t: f64, dof: u32) -> f64 {
        match dof {
            1 => libm::atan2(1.0, t) / PI,
            2 => 1.0 / ((2.0 + t * t) * (1.0 + t / (2.0 + t * t).sqrt())),
            _ => {
                // x = t/√(4 + t²): (2 + x)(1 − x)²/4, and (1 − x) = 4/((4 + t²)(1 + x)).
                let x = t / (4.0 + t * t).sqrt();
                let rest = 4.0 / ((4.0 + t * t) * (1.0 + x));
                (2.0 + x) * rest * rest / 4.0
            }
        }
    }

    #[test]
    fn students_t_in_closed_form_and_back() {
        for dof in [1, 2, 4] {
            for t in [0.001, 0.3, 1.0, 2.5, 12.7, 1000.0, 3e6] {
                let want = closed_upper(t, dof);
                assert_close(t_upper_tail(t, f64::from(dof)), want, 2e-14);
                assert_close(t_cdf(-t, f64::from(dof)), want, 2e-14);
                let back = t_quantile(want, f64::from(dof)).unwrap();
                assert_close(back, -t, if t < 0.1 { 1e-12 } else { 1e-13 });
            }
        }
    }

    #[test]
    fn many_degrees_of_freedom_are_the_normal_law() {
        // Abramowitz and Stegun (1964), 26.7.5: t = z + (z³ + z)/(4ν) + …
        let z = coverage_factor(0.95, f64::INFINITY).unwrap();
        assert_close(z, 1.959_963_984_540_054, 1e-15);
        for dof in [1e5, 1e6, 1e8, 1e9] {
            let first = z + (z * z * z + z) / (4.0 * dof);
            let second = (5.0 * z.powi(5) + 16.0 * z * z * z + 3.0 * z) / (96.0 * dof * dof);
            assert_close(coverage_factor(0.95, dof).unwrap(), first + second, 1e-12);
        }
        assert_close(coverage_factor(0.95, 2e17).unwrap(), z, 1e-15);
        // Both ways meet where one takes over from the other.
        let border = NEAR_NORMAL_FROM_DOF;
        for t in [0.1, 1.0, 3.0, 6.0] {
            let slope = t_upper_tail(t, border) - t_upper_tail(t, border + 1.0);
            let below = t_upper_tail(t, border - 1e-9);
            assert!(slope.abs() < 1e-3 * below);
            assert_close(t_upper_tail(t, border), below, 2e-11);
        }
    }

    #[test]
    fn fishers_f_in_closed_form_and_back() {
        // With two degrees of freedom in the numerator the upper tail is (1 + 2f/n)^(−n/2).
        for n in [1.0, 3.0, 10.0, 57.5] {
            for f in [0.01, 0.5, 1.0, 4.0, 250.0] {
                let upper = libm::exp(-0.5 * n * libm::log1p(2.0 * f / n));
                assert_close(f_upper_tail(f, 2.0, n), upper, 1e-13);
                assert_close(f_cdf(1.0 / f, n, 2.0), upper, 1e-13);
                if upper > 1e-3 {
                    assert_close(f_quantile(1.0 - upper, 2.0, n).unwrap(), f, 1e-11);
                }
                assert_close(f_quantile(upper, n, 2.0).unwrap(), 1.0 / f, 1e-11);
            }
        }
        // F with one degree of freedom in the numerator is t².
        for dof in [1.0, 5.0, 16.656] {
            let t = coverage_factor(0.99, dof).unwrap();
            assert_close(f_quantile(0.99, 1.0, dof).unwrap(), t * t, 1e-11);
        }
    }

    #[test]
    fn quantiles_invert_the_law_everywhere() {
        for dof in [0.3, 1.0, 2.2, 7.0, 33.3, 400.0, 1e7] {
            for upper in [1e-12, 1e-6, 0.001, 0.025, 0.2, 0.4, 0.499_999] {
                let t = -t_quantile(upper, dof).unwrap();
                assert_close(t_upper_tail(t, dof), upper, 1e-11);
                assert!(t > 0.0);
            }
        }
        for (m, n) in [(0.7, 2.0), (3.0, 4.0), (40.0, 12.0), (1000.0, 2000.0)] {
            for probability in [1e-6, 0.01, 0.4, 0.6, 0.95, 0.999_9] {
                let f = f_quantile(probability, m, n).unwrap();
                assert_close(f_cdf(f, m, n), probability, 1e-11);
            }
        }
    }

    #[test]
    fn what_is_no_probability_has_no_quantile() {
        for probability in [0.0, 1.0, -0.1, f64::NAN] {
            assert_eq!(t_quantile(probability, 5.0), None);
            assert_eq!(coverage_factor(probability, 5.0), None);
            assert_eq!(f_quantile(probability, 5.0, 5.0), None);
        }
        for dof in [0.0, -1.0, f64::NAN] {
            assert_eq!(t_quantile(0.5, dof), None);
            assert!(t_cdf(1.0, dof).is_nan());
            assert!(f_cdf(1.0, dof, 3.0).is_nan());
        }
        assert_eq!(t_quantile(0.5, 5.0), Some(0.0));
        assert_eq!(t_cdf(0.0, 5.0), 0.5);
        assert_eq!(t_upper_tail(f64::INFINITY, 5.0), 0.0);
    }
}
