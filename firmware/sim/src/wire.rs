//! The string's pull on the pin: moment, stiffness of the segment behind the bearing, and the
//! friction of the bearing itself.
//!
//! The coil winds up the short segment between pin and bearing; the speaking length follows only
//! when the difference of tension overcomes the bearing, ε of the tension (3–13 %, ONE). The
//! pin-side moment is then M ± εM, with a hysteresis of 2εM over the segment's stiffness, about
//! a degree. With ε = 0 the whole wire stretches as one and is much softer.
//!
//! Deliberately not here: pitch, vibration, breakage.

use core::f64::consts::PI;

/// Young's modulus of music wire, Pa (as used in the trade's derivations, DER).
pub const WIRE_YOUNGS_MODULUS_PA: f64 = 205e9;

/// What one string does at its pin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WireParameters {
    /// Moment of the speaking length's tension about the pin, as found, N·m.
    pub moment_nm: f64,
    /// Stiffness of the segment between coil and bearing, N·m per rad of coil rotation.
    pub segment_stiffness_nm_per_rad: f64,
    /// Stiffness of the speaking length behind it, N·m per rad of coil rotation.
    pub speaking_stiffness_nm_per_rad: f64,
    /// Friction of the bearing as a fraction of the tension.
    pub bearing_friction: f64,
    /// Where in its hysteresis the segment was left: −1 slackest, +1 tightest.
    pub bearing_state: f64,
}

impl WireParameters {
    /// No string at all.
    pub const fn none() -> WireParameters {
        WireParameters {
            moment_nm: 0.0,
            segment_stiffness_nm_per_rad: 0.0,
            speaking_stiffness_nm_per_rad: 0.0,
            bearing_friction: 0.0,
            bearing_state: 0.0,
        }
    }
}

/// Moment of a tension about a pin, the wire's centre line one wire radius outside it, N·m.
pub fn moment_nm(tension_n: f64, pin_diameter_m: f64, wire_diameter_m: f64) -> f64 {
    tension_n * (pin_diameter_m + wire_diameter_m) / 2.0
}

/// Stiffness of a length of wire at the coil, N·m/rad: E·A·r²/L.
pub fn coil_stiffness_nm_per_rad(wire_diameter_m: f64, pin_diameter_m: f64, length_m: f64) -> f64 {
    let area_m2 = PI * wire_diameter_m * wire_diameter_m / 4.0;
    let arm_m = (pin_diameter_m + wire_diameter_m) / 2.0;
    WIRE_YOUNGS_MODULUS_PA * area_m2 * arm_m * arm_m / length_m
}

/// State of one string.
#[derive(Clone, Debug)]
pub struct Wire {
    parameters: WireParameters,
    speaking_nm: f64,
    excess_nm: f64,
    coil_rad: f64,
}

impl Wire {
    /// A string as found, with its coil at angle 0.
    pub fn found(parameters: WireParameters) -> Wire {
        let speaking_nm = parameters.moment_nm.max(0.0);
        let excess_nm = parameters.bearing_friction * speaking_nm * parameters.bearing_state;
        Wire { parameters, speaking_nm, excess_nm, coil_rad: 0.0 }
    }

    /// Moment on the pin now, N·m, never negative: a wire cannot push.
    pub fn pin_moment_nm(&self) -> f64 {
        (self.speaking_nm + self.excess_nm).max(0.0)
    }

    /// Moment that the speaking length's tension would make, N·m: what pitch goes by.
    pub fn speaking_moment_nm(&self) -> f64 {
        self.speaking_nm
    }

    /// The coil turned to `coil_rad` (sharp positive).
    pub fn turn_to(&mut self, coil_rad: f64) {
        let rotation_rad = coil_rad - self.coil_rad;
        self.coil_rad = coil_rad;
        let segment = self.parameters.segment_stiffness_nm_per_rad;
        let speaking = self.parameters.speaking_stiffness_nm_per_rad;
        let both = segment + speaking;
        if rotation_rad == 0.0 || both == 0.0 {
            return;
        }
        let limit_nm = self.parameters.bearing_friction * self.speaking_nm;
        let wanted_nm = self.excess_nm + segment * rotation_rad;
        let kept_nm = wanted_nm.clamp(-limit_nm, limit_nm);
        // What the bearing does not hold, the two lengths share in series.
        let passed_nm = (wanted_nm - kept_nm) * speaking / both;
        self.excess_nm = kept_nm;
        self.speaking_nm = (self.speaking_nm + passed_nm).max(0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wire(bearing_friction: f64) -> Wire {
        Wire::found(WireParameters {
            moment_nm: 2.9,
            segment_stiffness_nm_per_rad: 0.5_f64.to_degrees(),
            speaking_stiffness_nm_per_rad: 0.08_f64.to_degrees(),
            bearing_friction,
            bearing_state: 0.0,
        })
    }

    #[test]
    fn moments_of_the_register_table() {
        // Tension in lbf, pin and wire in inches, moment in in·lbf: closed form T·(d+w)/2.
        let cases = [
            (150.0, 0.282, 0.035, 23.8),
            (160.0, 0.282, 0.039, 25.7),
            (120.0, 0.282, 0.043, 19.5),
            (180.0, 0.282, 0.044, 29.3),
            (268.0, 0.282, 0.051, 44.6),
        ];
        for (tension, pin, wire, moment) in cases {
            let got: f64 = moment_nm(tension, pin, wire);
            assert!((got - moment).abs() <= 0.05 + 1e-9, "{got} for {moment} in·lbf");
        }
    }

    #[test]
    fn short_segment_is_within_its_derived_range() {
        // 60 to 200 mm behind the bearing: 0.3–0.8 N·m/deg (DER).
        let stiff = coil_stiffness_nm_per_rad(0.001, 0.007_163, 0.06).to_radians();
        let soft = coil_stiffness_nm_per_rad(0.001, 0.007_163, 0.16).to_radians();
        assert!(stiff < 0.83 && stiff > 0.7, "{stiff}");
        assert!(soft < 0.35 && soft > 0.25, "{soft}");
    }

    #[test]
    fn bearing_friction_makes_a_loop_of_twice_epsilon() {
        let mut loop_wire = wire(0.06);
        for step in 0..300 {
            loop_wire.turn_to((0.01 * f64::from(step)).to_radians());
        }
        let high = loop_wire.pin_moment_nm() / loop_wire.speaking_moment_nm();
        for step in 0..600 {
            loop_wire.turn_to((3.0 - 0.01 * f64::from(step)).to_radians());
        }
        let low = loop_wire.pin_moment_nm() / loop_wire.speaking_moment_nm();
        assert!((high - 1.06).abs() < 1e-3, "{high}");
        assert!((low - 0.94).abs() < 1e-3, "{low}");
    }

    #[test]
    fn without_bearing_friction_the_whole_wire_stretches_as_one() {
        let mut free = wire(0.0);
        free.turn_to(1.0_f64.to_radians());
        let series = 0.5 * 0.08 / 0.58;
        assert!((free.pin_moment_nm() - 2.9 - series).abs() < 1e-12);
        assert_eq!(free.pin_moment_nm(), free.speaking_moment_nm());
    }

    #[test]
    fn a_wire_never_pushes() {
        let mut slack = wire(0.05);
        slack.turn_to(-2.0);
        assert_eq!(slack.speaking_moment_nm(), 0.0);
        assert!(slack.pin_moment_nm() >= 0.0);
    }
}
