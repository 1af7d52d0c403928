//! A log in a flash, beside a list of what it acknowledged and a host that pulls and commits.
//!
//! Every operation ends with a cold look: a copy of the chip is powered up, mounted, and compared
//! with the list. Deliberately not here: what happens when ([`crate::history`]).
//!
//! Invariant: a finding is something a user would lose by.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use pinhold_lever::log::flash::FlashLog;
use pinhold_lever::log::flash::care::Care;
use pinhold_lever::log::{RecordBuffer, RecordLog};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::lost::{chain_behind, decode_lost};
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::{RECORD_BYTES_MAX, chain_start, record_checksum};

use crate::flash::{Flash, HeadWritten, Torn};
use crate::random::Random;

/// Device the log belongs to.
pub const DEVICE: u64 = 0x0123_4567_89ab_cdef;
/// Pages of records the log can keep track of here.
pub const PAGES: usize = 30;

/// Times a host pulls again where bits read another way each time.
const COMMIT_TRIES_MAX: u32 = 8;

/// What went wrong.
pub type Finding = String;

/// What happened, in numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Records acknowledged.
    pub kept_count: u64,
    /// Records committed.
    pub committed_count: u64,
    /// Times power went.
    pub cut_count: u64,
    /// Times a chip was mounted.
    pub mount_count: u64,
    /// Records never acknowledged that were found whole all the same.
    pub unasked_count: u64,
    /// Numbers answered for as lost, seen cold.
    pub lost_count: u64,
    /// Times a rotten log was given up for a new one.
    pub renewed_count: u64,
    /// Records the log refused because it had no room or could not write.
    pub refused_count: u64,
}

impl Tally {
    /// Adds another.
    pub fn add(&mut self, other: &Tally) {
        self.kept_count += other.kept_count;
        self.committed_count += other.committed_count;
        self.cut_count += other.cut_count;
        self.mount_count += other.mount_count;
        self.unasked_count += other.unasked_count;
        self.lost_count += other.lost_count;
        self.renewed_count += other.renewed_count;
        self.refused_count += other.refused_count;
    }
}

/// A host's memory of one epoch.
#[derive(Clone, Debug, Default)]
struct Host {
    /// Checksum, chain value behind, and whether it is a loss, by number.
    records: BTreeMap<u32, (u32, u32, bool)>,
}

/// Log, list and host.
#[derive(Clone, Debug)]
pub struct Bench<const WORD: usize, const PAGE: usize, C: Care> {
    log: FlashLog<Flash<WORD, PAGE>, PAGES, C>,
    torn: Torn,
    random: Random,
    /// Bytes of every record ever handed to the log.
    contents: Vec<Vec<u8>>,
    /// Acknowledged records of this epoch: index of their contents by number.
    kept: BTreeMap<u32, usize>,
    /// Records never acknowledged that read well at the last look.
    unasked: Vec<(u32, usize)>,
    /// Those that the log showed since power-up.
    shown: Vec<(u32, usize)>,
    /// Checksums of every record of which a bit is known to have reached the flash.
    used: HashMap<(u32, u32), u32>,
    /// Heads under way when power went, with whether they show in this power-up; `None` before
    /// the first look at them.
    torn_heads: Vec<(HeadWritten, Option<bool>)>,
    floor: u32,
    /// Highest floor a commit was sent for.
    floor_sent: u32,
    host: Host,
    /// Fixed once a record was acknowledged.
    epoch: Option<u32>,
    epochs: BTreeSet<u32>,
    wiping: bool,
    settings: Option<Vec<u8>>,
    /// Settings sent since and not acknowledged.
    settings_sent: Vec<Vec<u8>>,
    /// Bits were turned over: losses are allowed, silence about them is not.
    rotten: bool,
    /// So much rotted that another epoch was found; nothing can be compared any more.
    pub is_given_up: bool,
    /// What happened so far.
    pub tally: Tally,
}

type Log<const WORD: usize, const PAGE: usize, C> = FlashLog<Flash<WORD, PAGE>, PAGES, C>;

