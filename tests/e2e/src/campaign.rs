//! A survey under fire: the emulator is killed and reset, the host killed, the cable cut, each at
//! moments drawn from a seed, while a simulated technician turns pins.
//!
//! One lever, one store. The host is started again whenever it ends, for a few pins at a time, so
//! that most of its lives end in the middle of something. When every fault is done, surveys are
//! taken in peace until one came to its end and enough was read for a loss to show, however few
//! pins a slow machine read between the faults. Deliberately not here: what counts as lost
//! ([`crate::ledger`]).
//!
//! Invariants: every wait has a limit; a host that ends by itself ends in a way it documents, or
//! the campaign fails.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use pinhold::cli::exit::Exit;
use pinhold::store::Store;
use pinhold_board_qemu::flash::FILE_NAME;
use pinhold_lever::{Identity, Lamp};
use pinhold_protocol::record::Pin;
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::Hand;
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::rng::Random;
use pinhold_sim::sensors::{LeverModel, Posture};
use tempfile::TempDir;

use crate::Result;
use crate::ambush::Ambush;
use crate::cable::Cable;
use crate::emulator::{Emulator, Event, Link};
use crate::host::Host;
use crate::ledger::{FlashImage, Ledger, StoredRecord};
use crate::technician::{Technician, pin_of};

mod outcome;

pub use outcome::{BLOWS, Blow, Outcome};

/// Longest time for the surveys in peace at the end.
const PEACE_LIMIT: Duration = Duration::from_secs(240);
/// Readings accepted in a campaign, at least.
pub const READING_COUNT_MIN: usize = 5;
/// Longest wait for the moment a blow waits for; then it falls all the same. Several times what
/// a pin takes where the emulators share a busy machine.
const MOMENT_LIMIT: Duration = Duration::from_secs(12);
/// Longest pause before a blow at no moment in particular.
const PAUSE_S_MAX: f64 = 1.5;
/// Longest delay behind a moment.
const DELAY_S_MAX: f64 = 0.25;
/// Longest delay behind the first word of a write, about as long as a record takes.
const WRITE_S_MAX: f64 = 0.002;
/// Longest wait of an ambush for a write; then the emulator is killed all the same.
const AMBUSH_LIMIT: Duration = Duration::from_secs(10);
/// Longest time between the emulator's end and the ambush saying so.
const STRUCK_LIMIT: Duration = Duration::from_secs(1);
/// Longest time the cable is out, and the host is not started again.
const CUT_S_MAX: f64 = 0.6;
const HOST_PAUSE_S_MAX: f64 = 0.3;
/// Words of the board remembered.
const RECENT_COUNT_MAX: usize = 60;
/// Pins asked of one life of the host, at most.
const PIN_COUNT_MAX: usize = 4;

/// What a blow waits for before its delay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Moment {
    /// Nothing in particular.
    Any,
    /// A pin is being turned.
    Moving,
    /// A reading was accepted: the host is about to store or commit it.
    Accepted,
    /// The next write to the flash once a pin is being turned. For the emulator's end only.
    Writing,
}

/// What a campaign is to do.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    /// Decides everything that is drawn.
    pub seed: u64,
    /// Blows of each kind.
    pub blow_count: usize,
}

/// A blow waiting for its moment.
struct Waiting {
    blow: Blow,
    moment: Moment,
    delay: Duration,
    drawn: Instant,
    /// When its moment came.
    came: Option<Instant>,
}

struct Campaign<'a> {
    elf: &'a Path,
    binary: &'a Path,
    folder: TempDir,
    identity: Identity,
    random: Random,
    pins: Vec<Pin>,
    emulator: Option<Emulator>,
    cable: Cable,
    technician: Technician,
    host: Option<Host>,
    host_due: Instant,
    plug_due: Instant,
    in_hand: Option<Pin>,
    lamp: Option<Lamp>,
    accepted: Vec<Pin>,
    life_end_count: usize,
    /// What the board said last, for the person who reads that it went no further.
    recent: VecDeque<Event>,
    ledger: Ledger,
    outcome: Outcome,
}

