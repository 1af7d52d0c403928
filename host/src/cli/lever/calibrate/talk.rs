//! The talk at the bench: what to do next, the reading as it comes to rest, and the keys somebody
//! presses; or a simulated lever whose weights hang themselves.

use std::io::{BufRead, IsTerminal, Write, stderr, stdin};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{TryRecvError, channel};
use std::thread::JoinHandle;

use pinhold_board_virtual::chip::Chip;
use pinhold_board_virtual::weights::{BenchHands, BenchPractice, BenchSetup, Placing};
use pinhold_board_virtual::{Pace, pipe, serve};
use pinhold_protocol::record::Direction;
use pinhold_sim::deadweight::{Equipment, Stated};
use pinhold_sim::friction::Turn;
use pinhold_sim::lever::{LeverModel, LeverSpec, Posture};

use crate::bench::{BenchLever, LiveBench, Settled, StabilityRule, Unsettled};
use crate::calibration::bench::{BenchPoint, Setting};
use crate::calibration::diagnose::NOMINAL_SPAN_NM_PER_COUNT;
use crate::calibration::procedure::{Setup, Step};
use crate::cli::context::say;
use crate::cli::exit::{CliError, Exit};
use crate::link::port::{Port, PortError};
use crate::report;
use crate::survey::{Calendar, Line};
use crate::units::TorqueUnit;

/// Device identity of the simulated lever.
pub(in crate::cli::lever) const SIMULATED_LEVER: u64 = 0x51;
/// Flash pages of the simulated lever.
const CHIP_PAGE_COUNT: usize = 8;

/// What somebody wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::cli::lever) enum Wish {
    /// Read it, or keep it.
    Go,
    /// Take the point before again.
    Back,
    /// Leave this point out.
    Skip,
    /// Read this point again.
    Again,
    /// Stop here; go on another time.
    Stop,
}

/// A lever and whoever hangs weights on it.
pub(in crate::cli::lever) struct Talk<'a> {
    pub(in crate::cli::lever) lever: BenchLever<'a>,
    hands: Option<Hands>,
    unit: TorqueUnit,
    quiet: bool,
    /// Code without load seen last, for the live torque.
    zero_code: Option<f64>,
    /// Time of the simulated lever, milliseconds.
    simulated_ms: f64,
    calendar: Calendar,
}

impl<'a> Talk<'a> {
    /// Somebody at a lever on a port.
    pub(in crate::cli::lever) fn at_port(
        line: Line<'a>,
        calendar: Calendar,
        unit: TorqueUnit,
    ) -> Result<Talk<'a>, CliError> {
        let lever = BenchLever::open(line, calendar)?;
        Ok(Talk {
            lever,
            hands: None,
            unit,
            quiet: false,
            zero_code: None,
            simulated_ms: 0.0,
            calendar,
        })
    }

    /// A simulated lever whose weights hang themselves.
    pub(in crate::cli::lever) fn simulated(
        setup: &Setup,
        seed: u64,
        calendar: Calendar,
        unit: TorqueUnit,
        quiet: bool,
    ) -> Result<Talk<'static>, CliError> {
        let (hands, line) = Hands::start(setup, seed);
        let lever = BenchLever::open(line, calendar)?;
        let hands = Some(hands);
        Ok(Talk { lever, hands, unit, quiet, zero_code: None, simulated_ms: 0.0, calendar })
    }

    /// Whether the lever is simulated.
    pub(in crate::cli::lever) fn is_simulated(&self) -> bool {
        self.hands.is_some()
    }

    /// Takes the zero from the last point without load, where a calibration goes on.
    pub(in crate::cli::lever) fn know_zero(&mut self, points: &[BenchPoint]) {
        let unloaded = points.iter().rev().find(|point| is_unloaded(&point.setting));
        self.zero_code = unloaded.map(|point| point.mean_code);
    }

    /// Time of the calendar, by the simulated lever's own clock where there is one.
    pub(in crate::cli::lever) fn now_ms(&self) -> i64 {
        let now_ms = if self.hands.is_some() {
            self.calendar.start_ms + self.simulated_ms as u64
        } else {
            self.calendar.now_ms()
        };
        i64::try_from(now_ms).unwrap_or(i64::MAX)
    }

    /// Says what to do and waits until somebody wants something.
    pub(in crate::cli::lever) fn ask(&mut self, sentence: &str) -> Result<Wish, CliError> {
        if !self.quiet {
            say(sentence);
        }
        if self.hands.is_some() {
            return Ok(Wish::Go);
        }
        loop {
            match self.key()?.trim().to_lowercase().as_str() {
                "" => return Ok(Wish::Go),
                "b" => return Ok(Wish::Back),
                "s" => return Ok(Wish::Skip),
                "a" => return Ok(Wish::Again),
                "q" => return Ok(Wish::Stop),
                _ => say("  Enter goes on; b goes back a point, a again, s leaves it out, q stops"),
            }
        }
    }

    /// A line somebody types, the lever kept awake meanwhile.
    fn key(&mut self) -> Result<String, CliError> {
        let (sender, typed) = channel();
        std::thread::spawn(move || {
            let mut text = String::new();
            let read = stdin().lock().read_line(&mut text);
            let _ = sender.send(read.ok().filter(|count| *count > 0).map(|_| text));
        });
        let mut there = None;
        let (unit, zero) = (self.unit, self.zero_code);
        let shown = stderr().is_terminal();
        self.lever.watch(&StabilityRule::default(), &mut |live| {
            if shown {
                let _ = write!(stderr(), "\r  {}\u{1b}[K", live_text(live, zero, unit));
            }
            there = match typed.try_recv() {
                Ok(text) => Some(text),
                Err(TryRecvError::Empty) => None,
                Err(TryRecvError::Disconnected) => Some(None),
            };
            there.is_some()
        })?;
        if shown {
            let _ = write!(stderr(), "\r\u{1b}[K");
        }
        // The end of the input is the wish to stop.
        Ok(there.flatten().unwrap_or_else(|| "q".to_owned()))
    }

    /// The reading of a step, once it stands still.
    pub(in crate::cli::lever) fn settled(&mut self, step: &Step) -> Result<Settled, CliError> {
        if let Some(hands) = &self.hands {
            hands.hands.put(placing(step));
        }
        let shown = !self.quiet && self.hands.is_none() && stderr().is_terminal();
        let (unit, zero) = (self.unit, self.zero_code);
        let mut sample_count = 0;
        let settled = self.lever.settled(&StabilityRule::default(), &mut |live| {
            sample_count = live.sample_count;
            if shown {
                let _ = write!(stderr(), "\r  {}\u{1b}[K", live_text(live, zero, unit));
            }
        });
        if shown {
            say("");
        }
        let period_ns = self.lever.hello().sample_period_ns;
        self.simulated_ms += sample_count as f64 * f64::from(period_ns) / 1e6;
        let settled = settled?;
        if is_unloaded(&step.setting) {
            self.zero_code = Some(settled.mean_code);
        }
        if !self.quiet {
            let torque_nm = self.zero_code.map(|zero| nominal_nm(settled.mean_code, zero));
            let torque = torque_nm.map_or(String::new(), |nm| {
                format!(", about {} by the design's span", report::torque(nm, self.unit))
            });
            say(&format!(
                "  steady: code {} ± {:.0} from {} samples, {:.1} °C{torque}",
                // A whole number: no code is shown as minus nothing.
                settled.mean_code.round() as i64,
                settled.code_sd / f64::from(settled.sample_count.max(1)).sqrt(),
                settled.sample_count,
                settled.temperature_c
            ));
        }
        Ok(settled)
    }
}