impl<const WORD: usize, const PAGE: usize, C: Care + Clone> Bench<WORD, PAGE, C> {
    /// A chip fresh from the tray, or one used for something else before.
    pub fn new(page_count: usize, torn: Torn, junk: bool, seed: u64) -> Self {
        let mut random = Random::new(seed);
        let mut flash = Flash::new(page_count, torn, random.bits());
        if junk {
            flash.fill_with_junk();
        }
        let candidate = random.bits() as u32 >> 1;
        Bench {
            log: FlashLog::mount(flash, DEVICE, candidate),
            torn,
            random,
            contents: Vec::new(),
            kept: BTreeMap::new(),
            unasked: Vec::new(),
            shown: Vec::new(),
            used: HashMap::new(),
            torn_heads: Vec::new(),
            floor: 0,
            floor_sent: 0,
            host: Host::default(),
            epoch: None,
            epochs: BTreeSet::new(),
            wiping: false,
            settings: None,
            settings_sent: Vec::new(),
            rotten: false,
            is_given_up: false,
            tally: Tally::default(),
        }
    }

    /// The chip.
    pub fn flash(&mut self) -> &mut Flash<WORD, PAGE> {
        self.log.flash_mut()
    }

    /// The log.
    pub fn log(&mut self) -> &mut Log<WORD, PAGE, C> {
        &mut self.log
    }

    /// Turns over bits of one written word.
    pub fn rot(&mut self) {
        self.flash().cancel_cut();
        let seed = self.random.bits();
        self.rotten |= self.flash().rot(seed);
    }

    /// Whether any bits were turned over.
    pub fn is_rotten(&self) -> bool {
        self.rotten
    }

    /// Turns over bits in every written word of a page.
    pub fn rot_page(&mut self, page: usize) {
        self.rotten = true;
        self.flash().rot_page(page);
    }

    /// A pin is chosen, read and its record kept.
    ///
    /// # Errors
    /// What a user would lose by.
    pub fn keep_record(&mut self, byte_count: usize) -> Result<(), Finding> {
        self.log.make_room();
        if !self.log.has_room() {
            self.tally.refused_count += 1;
            return self.settle();
        }
        let index = self.contents.len();
        let byte_count = byte_count.clamp(5, RECORD_BYTES_MAX);
        let mut bytes = vec![1u8];
        bytes.extend((index as u32).to_le_bytes());
        bytes.resize_with(byte_count, || self.random.bits() as u8);
        self.contents.push(bytes.clone());
        self.flash().pin_turning = true;
        let stored = self.log.push(&bytes);
        self.flash().pin_turning = false;
        let Some(stored) = stored else {
            self.tally.refused_count += 1;
            return self.settle();
        };
        let epoch = self.log.epoch();
        if stored.checksum != record_checksum(epoch, stored.number, &bytes) {
            return Err("the acknowledged checksum is not the record's".to_owned());
        }
        if self.kept.insert(stored.number, index).is_some() {
            return Err(format!("number {} was acknowledged twice", stored.number));
        }
        self.epoch = Some(epoch);
        self.epochs.insert(epoch);
        self.tally.kept_count += 1;
        // What the log showed and went on from is as good as acknowledged.
        self.kept.extend(std::mem::take(&mut self.shown));
        self.settle()
    }

    fn use_number(&mut self, head: &HeadWritten) -> Result<(), Finding> {
        match self.used.insert((head.epoch, head.number), head.checksum) {
            // Rot may take the only trace of a number that was never acknowledged.
            Some(other) if other != head.checksum && !self.rotten => {
                Err(format!("number {} is used for a second record", head.number))
            }
            _ => Ok(()),
        }
    }

    /// The host pulls what it does not have, up to `count_max` records, and commits it.
    ///
    /// # Errors
    /// What a user would lose by.
    pub fn sync_host(&mut self, count_max: u32) -> Result<(), Finding> {
        let from = self.host.records.keys().next_back().map_or(0, |number| number + 1);
        let from = from.max(self.log.committed().0).max(self.log.oldest_number());
        let to = self.log.next_number().min(from.saturating_add(count_max));
        for number in from..to {
            self.pull(number)?;
        }
        self.log.make_room();
        if !self.flash().is_powered() {
            return self.settle();
        }
        self.commit_up_to(to, 0)
    }

