//! What can go wrong with one stroke, and how badly.
//!
//! A careful stroke is spoiled at a moment of its own: while loading, slipping or easing off, by
//! much or by hardly anything. Deliberately not here: whether the stroke is then unfit; that is
//! for whoever watches what foot and head really did.

/// A mishap of one stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spoil {
    /// The tip comes off the head while the torque still rises, at this share of what the hand
    /// expects to need.
    OffLoading {
        /// Share of the expected torque.
        share: f64,
    },
    /// The tip comes off the head after this much slip.
    OffSlipping {
        /// Slip as the hand judges it, degrees.
        slip_deg: f64,
    },
    /// The tip comes off the head while the hand eases off, at this share of the torque.
    OffEasing {
        /// Share of the torque eased off from.
        share: f64,
    },
    /// The hand jerks while the pin slips.
    Jerk {
        /// Slip before it, degrees.
        slip_deg: f64,
        /// Speed it goes for, deg/s.
        speed_deg_s: f64,
        /// How long, s.
        for_s: f64,
    },
    /// The pin is broken loose by a jerk instead of a steady push.
    Yank {
        /// Speed of the hand, deg/s.
        speed_deg_s: f64,
    },
    /// Loaded to a part of what the hand expects to need, then let go.
    Half {
        /// Share of the expected torque.
        share: f64,
    },
    /// Stopped short once the pin gives.
    Short {
        /// Seconds from feeling it give to stopping.
        after_s: f64,
    },
    /// As far as asked, but in no time.
    Hasty {
        /// Speed of the slip, deg/s.
        speed_deg_s: f64,
    },
}

impl Spoil {
    /// Torque at which loading is given up, against the expected.
    pub(super) fn gives_up_at(self) -> Option<f64> {
        match self {
            Spoil::Half { share } => Some(share),
            _ => None,
        }
    }

    /// Seconds from feeling the pin give to stopping, where it is stopped short.
    pub(super) fn stops_after_s(self) -> Option<f64> {
        match self {
            Spoil::Short { after_s } => Some(after_s),
            _ => None,
        }
    }

    /// Speed of a hasty slip, deg/s.
    pub(super) fn hurries_at_deg_s(self) -> Option<f64> {
        match self {
            Spoil::Hasty { speed_deg_s } => Some(speed_deg_s),
            _ => None,
        }
    }

    /// Whether the tip comes off while loading, at this share of the expected torque.
    pub(super) fn off_loading(self, share_now: f64) -> bool {
        matches!(self, Spoil::OffLoading { share } if share_now >= share)
    }

    /// Whether the tip comes off in slip, this far into it; a pin that gave before the torque
    /// meant for it was reached slips off as soon as it gives.
    pub(super) fn off_slipping(self, slipped_deg: f64) -> bool {
        match self {
            Spoil::OffLoading { .. } => true,
            Spoil::OffSlipping { slip_deg } => slipped_deg >= slip_deg,
            _ => false,
        }
    }

    /// Whether the tip comes off while easing, at this share of the torque eased off from.
    pub(super) fn off_easing(self, share_now: f64) -> bool {
        matches!(self, Spoil::OffEasing { share } if share_now <= share)
    }
}
