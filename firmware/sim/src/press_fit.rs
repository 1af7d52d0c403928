//! Elastic press fit of a pin in a hole: Lamé's thick-walled cylinders.
//!
//! An isotropic stand-in for wood, which really yields, creeps and differs with the grain: good for
//! one law among others of what a larger pin gains, not for saying what a plank does. Any
//! consistent units; with metres and pascals torque is in N·m.
//!
//! Deliberately not here: where the hole came from, and yield.

/// One of the two bodies: a tube about the common axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// The radius that is not the interface: bore of the inner body (0 for a solid pin), outside
    /// of the outer one (may be infinite).
    pub far_radius: f64,
    /// Young's modulus.
    pub modulus: f64,
    /// Poisson's ratio.
    pub poisson: f64,
}

/// Pressure between two bodies whose radii at the interface differ by `interference` (A. P. Boresi
/// and R. J. Schmidt, *Advanced Mechanics of Materials*, ch. 11, after Lamé).
pub fn contact_pressure(inner: Body, outer: Body, radius: f64, interference: f64) -> f64 {
    let inside = (inner.far_radius / radius) * (inner.far_radius / radius);
    // Written by the inverse, so that an infinite block is no special case.
    let outside = (radius / outer.far_radius) * (radius / outer.far_radius);
    let of_inner = ((1.0 + inside) / (1.0 - inside) - inner.poisson) / inner.modulus;
    let of_outer = ((1.0 + outside) / (1.0 - outside) + outer.poisson) / outer.modulus;
    interference / radius / (of_inner + of_outer)
}

/// Friction torque of a pin under this pressure over a length: 2π·r²·L·μ·p.
pub fn friction_torque(pressure: f64, radius: f64, length: f64, coefficient: f64) -> f64 {
    core::f64::consts::TAU * radius * radius * length * coefficient * pressure
}

/// Steel of a pin: 205 GPa and 0.29 (handbook values).
pub const STEEL_PIN: Body = Body { far_radius: 0.0, modulus: 205e9, poisson: 0.29 };
