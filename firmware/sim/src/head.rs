//! The lever's head: one mass between the hand's stiffness and whatever resists it.
//!
//! Stepped by the semi-implicit Euler rule, whose sum of rates is the angle exactly, as a real
//! gyro's is. At one millisecond it is stable for anything softer than 4·I/Δt², three orders of
//! magnitude above a tuning pin on a lever.
//!
//! Deliberately not here: what resists, and what the hand wants.

/// A lever's head held by a hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Head {
    /// Moment of inertia about the pin's axis, kg·m².
    pub inertia_kg_m2: f64,
    /// Stiffness of hand and lever together, N·m/rad.
    pub grip_nm_per_rad: f64,
    /// Damping of the hand, N·m·s/rad.
    pub damping_nm_s_per_rad: f64,
    /// Angle, rad, sharp positive.
    pub angle_rad: f64,
    /// Rate, rad/s.
    pub rate_rad_s: f64,
    /// Torque of the hand in the last step, N·m.
    pub hand_nm: f64,
}

impl Head {
    /// One step with the hand at `place_rad` moving at `speed_rad_s`, a constant `weight_nm`, and
    /// whatever `resisting_nm` says it takes to be at an angle.
    pub fn step(
        &mut self,
        place_rad: f64,
        speed_rad_s: f64,
        weight_nm: f64,
        period_s: f64,
        resisting_nm: impl FnOnce(f64) -> f64,
    ) {
        self.hand_nm = self.grip_nm_per_rad * (place_rad - self.angle_rad)
            + self.damping_nm_s_per_rad * (speed_rad_s - self.rate_rad_s);
        let driving_nm = self.hand_nm + weight_nm - resisting_nm(self.angle_rad);
        self.rate_rad_s += driving_nm / self.inertia_kg_m2 * period_s;
        self.angle_rad += self.rate_rad_s * period_s;
    }
}
