//! A lever on the bench: its samples stream; on request it takes a zero or stores a calibration.
//!
//! It runs as a survey of a name no survey has, in which no pin is ever chosen, so no reading can
//! be born in it, and the lever's buttons begin none meanwhile. The lever's records are neither
//! pulled nor committed: they wait on the lever for a fetch. Deliberately not here: when a reading
//! of the bench is settled ([`crate::bench`]).
//!
//! Invariants: samples are told only behind the lever's own word that the stream began after it was
//! asked; nothing is stored on another lever than the one greeted first.

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{FromHost, Hello, StartSurvey, StoreCalibration};
use pinhold_protocol::units::Angle;

use super::{Event, Request, Session, Stage};

/// The name under which samples stream. Surveys are named by the microseconds of the calendar at
/// their beginning, which never come here.
pub const BENCH_SURVEY: u64 = u64::MAX;
/// Slip asked of strokes, of which there are none; in the lever's range.
const BENCH_SLIP: Angle = Angle::from_microradians(8_727);
/// Time after which a word keeps the lever awake, milliseconds: it sleeps after five minutes.
const KEEP_AWAKE_MS: u64 = 30_000;
/// Times a calibration is sent that the lever says it has and does not name when greeted.
const STORE_COUNT_MAX: u32 = 4;

/// What is asked of the lever.
#[derive(Debug, Default)]
pub(super) struct Bench {
    zero_asked: bool,
    calibration: Option<StoreCalibration>,
    /// The lever said that it has the calibration; its greeting has to name it.
    verifying: bool,
    store_count: u32,
    end_asked: bool,
    spoke_ms: u64,
}

impl Bench {
    fn stage(&self) -> Stage {
        if self.calibration.is_some() {
            Stage::Storing
        } else if self.zero_asked {
            Stage::Zeroing
        } else if self.end_asked {
            Stage::Stopping
        } else {
            Stage::Benching
        }
    }

    fn drop_calibration(&mut self) {
        (self.calibration, self.verifying, self.store_count) = (None, false, 0);
    }

    /// The command a stage calls for.
    pub(super) fn command(&self, stage: Stage) -> Option<FromHost> {
        match stage {
            Stage::Starting => Some(FromHost::StartSurvey(StartSurvey {
                survey: BENCH_SURVEY,
                slip: BENCH_SLIP,
                stream_samples: true,
            })),
            Stage::Zeroing => Some(FromHost::Zero(())),
            Stage::Storing => self.calibration.map(FromHost::StoreCalibration),
            Stage::Stopping => Some(FromHost::StopSurvey(())),
            _ => None,
        }
    }
}

impl Session {
    /// Lets a lever on the bench stream its samples until [`Session::end_bench`].
    pub fn bench(calendar_ms: u64, now_ms: u64) -> Session {
        Session {
            bench: Some(Bench { spoke_ms: now_ms, ..Bench::default() }),
            ..Session::blank(Stage::Starting, calendar_ms, now_ms)
        }
    }

    /// On the bench: samples of before are not told any more; [`Event::BenchReady`] says that all
    /// that follow were taken after this.
    pub fn bench_afresh(&mut self) {
        if self.is_at_bench() {
            self.enter(Stage::Starting);
        }
    }

    /// On the bench: takes a zero, until [`Event::ZeroTaken`] or a refusal that will stay.
    pub fn take_zero(&mut self) {
        self.ask_bench(|bench| bench.zero_asked = true);
    }

    /// On the bench: stores a calibration, until [`Event::CalibrationStored`],
    /// [`Event::NotUnderstood`] or a refusal that will stay.
    pub fn store_calibration(&mut self, calibration: StoreCalibration) {
        self.ask_bench(|bench| {
            bench.drop_calibration();
            bench.calibration = Some(calibration);
        });
    }

    /// On the bench: asks no more for what was not done yet.
    pub fn withdraw(&mut self) {
        if let Some(bench) = self.bench.as_mut() {
            bench.zero_asked = false;
            bench.drop_calibration();
        }
        if matches!(self.stage, Stage::Zeroing | Stage::Storing) {
            self.go_on_at_bench();
        }
    }

