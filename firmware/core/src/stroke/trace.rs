//! The bins of the stroke under way, in bounded memory.
//!
//! When full, neighbouring bins are averaged in pairs, so a slow stroke costs resolution and never
//! its beginning.

use core::cell::Cell;

use heapless::Vec;

use crate::sample::Bin;

/// Bins held: 3.8 s at 10 ms.
pub const TRACE_BIN_COUNT_MAX: usize = 384;

/// Bins of one stroke, oldest first.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    bins: Vec<Bin, TRACE_BIN_COUNT_MAX>,
    /// Source bins averaged into each held bin: a power of two.
    merge: u32,
    partial: Bin,
    partial_count: u32,
}

impl Trace {
    /// Empties it.
    pub fn clear(&mut self) {
        self.bins.clear();
        self.merge = 1;
        self.partial = Bin::default();
        self.partial_count = 0;
    }

    /// Appends a bin.
    pub fn push(&mut self, bin: Bin) {
        self.partial.torque_nm += bin.torque_nm;
        self.partial.angle_rad += bin.angle_rad;
        self.partial_count += 1;
        if self.partial_count < self.merge.max(1) {
            return;
        }
        let count = self.partial_count as f32;
        let merged = Bin {
            torque_nm: self.partial.torque_nm / count,
            angle_rad: self.partial.angle_rad / count,
        };
        self.partial = Bin::default();
        self.partial_count = 0;
        if self.bins.push(merged).is_err() {
            self.halve();
            // Room was just made; the bin becomes the first half of the next merged one.
            self.partial =
                Bin { torque_nm: merged.torque_nm * count, angle_rad: merged.angle_rad * count };
            self.partial_count = count as u32;
        }
    }

    /// Averages neighbours, in place: a second trace would be 4 KiB of stack.
    fn halve(&mut self) {
        let half = self.bins.len() / 2;
        let cells = Cell::from_mut(self.bins.as_mut_slice()).as_slice_of_cells();
        for (slot, pair) in cells.iter().zip(cells.chunks_exact(2)) {
            if let [first, second] = pair {
                let (first, second) = (first.get(), second.get());
                slot.set(Bin {
                    torque_nm: (first.torque_nm + second.torque_nm) / 2.0,
                    angle_rad: (first.angle_rad + second.angle_rad) / 2.0,
                });
            }
        }
        self.bins.truncate(half);
        self.merge = self.merge.max(1) * 2;
    }

    /// The bins.
    pub fn bins(&self) -> &[Bin] {
        &self.bins
    }

    /// Source bins in each held bin.
    pub fn merge(&self) -> u32 {
        self.merge.max(1)
    }
}
