//! The pin in hand: from bins to a reading that is kept.
//!
//! Deliberately not here: finding strokes ([`crate::stroke`]) and combining them
//! ([`crate::reading`]).
//!
//! Invariant: nothing says "accepted" before the log has the record.

use super::*;

impl<L: RecordLog> Lever<L> {
    pub(super) fn take_bin(&mut self, now: DeviceTime, finished: &FinishedBin) {
        let event = self.finder.push(finished);
        self.correct_bias(finished);
        let Some(session) = self.session.as_mut() else { return };
        match event {
            Some(Event::Seated { moved }) => {
                session.seated(now);
                self.last_pin = Some(session.pin);
                if moved {
                    session.note_moved_on_seating();
                }
                self.beep = true;
            }
            Some(Event::Settled { turned_rad }) if turned_rad.abs() >= LIFTED_RAD => {
                session.reseated();
            }
            Some(Event::Settled { .. }) | None => {}
            Some(Event::Stroke(found)) => {
                if session.add(found) == Progress::Repeat {
                    self.ask_repeat();
                    return;
                }
            }
        }
        self.follow(now);
    }

    /// Sets the phase from the finder and closes the reading when it is complete.
    pub(super) fn follow(&mut self, now: DeviceTime) {
        let Some(session) = self.session.as_ref() else { return };
        match self.finder.state() {
            State::Unsettled => self.phase = Phase::Seating,
            State::Active => {
                let slipping = self.finder.coil_movement_rad().abs() > 0.1 * RAD_PER_DEG;
                self.phase = if slipping { Phase::Slip } else { Phase::Loading };
            }
            State::Rest => match session.progress(self.finder.state_bin_count()) {
                Progress::Open if self.repeat_asked && !session.has_strokes() => {
                    self.phase = Phase::Repeat;
                }
                Progress::Open => self.phase = Phase::Rest,
                Progress::Complete => self.accept(now),
                Progress::Repeat => self.ask_repeat(),
            },
        }
    }

    pub(super) fn ask_repeat(&mut self) {
        if let Some(session) = self.session.as_mut() {
            session.clear();
        }
        self.repeat_asked = true;
        self.phase = Phase::Repeat;
        self.beep = self.finder.state() == State::Rest;
    }

    /// While at rest, lets the gyro bias follow what the gyro shows.
    pub(super) fn correct_bias(&mut self, finished: &FinishedBin) {
        if self.finder.state() != State::Rest {
            self.rest_rate_sum = 0;
            self.rest_bin_count = 0;
            return;
        }
        self.rest_rate_sum += finished.rate_sum;
        self.rest_bin_count += 1;
        if self.rest_bin_count < BIAS_BIN_COUNT {
            return;
        }
        let sample_count = self.rest_bin_count * BIN_SAMPLE_COUNT;
        let rate = self.pipeline.rate_radians_per_second(self.rest_rate_sum, sample_count);
        if rate.abs() < BIAS_RATE_MAX {
            self.pipeline.nudge_bias(self.rest_rate_sum, sample_count);
        }
        self.rest_rate_sum = 0;
        self.rest_bin_count = 0;
    }

    /// Forms the reading, keeps it, and only then says so.
    pub(super) fn accept(&mut self, now: DeviceTime) {
        self.send_block();
        let Some(session) = self.session.as_ref() else { return };
        let around = Surroundings {
            survey: self.survey,
            now,
            motion: self.pipeline.motion,
            calibration: self.pipeline.calibration.number,
            zeroed: self.zeroed,
            samples: self.coverage(),
        };
        let mut record: RecordBuffer = [0; RECORD_BYTES_MAX];
        let encoded = encode_record(&session.reading(&around), &mut record);
        let bytes = encoded.ok().and_then(|byte_count| record.get(..byte_count)).unwrap_or(&[]);
        let kept = if bytes.is_empty() { None } else { self.log.push(bytes) };
        let Some(stored) = kept else {
            // Choosing a pin made sure of room, and nothing else uses it up; if it is gone all
            // the same the operator is asked again rather than told "accepted".
            self.ask_repeat();
            return;
        };
        let (epoch, number, checksum) = (self.log.epoch(), stored.number, stored.checksum);
        // Where there is no room now the host pulls it, told by the next live message.
        let _ = self.link.send(&FromLever::Record(Record { epoch, number, checksum, bytes }));
        self.last_read = Some((self.survey, session.pin, number));
        self.session = None;
        self.room_wanted = true;
        self.phase = Phase::Accepted;
        self.beep = true;
    }

    pub(super) fn coverage(&self) -> SampleCoverage {
        if !self.stream_samples {
            SampleCoverage::None
        } else if self.lost_at_choice == (self.dropped_block_count, self.missed_sample_count) {
            SampleCoverage::Complete
        } else {
            SampleCoverage::WithGaps
        }
    }

    /// Whether a stroke is under way on the pin in hand.
    pub(super) fn is_moving(&self) -> bool {
        self.session.is_some() && self.finder.state() == State::Active
    }
}