    /// The host commits; again after it pulled again.
    fn commit_up_to(&mut self, to: u32, tries: u32) -> Result<(), Finding> {
        let chain = self.host_chain(to)?;
        let commit = Commit { epoch: self.log.epoch(), floor: to, chain };
        let forged = Commit { chain: commit.chain ^ 1, ..commit };
        if self.random.one_in(4) && self.log.commit(forged) == CommandResult::Done {
            return Err("a commit with a wrong chain value is taken".to_owned());
        }
        self.floor_sent = self.floor_sent.max(to);
        match self.log.commit(commit) {
            CommandResult::Done => {
                if to > self.floor {
                    self.epoch = Some(self.log.epoch());
                    self.epochs.insert(self.log.epoch());
                }
                self.tally.committed_count += u64::from(to.saturating_sub(self.floor));
                self.floor = self.floor.max(to);
            }
            CommandResult::PinMoving => {}
            CommandResult::CommitMismatch if self.is_fickle() && tries < COMMIT_TRIES_MAX => {
                // What reads differently since the host pulled has another chain value: it pulls
                // again.
                self.pull_again()?;
                return self.commit_up_to(to, tries + 1);
            }
            other => {
                if self.flash().is_powered() {
                    return Err(format!("an honest commit up to {to} is answered {other:?}"));
                }
            }
        }
        self.settle()
    }

    /// Whether the same bits may read differently from one power-up to the next.
    fn is_fickle(&self) -> bool {
        self.rotten || matches!(self.torn, Torn::WeakPerPowerUp | Torn::WeakPerRead)
    }

    /// The host takes one record.
    fn pull(&mut self, number: u32) -> Result<(), Finding> {
        let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
        let Some(stored) = self.log.get(number, &mut buffer) else {
            return Err(format!("nothing is said of number {number}"));
        };
        let bytes = &buffer[..stored.byte_count];
        let epoch = self.log.epoch();
        if record_checksum(epoch, number, bytes) != stored.checksum {
            return Err(format!("record {number} arrives with a wrong checksum"));
        }
        let before = self.host_chain(number)?;
        let chain = chain_behind(before, stored.checksum, bytes);
        let is_lost = decode_lost(bytes).is_ok();
        let entry = (stored.checksum, chain, is_lost);
        if let Some(known) = self.host.records.insert(number, entry) {
            let both_whole = !known.2 && !is_lost;
            // A record that was never acknowledged, and with weak or rotten bits the last one, may
            // be there one time and lost another: the host keeps it and goes on with the lever's
            // chain value.
            let is_sure = self.kept.contains_key(&number) && !self.is_fickle();
            let other_chain = known.1 != chain && is_sure;
            if other_chain || (both_whole && known.0 != stored.checksum) {
                return Err(format!("the host is told two things about number {number}"));
            }
        }
        Ok(())
    }

    /// The host's chain value below a number: what the lever says of its floor, else its own.
    fn host_chain(&mut self, number: u32) -> Result<u32, Finding> {
        let own = match number.checked_sub(1) {
            None => Some(chain_start(DEVICE, self.log.epoch())),
            Some(last) => self.host.records.get(&last).map(|(_, chain, _)| *chain),
        };
        let (floor, floor_chain) = self.log.committed();
        if number != floor {
            return own.ok_or_else(|| format!("the host has no record below {number}"));
        }
        match own {
            Some(own) if own != floor_chain && !self.is_fickle() => {
                Err(format!("the chain value at the floor {floor} is another one"))
            }
            _ => Ok(floor_chain),
        }
    }

    /// A host asks again for everything that is still there.
    ///
    /// # Errors
    /// What a user would lose by.
    pub fn pull_again(&mut self) -> Result<(), Finding> {
        // A record lost below the floor has no chain value that the host could compare.
        let from = self.log.oldest_number().max(self.log.committed().0);
        let known = self.host.records.keys().next_back().map_or(0, |number| number + 1);
        for number in from..known.min(self.log.next_number()) {
            self.pull(number)?;
        }
        Ok(())
    }

    /// Calibration is stored.
    ///
    /// # Errors
    /// What a user would lose by.
    pub fn store_settings(&mut self, byte_count: usize) -> Result<(), Finding> {
        let bytes: Vec<u8> = (0..byte_count).map(|_| self.random.bits() as u8).collect();
        self.settings_sent.push(bytes.clone());
        if self.log.store_settings(&bytes) {
            self.settings = Some(bytes);
            self.settings_sent.clear();
        }
        self.settle()
    }

