//! The pin in hand: from bins to a reading that is kept.
//!
//! Deliberately not here: finding strokes ([`crate::stroke`]) and combining them
//! ([`crate::reading`]).
//!
//! Invariant: nothing says "accepted" before the log has the record.

use pinhold_protocol::content::encode_trace;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Phase;
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX, SampleCoverage, encode_record};
use pinhold_protocol::units::DeviceTime;

use super::Lever;
use crate::beeper::Beeps;
use crate::log::{RecordBuffer, RecordLog};
use crate::reading::{Progress, Session, Surroundings};
use crate::sample::{BIN_SAMPLE_COUNT, FinishedBin};
use crate::stroke::finder::LIFTED_RAD;
use crate::stroke::{Event, RAD_PER_DEG, State};

/// Bins of rest between two corrections of the gyro bias.
const BIAS_BIN_COUNT: u32 = 10;
/// Largest rate a bias correction believes, radians per second.
const BIAS_RATE_MAX: f32 = 0.3 * RAD_PER_DEG;

impl<L: RecordLog> Lever<L> {
    /// Takes a pin in hand; the log has room for its records. Nothing moves.
    pub(super) fn begin_pin(
        &mut self,
        now: DeviceTime,
        pin: Pin,
        unstrung: bool,
        needs_lift: bool,
    ) -> Result<(), CommandResult> {
        self.check_fit()?;
        self.session = Some(Session::new(pin, unstrung, now));
        self.finder.restart(self.slip_asked_rad, needs_lift);
        self.pipeline.reset_angle();
        self.phase = Phase::Seating;
        self.repeat_asked = false;
        self.lost_at_choice = (self.dropped_block_count, self.missed_sample_count);
        Ok(())
    }

    pub(super) fn take_bin(&mut self, now: DeviceTime, finished: &FinishedBin) {
        let event = self.finder.push(finished);
        self.correct_bias(finished);
        let Some(session) = self.session.as_mut() else { return };
        let ended = matches!(event, Some(Event::Stroke(_)));
        if session.has_strokes() || ended || self.finder.state() == State::Active {
            self.course.push(finished.bin);
        } else {
            self.course.wait(finished.bin);
        }
        if event.is_some() {
            self.active = now;
        }
        match event {
            Some(Event::Seated { moved }) => {
                session.seated(now);
                self.last_pin = Some(session.pin);
                if moved {
                    session.note_moved_on_seating();
                }
                self.beep(Beeps::One);
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
        self.beep(Beeps::Two);
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
        let pin = session.pin;
        let around = Surroundings {
            survey: self.survey_in_hand(),
            now,
            motion: self.pipeline.motion,
            calibration: self.pipeline.calibration.number,
            zeroed: self.zeroed,
            samples: self.coverage(),
        };
        let mut record: RecordBuffer = [0; RECORD_BYTES_MAX];
        let encoded = encode_record(&session.reading(&around), &mut record);
        let bytes = encoded.ok().and_then(|byte_count| record.get(..byte_count)).unwrap_or(&[]);
        let Some(stored) = self.keep_record(bytes) else {
            // Choosing a pin made sure of room, and nothing else uses it up; if it is gone all
            // the same the operator is asked again rather than told "accepted".
            self.ask_repeat();
            return;
        };
        if self.alone.is_some() {
            self.keep_trace(stored.number);
            self.note_read(pin);
            self.finish_alone(Some(pin));
        }
        self.last_read = Some((around.survey, pin, stored.number));
        self.session = None;
        self.room_wanted = true;
        self.phase = Phase::Accepted;
        self.accepted = Some(now);
        self.beep(Beeps::One);
    }

    /// Keeps the course of a reading of which no samples were sent. Without it the reading is
    /// still whole, so nothing is said where it fails.
    fn keep_trace(&mut self, reading: u32) {
        let mut record: RecordBuffer = [0; RECORD_BYTES_MAX];
        let encoded =
            encode_trace(&self.course.trace(reading, self.pipeline.bin_ms()), &mut record);
        let bytes = encoded.ok().and_then(|byte_count| record.get(..byte_count)).unwrap_or(&[]);
        let _ = self.keep_record(bytes);
    }

    pub(super) fn coverage(&self) -> SampleCoverage {
        if self.survey == 0 || !self.stream_samples {
            SampleCoverage::None
        } else if self.lost_at_choice == (self.dropped_block_count, self.missed_sample_count) {
            SampleCoverage::Complete
        } else {
            SampleCoverage::WithGaps
        }
    }
}