/// On the square, and nothing hangs.
fn is_unloaded(setting: &Setting) -> bool {
    matches!(setting, Setting::Loaded { masses, .. } if masses.is_empty())
}

fn nominal_nm(code: f64, zero_code: f64) -> f64 {
    (code - zero_code) * NOMINAL_SPAN_NM_PER_COUNT
}

fn live_text(live: &LiveBench, zero_code: Option<f64>, unit: TorqueUnit) -> String {
    let state = match live.unsettled {
        None => "steady".to_owned(),
        Some(Unsettled::Waiting) => "waiting".to_owned(),
        Some(why) => why.to_string(),
    };
    match zero_code {
        Some(zero) => format!("{}  {state}", report::torque(nominal_nm(live.code, zero), unit)),
        None => format!("code {:.0}  {state}", live.code),
    }
}

/// The way a step puts the simulated lever.
fn placing(step: &Step) -> Placing {
    let turn = match step.side {
        Direction::Sharp => Turn::Sharp,
        Direction::Flat => Turn::Flat,
    };
    match &step.setting {
        Setting::Free => Placing::Held { turn },
        Setting::Loaded { position, masses, .. } => {
            Placing::OnSquare { place: *position, turn, masses: masses.clone() }
        }
    }
}

/// The simulated lever's thread, ended when dropped.
struct Hands {
    hands: BenchHands,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Hands {
    fn start(setup: &Setup, seed: u64) -> (Hands, Line<'static>) {
        let stated =
            |estimate: crate::metrology::Estimate| Stated { value: estimate.value, u: estimate.u };
        let equipment = Equipment {
            masses_kg: setup.masses.iter().map(|mass| stated(mass.mass_kg)).collect(),
            arms_m: setup.positions.iter().map(|position| stated(position.arm_m)).collect(),
            gravity_m_s2: stated(setup.gravity.value_m_s2),
            ..Equipment::careful()
        };
        let lever =
            LeverModel::drawn_within(seed, Posture::level_grand(), &LeverSpec::uncalibrated());
        let setup = BenchSetup { lever, equipment, seed, device: SIMULATED_LEVER };
        let mut practice = BenchPractice::new(setup, Chip::new(CHIP_PAGE_COUNT));
        let hands = practice.hands();
        let (mut lever_end, host_end) = pipe::pair();
        let stop = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            // A pipe whose other end is gone is the end of the practice.
            let _ = serve(&mut practice, &mut lever_end, Pace::Fast, &told);
        });
        let mut end: Option<Box<dyn Port>> = Some(Box::new(host_end));
        let gone = || PortError::Other {
            name: "simulated lever".to_owned(),
            reason: "its pipe is closed".to_owned(),
        };
        let open = Box::new(move || end.take().ok_or_else(gone));
        let line = Line { name: "simulated lever".to_owned(), open };
        (Hands { hands, stop, thread: Some(thread) }, line)
    }
}

impl Drop for Hands {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Whether somebody sits at a terminal to be asked.
pub(super) fn somebody_is_there() -> bool {
    stdin().is_terminal() && stderr().is_terminal()
}

/// A line typed in answer to a question.
///
/// # Errors
/// When nobody is there to ask.
pub(in crate::cli::lever) fn question(what: &str, option: &str) -> Result<String, CliError> {
    if !somebody_is_there() {
        let sentence =
            format!("{what} is not given, and nobody is at a terminal to be asked: add {option}");
        return Err(CliError::new(Exit::Usage, sentence));
    }
    let _ = write!(stderr(), "{what}: ");
    let mut text = String::new();
    match stdin().lock().read_line(&mut text) {
        Ok(count) if count > 0 => Ok(text.trim().to_owned()),
        _ => Err(CliError::new(Exit::Usage, format!("{what} is not given: add {option}"))),
    }
}