    /// Power is about to fail and then does not; a pin is being read meanwhile.
    ///
    /// # Errors
    /// What a user would lose by.
    pub fn warn(&mut self) -> Result<(), Finding> {
        self.log.make_room();
        self.log.set_power_failing(true);
        self.flash().warned = true;
        if self.log.push(&[1, 2, 3]).is_some() {
            return Err("a record is acknowledged after the warning".to_owned());
        }
        self.log.make_room();
        self.flash().warned = false;
        self.log.set_power_failing(false);
        self.settle()
    }

    /// Everything is wiped by the operator.
    ///
    /// # Errors
    /// What a user would lose by.
    pub fn wipe(&mut self) -> Result<(), Finding> {
        let candidate = self.random.bits() as u32 >> 1;
        if self.is_fickle() {
            // Cut short it may count at one power-up and not at the next, which is nobody's loss
            // but too much for this bench.
            self.flash().cancel_cut();
        }
        self.wiping = true;
        if self.log.wipe(candidate) {
            self.wiped()?;
        }
        self.settle()
    }

    fn wiped(&mut self) -> Result<(), Finding> {
        self.wiping = false;
        let epoch = self.log.epoch();
        if self.epochs.last().is_some_and(|last| epoch <= *last) || !self.epochs.insert(epoch) {
            return Err(format!("epoch {epoch} is used again"));
        }
        self.epoch = Some(epoch);
        self.kept.clear();
        self.torn_heads.clear();
        self.shown.clear();
        self.host = Host::default();
        (self.floor, self.floor_sent) = (0, 0);
        Ok(())
    }

    /// Ends an operation: what was written is noted, a lost power comes back, and a copy of the
    /// chip is looked at cold.
    fn settle(&mut self) -> Result<(), Finding> {
        let powered = self.flash().is_powered();
        for head in self.flash().take_heads() {
            // What showed nothing when its number was tried again is nobody's fault.
            let same =
                |other: &HeadWritten| (other.epoch, other.number) == (head.epoch, head.number);
            self.torn_heads.retain(|(other, shows)| *shows == Some(true) || !same(other));
            if !powered {
                self.torn_heads.push((head, None));
            } else if self.flash().shows(&head) {
                // Words that did not take may have left nothing at all.
                self.use_number(&head)?;
            }
        }
        if powered {
            let next = self.log.next_number();
            for (head, shows) in std::mem::take(&mut self.torn_heads) {
                if head.number >= next {
                    self.torn_heads.push((head, shows));
                } else if shows == Some(true) {
                    self.use_number(&head)?;
                }
                // One that shows nothing to the log that passes it by is nobody's fault.
            }
            if self.wiping {
                // It failed with power on, as a flaw makes it fail.
                self.wiping = false;
            }
            self.look_cold()
        } else {
            self.tally.cut_count += 1;
            self.restart()
        }
    }

    /// Power off and on.
    ///
    /// # Errors
    /// What a user would lose by.
    pub fn restart(&mut self) -> Result<(), Finding> {
        let mut flash = self.log.clone().into_flash();
        flash.power_up();
        for (head, showed) in std::mem::take(&mut self.torn_heads) {
            if !flash.is_erased(&head) {
                // Where every read differs, nobody can say whether the log sees it. One that shows
                // late finds the log gone on.
                let shows =
                    self.torn != Torn::WeakPerRead && showed != Some(false) && flash.shows(&head);
                self.torn_heads.push((head, Some(shows)));
            } else if showed == Some(true) {
                // The log saw it and wiped the trace: it has to know by itself.
                self.use_number(&head)?;
            }
        }
        let candidate = self.random.bits() as u32 >> 1;
        let epoch_before = self.log.epoch();
        self.log = FlashLog::mount(flash, DEVICE, candidate);
        self.tally.mount_count += 1;
        if self.rotten && self.epoch.is_some_and(|epoch| epoch != self.log.epoch()) {
            // So much rotted that nothing of the epoch was left: told by another epoch.
            self.tally.renewed_count += 1;
            self.is_given_up = true;
            return Ok(());
        }
        if self.log.epoch() != epoch_before {
            if self.epoch.is_none() {
                // Nothing of the first epoch was sure to be in flash yet.
                self.host = Host::default();
                (self.floor, self.floor_sent) = (0, 0);
            } else if self.wiping {
                self.wiped()?;
            }
        }
        self.wiping = false;
        let mut log = self.log.clone();
        self.compare(&mut log)?;
        if self.torn != Torn::WeakPerRead {
            self.shown = std::mem::take(&mut self.unasked);
            self.pull_again()?;
        }
        Ok(())
    }

