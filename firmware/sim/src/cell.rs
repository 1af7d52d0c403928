//! The torque cell's flaws that a span and a zero do not describe: curvature, hysteresis with a
//! memory, and what the place and the slant of the hand do to it.
//!
//! Hysteresis is a sum of play operators (Prandtl and Ishlinskii): each follows the torque with a
//! dead band of its own, so the cell remembers its turning points, a small loop lies inside a
//! large one, and unloading reads higher than loading. A cell meant for torque answers a little to
//! bending: its bridges sit as if the pin's axis were some millimetres off, so a force far out on
//! the handle reads otherwise than a large one close in, and a push along the pin leaks in.
//!
//! Deliberately not here: span, zero, drift and noise (see [`crate::sensors`]).
//!
//! Invariant: a cell without flaws, held at the reference place, returns the very torque it felt.

/// Place of the hand that the span is stated for, m from the pin's axis: the middle of usual
/// levers, 250–355 mm (MEM).
pub const REFERENCE_ARM_M: f64 = 0.30;
/// Dead bands of the play operators, N·m: each takes an equal share of the hysteresis.
const DEAD_BANDS_NM: [f64; 3] = [0.8, 3.0, 8.0];

/// What is wrong with one cell, beside span and zero.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CellFlaws {
    /// Even curvature: reads τ + q·τ², 1/(N·m).
    pub quadratic_per_nm: f64,
    /// Odd curvature: reads τ + c·τ³, 1/(N·m)².
    pub cubic_per_nm2: f64,
    /// Half of the width between unloading and loading in a full loop, N·m.
    pub hysteresis_half_width_nm: f64,
    /// How far the bridges' own axis lies from the pin's along the handle, m.
    pub bending_offset_m: f64,
    /// Share of a moment along the handle (force along the pin times arm) that leaks in.
    pub axial_crosstalk: f64,
    /// Standard deviation from seating to seating of what of the torque reaches the pin, relative.
    pub seating_relative_sd: f64,
}

/// How a hand, or a weight, holds the lever.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// From the pin's axis, m.
    pub arm_m: f64,
    /// Force along the pin, share of the force that turns it.
    pub axial_share: f64,
    /// What the cell feels above what turns the pin, relative: the tip's seat and the person.
    pub seating_relative: f64,
}

impl Hold {
    /// At the reference place, square to the pin, seated perfectly.
    pub const fn reference() -> Hold {
        Hold { arm_m: REFERENCE_ARM_M, axial_share: 0.0, seating_relative: 0.0 }
    }
}

/// What a cell remembers.
#[derive(Clone, Copy, Debug)]
pub struct CellState {
    hold: Hold,
    /// All of what the hold does, as one factor.
    factor: f64,
    /// Output of each play operator, N·m.
    plays_nm: [f64; DEAD_BANDS_NM.len()],
}

impl CellState {
    /// A cell that was never loaded.
    pub const fn new() -> CellState {
        CellState { hold: Hold::reference(), factor: 1.0, plays_nm: [0.0; DEAD_BANDS_NM.len()] }
    }

    /// Takes hold of the lever in another way.
    pub fn take_hold(&mut self, flaws: &CellFlaws, hold: Hold) {
        self.hold = hold;
        let bending = flaws.bending_offset_m * (1.0 / REFERENCE_ARM_M - 1.0 / hold.arm_m);
        let axial = flaws.axial_crosstalk * hold.axial_share;
        self.factor = (1.0 + bending + axial) * (1.0 + hold.seating_relative);
    }

    /// The hold taken last.
    pub fn hold(&self) -> Hold {
        self.hold
    }

    /// What the cell makes of `torque_nm`, N·m, and remembers of it.
    pub fn feel(&mut self, flaws: &CellFlaws, torque_nm: f64) -> f64 {
        let felt_nm = torque_nm * self.factor;
        if *flaws == CellFlaws::default() {
            return felt_nm;
        }
        let mut behind_nm = 0.0;
        for (play_nm, band_nm) in self.plays_nm.iter_mut().zip(DEAD_BANDS_NM) {
            *play_nm = play_nm.clamp(felt_nm - band_nm, felt_nm + band_nm);
            // A full share behind the torque is one part of the half width.
            behind_nm += (*play_nm - felt_nm) / band_nm;
        }
        let hysteresis_nm = flaws.hysteresis_half_width_nm * behind_nm / DEAD_BANDS_NM.len() as f64;
        let curved_nm =
            felt_nm * felt_nm * (flaws.quadratic_per_nm + flaws.cubic_per_nm2 * felt_nm);
        felt_nm + curved_nm + hysteresis_nm
    }
}