/// Runs one campaign.
///
/// # Errors
/// When a process does what it must not, a limit passes, or the system fails.
pub fn run(elf: &Path, binary: &Path, plan: Plan) -> Result<Outcome> {
    let started = Instant::now();
    let mut campaign = Campaign::start(elf, binary, plan)?;
    let told = campaign.fight(plan).and_then(|()| campaign.peace()).and_then(|()| campaign.judge());
    let hosts_words = campaign.host.as_ref().map(Host::output).unwrap_or_default();
    told.map_err(|error| {
        let so_far = &campaign.outcome;
        let Campaign { recent, .. } = &campaign;
        format!(
            "seed {}: {error}\nso far: {so_far}\nthe host:\n{hosts_words}\nthe board: {recent:?}",
            plan.seed
        )
    })?;
    campaign.outcome.wall_s = started.elapsed().as_secs();
    Ok(campaign.outcome)
}

impl<'a> Campaign<'a> {
    fn start(elf: &'a Path, binary: &'a Path, plan: Plan) -> Result<Campaign<'a>> {
        let folder = TempDir::new()?;
        let seed = plan.seed;
        let identity = Identity {
            device: 0xca11_ab1e_0000_0000 | seed,
            epoch: 11,
            sample_period_ns: 1_000_000,
        };
        let piano = Piano::invent(seed, Fault::None, Severity::Plain);
        let indices = 0..piano.pins.len();
        let pins: Vec<Pin> = indices.filter_map(|index| pin_of(&piano, index)).collect();
        let model = LeverModel::drawn(seed, Posture::level_grand());
        let technician = Technician::hasty(Workbench::new(piano, model, Hand::default(), seed));
        Host::add_instrument(binary, &folder.path().join("data"))?;
        let cable = Cable::new(folder.path())?;
        let socket = Link::Socket(cable.socket());
        let emulator = Emulator::boot_in(folder.path(), elf, identity, socket)?;
        Ok(Campaign {
            elf,
            binary,
            identity,
            random: Random::new(seed).fork("campaign"),
            pins,
            emulator: Some(emulator),
            technician,
            host: None,
            host_due: Instant::now(),
            plug_due: Instant::now(),
            in_hand: None,
            lamp: None,
            accepted: Vec::new(),
            life_end_count: 0,
            recent: VecDeque::new(),
            ledger: Ledger::new(identity.device, identity.epoch),
            outcome: Outcome::default(),
            cable,
            folder,
        })
    }

    fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// A time up to `limit_s`, short ones more often than long ones.
    fn short(&mut self, limit_s: f64) -> Duration {
        Duration::from_secs_f64(limit_s * self.random.unit().powi(2))
    }

    /// Every blow, in an order drawn.
    fn fight(&mut self, plan: Plan) -> Result<()> {
        let mut left: Vec<Blow> =
            BLOWS.iter().flat_map(|blow| std::iter::repeat_n(*blow, plan.blow_count)).collect();
        while !left.is_empty() {
            let place = self.random.whole(0, left.len() - 1);
            let blow = left.swap_remove(place);
            let mut waiting = self.draw(blow);
            while !self.is_due(&mut waiting) {
                self.turn()?;
            }
            if waiting.moment == Moment::Writing {
                self.ambush()?;
            }
            self.strike(blow)?;
        }
        Ok(())
    }

    fn draw(&mut self, blow: Blow) -> Waiting {
        let moment = match self.random.whole(0, 5) {
            _ if blow == Blow::KillEmulator && self.random.chance(0.6) => Moment::Writing,
            0 => Moment::Any,
            1 | 2 => Moment::Moving,
            _ => Moment::Accepted,
        };
        let delay = match moment {
            Moment::Any => self.short(PAUSE_S_MAX),
            Moment::Moving | Moment::Accepted => self.short(DELAY_S_MAX),
            Moment::Writing => Duration::ZERO,
        };
        Waiting { blow, moment, delay, drawn: Instant::now(), came: None }
    }

    fn is_due(&self, waiting: &mut Waiting) -> bool {
        let lamp = self.technician.signals().map(|signals| signals.lamp);
        let came = match waiting.moment {
            Moment::Any => true,
            Moment::Moving | Moment::Writing => lamp == Some(Lamp::Moving),
            Moment::Accepted => lamp == Some(Lamp::Accepted),
        };
        // A cable that is out cannot be cut.
        let possible = waiting.blow != Blow::CutCable || !self.cable.is_pulled();
        let running = waiting.blow != Blow::KillHost || self.host.is_some();
        if came || waiting.drawn.elapsed() > MOMENT_LIMIT {
            waiting.came.get_or_insert_with(Instant::now);
        }
        possible && running && waiting.came.is_some_and(|came| came.elapsed() >= waiting.delay)
    }

    /// Has the emulator killed in the middle of a write. It is found dead or, where nothing was
    /// written for too long, alive.
    fn ambush(&mut self) -> Result<()> {
        let delay = self.short(WRITE_S_MAX);
        let pid = self.emulator.as_ref().ok_or("no emulator")?.pid();
        let laid = Instant::now();
        let ambush = Ambush::lay(pid, &self.folder.path().join(FILE_NAME), delay)?;
        while !ambush.has_struck() && laid.elapsed() < AMBUSH_LIMIT {
            if let Err(error) = self.turn() {
                let failed = Instant::now();
                while !ambush.has_struck() {
                    if failed.elapsed() > STRUCK_LIMIT {
                        return Err(error);
                    }
                    std::thread::yield_now();
                }
            }
        }
        self.outcome.ambush_count += usize::from(ambush.has_struck());
        Ok(())
    }

    fn strike(&mut self, blow: Blow) -> Result<()> {
        self.outcome.on_pin_count += usize::from(self.in_hand.is_some());
        let uncommitted_count = self.ledger.uncommitted_count(self.flash()?);
        self.outcome.uncommitted_count += usize::from(uncommitted_count > 0);
        match blow {
            Blow::KillEmulator => {
                self.emulator = None;
                self.absorb()?;
                let socket = Link::Socket(self.cable.socket());
                let (folder, elf) = (self.folder.path(), self.elf);
                self.emulator = Some(Emulator::boot_in(folder, elf, self.identity, socket)?);
                self.board_started();
            }
            Blow::ResetEmulator => {
                let emulator = self.emulator.as_mut().ok_or("no emulator")?;
                for event in emulator.reset()? {
                    self.hear(&event);
                }
                self.board_started();
            }
            Blow::KillHost => self.end_host(),
            Blow::CutCable => {
                self.cable.set_pulled(true);
                self.plug_due = Instant::now() + self.short(CUT_S_MAX);
            }
        }
        *self.outcome.blows.entry(blow).or_default() += 1;
        Ok(())
    }

    fn board_started(&mut self) {
        self.technician.board_started();
        (self.in_hand, self.lamp) = (None, None);
        self.life_end_count += 1;
    }

    fn absorb(&mut self) -> Result<()> {
        let flash = self.flash()?;
        self.ledger.absorb(flash)
    }

    fn flash(&self) -> Result<FlashImage> {
        FlashImage::read(&self.folder.path().join(FILE_NAME))
    }

    /// One round of everything that goes on by itself.
    fn turn(&mut self) -> Result<()> {
        if self.cable.is_pulled() && Instant::now() >= self.plug_due {
            self.cable.set_pulled(false);
        }
        self.tend_host()?;
        let emulator = self.emulator.as_mut().ok_or("no emulator")?;
        if let Some(event) = self.technician.turn(emulator)? {
            self.hear(&event);
        }
        Ok(())
    }

    fn hear(&mut self, event: &Event) {
        if !matches!(event, Event::Credit(_)) {
            self.recent.push_back(event.clone());
            while self.recent.len() > RECENT_COUNT_MAX {
                self.recent.pop_front();
            }
        }
        let Event::Signals(_, signals) = event else { return };
        // The lamp turns in the very step in which the reading is kept and its pin let go. The
        // beep may wait, and be heard when the next pin is in hand already.
        let turned = signals.lamp == Lamp::Accepted && self.lamp != Some(Lamp::Accepted);
        if turned && signals.pin != self.in_hand {
            self.accepted.extend(self.in_hand);
        }
        (self.in_hand, self.lamp) = (signals.pin, Some(signals.lamp));
    }

    /// Starts the host where none runs; looks at how one ended by itself.
    fn tend_host(&mut self) -> Result<()> {
        let Some(host) = self.host.as_mut() else {
            return if Instant::now() >= self.host_due { self.start_host() } else { Ok(()) };
        };
        let Some(status) = host.ended()? else { return Ok(()) };
        match status.code() {
            Some(code) if code == i32::from(Exit::Done.code()) => {
                self.outcome.survey_done_count += 1;
            }
            // It was started while the cable was out, or heard nothing for too long.
            Some(code) if code == i32::from(Exit::LeverAbsent.code()) => {
                self.outcome.lever_absent_count += 1;
            }
            _ => return Err(format!("the host ended: {status}").into()),
        }
        self.end_host();
        Ok(())
    }

    fn end_host(&mut self) {
        self.host = None;
        self.cable.renew();
        self.host_due = Instant::now() + self.short(HOST_PAUSE_S_MAX);
    }

    fn start_host(&mut self) -> Result<()> {
        let pin_count = self.random.whole(1, PIN_COUNT_MAX);
        let mut pins: Vec<Pin> = Vec::new();
        while pins.len() < pin_count {
            let place = self.random.whole(0, self.pins.len() - 1);
            if let Some(pin) = self.pins.get(place).filter(|pin| !pins.contains(pin)) {
                pins.push(*pin);
            }
        }
        let stream_samples = self.random.chance(0.5);
        let data = self.data();
        let host = Host::survey(self.binary, &data, self.cable.port(), &pins, stream_samples)?;
        self.host = Some(host);
        self.outcome.host_life_count += 1;
        Ok(())
    }

    /// No more blows: goes on until a survey is done and enough is read.
    fn peace(&mut self) -> Result<()> {
        let started = Instant::now();
        let done_before = self.outcome.survey_done_count;
        while self.outcome.survey_done_count == done_before
            || self.accepted.len() < READING_COUNT_MIN
        {
            if started.elapsed() > PEACE_LIMIT {
                let state = self.technician.state();
                let count = self.accepted.len();
                return Err(format!("{count} readings, no survey in peace; {state}").into());
            }
            self.turn()?;
        }
        self.host = None;
        self.emulator = None;
        self.life_end_count += 1;
        self.absorb()
    }

    fn judge(&mut self) -> Result<()> {
        let store = Store::open(&self.data())?;
        let instrument = store.find_instrument(crate::host::INSTRUMENT)?;
        let mut surveys = Vec::new();
        for survey in store.surveys_of(instrument.id)? {
            let stored = store.readings_of(survey.id)?.lever;
            if let Some(other) = stored.iter().find(|stored| stored.device != self.identity.device)
            {
                return Err(format!("a reading of device {:x}", other.device).into());
            }
            let records = stored.iter().map(|stored| StoredRecord::of(survey.uid, stored));
            surveys.push(records.collect::<Result<Vec<_>>>()?);
        }
        let (next, floor) = self.ledger.next_and_floor();
        if floor != next {
            return Err(format!("record {floor} of {next} is not committed").into());
        }
        let outcome = &mut self.outcome;
        outcome.reading_count = self.ledger.reading_count();
        outcome.lost_number_count = self.ledger.lost_number_count();
        outcome.stored_count = surveys.iter().map(Vec::len).sum();
        outcome.hung_up_count = self.cable.hung_up_count();
        outcome.complaints = self.ledger.judge(&self.accepted, self.life_end_count, &surveys);
        outcome.accepted = std::mem::take(&mut self.accepted);
        outcome.kept = self.ledger.pins().collect();
        Ok(())
    }
}