    /// Powers up and mounts a copy of the chip.
    fn look_cold(&mut self) -> Result<(), Finding> {
        let mut flash = self.log.clone().into_flash();
        flash.power_up();
        let mut log: Log<WORD, PAGE, C> = FlashLog::mount(flash, DEVICE, 1);
        self.tally.mount_count += 1;
        self.compare(&mut log)
    }

    /// Compares what a log says with what was acknowledged.
    fn compare(&mut self, log: &mut Log<WORD, PAGE, C>) -> Result<(), Finding> {
        if let Some(offence) = self.flash().offences().first() {
            return Err((*offence).to_owned());
        }
        if self.epoch.is_some_and(|epoch| epoch != log.epoch()) {
            if self.rotten {
                return Ok(());
            }
            return Err("the epoch changed by itself".to_owned());
        }
        let (floor, _) = log.committed();
        if self.epoch.is_some() && !self.rotten && floor < self.floor {
            return Err(format!("the floor went back from {} to {floor}", self.floor));
        }
        if floor > self.floor_sent {
            return Err(format!("the floor {floor} is nobody's"));
        }
        let mut last = None;
        self.unasked.clear();
        for number in log.oldest_number()..log.next_number() {
            let content = self.compare_record(log, number)?;
            if content.is_some() && content <= last {
                return Err(format!("record {number} is doubled or out of order"));
            }
            last = content.or(last);
        }
        // What is below the floor may have been erased.
        let (from, to) = (log.oldest_number(), log.next_number());
        for number in self.kept.range(floor..).map(|(number, _)| *number) {
            if number >= to || number < from {
                return Err(format!("acknowledged record {number} is lost"));
            }
        }
        self.compare_settings(log)
    }

    /// Index of the contents a number stands for, `None` for a loss.
    fn compare_record(
        &mut self,
        log: &mut Log<WORD, PAGE, C>,
        number: u32,
    ) -> Result<Option<usize>, Finding> {
        let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
        let Some(stored) = log.get(number, &mut buffer) else {
            return Err(format!("nothing is said of number {number}"));
        };
        let bytes = &buffer[..stored.byte_count];
        if record_checksum(log.epoch(), number, bytes) != stored.checksum {
            return Err(format!("record {number} has a wrong checksum"));
        }
        let kept = self.kept.get(&number).copied();
        if decode_lost(bytes).is_ok() {
            self.tally.lost_count += 1;
            return match kept {
                Some(_) if number >= log.committed().0 && !self.rotten => {
                    Err(format!("acknowledged record {number} is lost"))
                }
                _ => Ok(None),
            };
        }
        let index = match *bytes {
            [1, a, b, c, d, ..] => u32::from_le_bytes([a, b, c, d]) as usize,
            _ => return Err(format!("record {number} was never written")),
        };
        if self.contents.get(index).map(Vec::as_slice) != Some(bytes) {
            return Err(format!("record {number} is not what was written"));
        }
        match kept {
            Some(kept) if kept != index => Err(format!("record {number} is another one")),
            Some(_) => Ok(Some(index)),
            None => {
                self.tally.unasked_count += 1;
                self.unasked.push((number, index));
                Ok(Some(index))
            }
        }
    }

    fn compare_settings(&mut self, log: &mut Log<WORD, PAGE, C>) -> Result<(), Finding> {
        let mut buffer = [0; PAGE];
        let found = log.settings(&mut buffer).map(|count| buffer[..count].to_vec());
        let known = found == self.settings
            || found.as_ref().is_some_and(|found| self.settings_sent.contains(found))
            || self.rotten;
        if known { Ok(()) } else { Err("the settings are lost".to_owned()) }
    }
}