impl Default for CellState {
    fn default() -> CellState {
        CellState::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_without_flaws_says_what_it_feels() {
        let mut cell = CellState::new();
        for torque_nm in [0.0, 3.7, -12.25, 24.9] {
            let felt_nm = cell.feel(&CellFlaws::default(), torque_nm);
            assert_eq!(felt_nm.to_bits(), torque_nm.to_bits());
        }
    }

    /// What the cell reads at 10 N·m on the way up and down, and back at zero.
    fn loop_at_ten(cell: &mut CellState, flaws: &CellFlaws, top_nm: f64) -> (f64, f64, f64) {
        let mut ramp = |from_nm: f64, to_nm: f64| {
            (0..=100).fold(0.0, |_, step| {
                cell.feel(flaws, from_nm + (to_nm - from_nm) * f64::from(step) / 100.0)
            })
        };
        ramp(0.0, -25.0);
        ramp(-25.0, 0.0);
        let up_nm = ramp(0.0, 10.0);
        ramp(10.0, top_nm);
        let down_nm = ramp(top_nm, 10.0);
        (up_nm, down_nm, ramp(10.0, 0.0))
    }

    #[test]
    fn unloading_reads_higher_by_the_stated_width_and_less_in_a_small_loop() {
        let flaws = CellFlaws { hysteresis_half_width_nm: 0.015, ..CellFlaws::default() };
        let (up_nm, down_nm, zero_nm) = loop_at_ten(&mut CellState::new(), &flaws, 26.0);
        assert!((down_nm - up_nm - 0.03).abs() < 0.004, "{}", down_nm - up_nm);
        assert!(zero_nm > 0.0, "what is left shows at zero: {zero_nm}");
        let (up_nm, down_nm, _) = loop_at_ten(&mut CellState::new(), &flaws, 11.0);
        assert!(down_nm - up_nm > 0.0 && down_nm - up_nm < 0.02, "{}", down_nm - up_nm);
    }

    #[test]
    fn it_remembers_where_it_turned_and_not_how_fast() {
        let flaws = CellFlaws { hysteresis_half_width_nm: 0.02, ..CellFlaws::default() };
        let (mut slow, mut quick) = (CellState::new(), CellState::new());
        for step in 0..=200 {
            slow.feel(&flaws, 0.1 * f64::from(step));
        }
        quick.feel(&flaws, 20.0);
        assert!((slow.feel(&flaws, 5.0) - quick.feel(&flaws, 5.0)).abs() < 1e-12);
        // A small loop closes: back at its turning point, the cell reads what it read there.
        let before_nm = quick.feel(&flaws, 5.0);
        quick.feel(&flaws, 6.0);
        assert!((quick.feel(&flaws, 5.0) - before_nm).abs() < 1e-12);
    }

    #[test]
    fn a_hand_close_in_reads_otherwise_by_the_offset_over_the_arm() {
        let flaws = CellFlaws { bending_offset_m: 0.006, ..CellFlaws::default() };
        let mut cell = CellState::new();
        cell.take_hold(&flaws, Hold { arm_m: 0.25, ..Hold::reference() });
        let felt_nm = cell.feel(&flaws, 10.0);
        // Force 40 N: 6 mm nearer than at 0.30 m, where the offset is part of the span.
        let expected_nm = 10.0 - 0.006 * (10.0 / 0.25 - 10.0 / 0.30);
        assert!((felt_nm - expected_nm).abs() < 1e-12, "{felt_nm}");
        cell.take_hold(&flaws, Hold::reference());
        assert_eq!(cell.feel(&flaws, 10.0), 10.0);
    }

    #[test]
    fn curvature_bends_as_stated() {
        let flaws = CellFlaws { quadratic_per_nm: 3e-5, cubic_per_nm2: 6e-7, ..Default::default() };
        let mut cell = CellState::new();
        assert!((cell.feel(&flaws, 20.0) - (20.0 + 0.012 + 0.0048)).abs() < 1e-12);
        assert!((cell.feel(&flaws, -20.0) - (-20.0 + 0.012 - 0.0048)).abs() < 1e-12);
    }
}