    /// On the bench: ends the stream, then the conversation.
    pub fn end_bench(&mut self) {
        self.ask_bench(|bench| bench.end_asked = true);
    }

    fn ask_bench(&mut self, ask: impl FnOnce(&mut Bench)) {
        if let Some(bench) = self.bench.as_mut() {
            ask(bench);
        }
        if self.stage == Stage::Benching {
            self.go_on_at_bench();
        }
    }

    /// Whether the samples that come belong to this bench.
    pub(super) fn is_at_bench(&self) -> bool {
        matches!(self.stage, Stage::Benching | Stage::Zeroing | Stage::Storing)
            && self.bench.is_some()
    }

    /// The next thing asked.
    pub(super) fn go_on_at_bench(&mut self) {
        self.question_count = 0;
        if let Some(stage) = self.bench.as_ref().map(Bench::stage) {
            self.enter(stage);
            if stage == Stage::Zeroing {
                self.tell(Event::TakingZero);
            }
        }
    }

    /// A lever greets: the one that was here before, unless it `changed`.
    pub(super) fn greeted_at_bench(&mut self, hello: &Hello, changed: bool) {
        let Some(bench) = self.bench.as_mut() else { return };
        if changed {
            bench.drop_calibration();
            self.enter(Stage::Done);
            return;
        }
        let sent = bench.calibration.filter(|_| std::mem::take(&mut bench.verifying));
        let Some(calibration) = sent else { return };
        if hello.calibration == calibration.number {
            bench.drop_calibration();
            self.tell(Event::CalibrationStored { number: calibration.number });
        } else if bench.store_count >= STORE_COUNT_MAX {
            self.enter(Stage::Done);
            self.tell(Event::GivenUp(Request::StoreCalibration));
        }
    }

    /// Takes what became of a command on the bench.
    pub(super) fn take_bench_reply(&mut self, now_ms: u64, result: CommandResult) {
        // Whatever it says, it understands.
        self.question_count = 0;
        let Some(bench) = self.bench.as_mut() else { return };
        match (self.stage, result) {
            (Stage::Starting, CommandResult::Done) => {
                self.tell(Event::BenchReady);
                self.go_on_at_bench();
            }
            (Stage::Zeroing, CommandResult::Done) => {
                bench.zero_asked = false;
                self.tell(Event::ZeroTaken);
                self.go_on_at_bench();
            }
            (Stage::Zeroing, CommandResult::NotAtRest) => {
                self.pending = None;
                self.tell(Event::ZeroNotStill);
            }
            (Stage::Storing, CommandResult::Done) => {
                bench.verifying = true;
                bench.store_count += 1;
                self.enter(Stage::Greeting);
            }
            (Stage::Stopping, CommandResult::Done) => self.finish(),
            (stage, refusal) => {
                let stays = refusal != CommandResult::PinMoving;
                let request = match stage {
                    Stage::Zeroing => Request::Zero,
                    Stage::Storing => Request::StoreCalibration,
                    Stage::Stopping => Request::Stop,
                    _ => Request::Start,
                };
                self.tell(Event::Refused(request, refusal));
                match request {
                    Request::Zero | Request::StoreCalibration if stays => self.withdraw(),
                    _ => self.leave_alone(now_ms),
                }
            }
        }
    }

    /// The lever never answers a calibration.
    pub(super) fn calibration_not_understood(&mut self) {
        if let Some(bench) = self.bench.as_mut() {
            bench.drop_calibration();
        }
        self.go_on_at_bench();
    }

    /// Says something from time to time, so that the lever does not fall asleep.
    pub(super) fn keep_awake(&mut self, now_ms: u64) {
        let Some(bench) = self.bench.as_mut() else { return };
        if self.stage == Stage::Benching && now_ms.saturating_sub(bench.spoke_ms) >= KEEP_AWAKE_MS {
            bench.spoke_ms = now_ms;
            self.send(&FromHost::AskStatus(()));
        }
    }
}
