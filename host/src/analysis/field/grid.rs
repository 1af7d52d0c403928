//! The plank between the pins: the field on a fine grid, for pictures.
//!
//! Deliberately not here: colours, and anything about a page.

use super::super::input::Estimate;

/// The field at one cell of a grid: what a pin set there would be expected to have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GridCell {
    /// Friction of the plank there, N·m: median of the posterior and its standard deviation,
    /// scatter from pin to pin not included.
    pub friction_nm: Estimate,
    /// The same over the string's moment at target pitch of the nearest pin.
    pub holding_factor: Estimate,
    /// Chance that a pin there is doubtful or worse, scatter and single bad holes included, 0–1.
    pub loose_chance: f64,
    /// Friction as a share of what the sound field would have there: 1 is sound, 0.5 half of it.
    pub sound_share: f64,
}

/// The field on a grid of square cells.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FieldGrid {
    /// Centre of the first cell, metres towards the treble.
    pub from_x_m: f64,
    /// Centre of the first cell, metres away from the flange.
    pub from_y_m: f64,
    /// From cell to cell, m.
    pub step_m: f64,
    /// Cells along the plank.
    pub column_count: usize,
    /// Cells across it.
    pub row_count: usize,
    /// Row after row from the flange, each from bass to treble; `None` where there are no pins near
    /// (under a strut, beyond the field).
    pub cells: Vec<Option<GridCell>>,
}

impl FieldGrid {
    /// One cell; `None` outside the grid or where there are no pins near.
    pub fn at(&self, column: usize, row: usize) -> Option<&GridCell> {
        if column >= self.column_count {
            return None;
        }
        self.cells.get(row * self.column_count + column)?.as_ref()
    }
}
