//! NOR memory as data sheets allow it to behave.
//!
//! Programming clears bits, a word at a time and once between erases; erasing sets all bits of a
//! page. Where power goes in the middle, any of the bits under way have changed, and the cells of
//! those may be weak: they read as they like. Words may take less than they were told (flaws).
//! What a driver must never do is noted as an offence.
//!
//! Deliberately not here: timing, wear counts.
//!
//! Invariants: power lost, nothing can be done before [`Flash::power_up`]; every offence stays
//! noted.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash, check_erase, check_read,
    check_write,
};
use pinhold_lever::log::flash::format::{Entry, GRANULE_BYTES, decode};

use crate::random::Random;

/// Why nothing was done, or not all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Power is off, or went in the middle.
    NoPower,
    /// The chip says that it failed.
    Failed,
    /// A torn word, in a chip that knows one when it sees it.
    Torn,
    /// Address or length.
    Argument(NorFlashErrorKind),
}

impl NorFlashError for Fault {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Fault::Argument(kind) => *kind,
            _ => NorFlashErrorKind::Other,
        }
    }
}

/// Which of the bits under way change when power goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subset {
    /// None.
    None,
    /// All.
    All,
    /// Each by chance.
    Random,
    /// Those of the first part, by chance how long.
    Front,
    /// Those of the last part, by chance how long.
    Back,
}

/// All subsets.
pub const SUBSETS: [Subset; 5] =
    [Subset::None, Subset::All, Subset::Random, Subset::Front, Subset::Back];

/// How torn bits read afterwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Torn {
    /// As they ended up.
    Settled,
    /// Anew at every power-up.
    WeakPerPowerUp,
    /// Anew at every read.
    WeakPerRead,
    /// Not at all: the chip reports an error for the word.
    Reported,
}

/// All kinds of torn bits.
pub const TORN_KINDS: [Torn; 4] =
    [Torn::Settled, Torn::WeakPerPowerUp, Torn::WeakPerRead, Torn::Reported];

/// A record's head that was sent to the flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HeadWritten {
    /// Epoch.
    pub epoch: u32,
    /// Number.
    pub number: u32,
    /// Checksum of the record.
    pub checksum: u32,
    /// Where it was to stand.
    pub offset: usize,
    /// Times the page had been erased by then.
    pub erase_count: u64,
}

/// Flash of `WORD`-byte words and `PAGE`-byte pages.
#[derive(Clone, Debug)]
pub struct Flash<const WORD: usize, const PAGE: usize> {
    bytes: Vec<u8>,
    /// Bits that may read either way.
    weak: Vec<u8>,
    /// Words programmed, or tried, since their page was erased.
    written: Vec<bool>,
    torn: Torn,
    random: Random,
    powered: bool,
    /// Words and pages still done before power goes, and what then happens to the bits.
    cut: Option<(u64, Subset)>,
    step_count: u64,
    /// Power last went in the middle of an erase.
    cut_erasing: bool,
    /// One word in this many takes less than it was told.
    flaw_one_in: Option<u64>,
    offences: Vec<&'static str>,
    /// An erase now is an offence.
    pub pin_turning: bool,
    /// A write or an erase now is an offence.
    pub warned: bool,
    heads: Vec<HeadWritten>,
    /// Times each page was erased, whole or in part.
    erase_counts: Vec<u64>,
}

impl<const WORD: usize, const PAGE: usize> Flash<WORD, PAGE> {
    /// A new chip, all bits set.
    pub fn new(page_count: usize, torn: Torn, seed: u64) -> Self {
        let size = page_count * PAGE;
        Flash {
            bytes: vec![0xff; size],
            weak: vec![0; size],
            written: vec![false; size / WORD],
            torn,
            random: Random::new(seed),
            powered: true,
            cut: None,
            step_count: 0,
            cut_erasing: false,
            flaw_one_in: None,
            offences: Vec::new(),
            pin_turning: false,
            warned: false,
            heads: Vec::new(),
            erase_counts: vec![0; page_count],
        }
    }

    /// Fills the chip with anything, as one that was used for something else.
    pub fn fill_with_junk(&mut self) {
        for byte in &mut self.bytes {
            *byte = self.random.bits() as u8;
        }
        self.written.fill(true);
    }

    /// Lets power go after `step_count` more words and pages.
    pub fn cut_after(&mut self, step_count: u64, subset: Subset) {
        self.cut = Some((step_count, subset));
    }

    /// Power stays.
    pub fn cancel_cut(&mut self) {
        self.cut = None;
    }

    /// One word in `count` takes less than it was told from now on.
    pub fn set_flaws(&mut self, count: Option<u64>) {
        self.flaw_one_in = count;
    }

    /// Whether power is on.
    pub fn is_powered(&self) -> bool {
        self.powered
    }

    /// Whether power last went in the middle of an erase rather than of a word.
    pub fn was_cut_erasing(&self) -> bool {
        self.cut_erasing
    }

    /// Words programmed and pages erased so far, whole or in part.
    pub fn step_count(&self) -> u64 {
        self.step_count
    }

    /// What was done that must never be done.
    pub fn offences(&self) -> &[&'static str] {
        &self.offences
    }

    /// Heads of records sent since they were last taken.
    pub fn take_heads(&mut self) -> Vec<HeadWritten> {
        std::mem::take(&mut self.heads)
    }

    /// Whether any bit of a head reads as cleared now.
    pub fn shows(&self, head: &HeadWritten) -> bool {
        self.bytes[head.offset..head.offset + GRANULE_BYTES].iter().any(|byte| *byte != 0xff)
    }

    /// Whether a head's page was erased, or begun to be, since the head was written.
    pub fn is_erased(&self, head: &HeadWritten) -> bool {
        self.erase_counts[head.offset / PAGE] != head.erase_count
    }

    /// Turns power on, as after a cut or instead of one.
    pub fn power_up(&mut self) {
        self.powered = true;
        self.cut = None;
        self.warned = false;
        self.pin_turning = false;
        if self.torn == Torn::WeakPerPowerUp {
            self.redraw(0, self.bytes.len());
        }
    }

    /// Turns over some bits of a word that was written, as years or radiation do; whether there
    /// was one.
    pub fn rot(&mut self, seed: u64) -> bool {
        let mut random = Random::new(seed);
        let written: Vec<usize> = (0..self.written.len()).filter(|i| self.written[*i]).collect();
        if written.is_empty() {
            return false;
        }
        let word = written[random.below(written.len() as u64) as usize];
        for byte in &mut self.bytes[word * WORD..(word + 1) * WORD] {
            *byte ^= random.bits() as u8 | 1;
        }
        true
    }

    /// Turns over bits in every written word of a page.
    pub fn rot_page(&mut self, page: usize) {
        for word in page * PAGE / WORD..(page + 1) * PAGE / WORD {
            if self.written[word] {
                self.bytes[word * WORD] ^= 0x5a;
            }
        }
    }

    /// Lets weak bits read all set, all cleared, or each by chance: temperature and supply move
    /// them together.
    fn redraw(&mut self, from: usize, to: usize) {
        let together = [Some(0xff), Some(0), None][self.random.below(3) as usize];
        for index in from..to {
            let weak = self.weak[index];
            if weak != 0 {
                let drawn = together.unwrap_or_else(|| self.random.bits() as u8);
                self.bytes[index] = (self.bytes[index] & !weak) | (drawn & weak);
            }
        }
    }

    /// Counts a step; how the bits fare when power goes in it.
    fn step(&mut self) -> Option<Subset> {
        self.step_count += 1;
        match &mut self.cut {
            Some((0, subset)) => {
                self.powered = false;
                Some(*subset)
            }
            Some((left, _)) => {
                *left -= 1;
                None
            }
            None => None,
        }
    }

    /// Moves the bits from `from` to `to` as far as the subset lets them.
    fn tear(&mut self, at: usize, targets: &[u8], subset: Subset) {
        let split = self.random.below(targets.len() as u64 + 1) as usize;
        for (index, target) in targets.iter().enumerate() {
            let before = self.bytes[at + index];
            let moving = before ^ target;
            let moved = match subset {
                Subset::None => 0,
                Subset::All => moving,
                Subset::Random => moving & self.random.bits() as u8,
                Subset::Front if index < split => moving,
                Subset::Back if index >= split => moving,
                Subset::Front | Subset::Back => 0,
            };
            self.bytes[at + index] = before ^ moved;
            if self.torn != Torn::Settled {
                // Where nothing moved at all, the cells were not touched.
                self.weak[at + index] |= if subset == Subset::None { 0 } else { moving };
            }
        }
    }

    fn program(&mut self, at: usize, targets: &[u8]) -> Result<(), Fault> {
        if std::mem::replace(&mut self.written[at / WORD], true) {
            self.offences.push("a word is written twice");
        }
        let old = &self.bytes[at..at + WORD];
        let mut targets: Vec<u8> = old.iter().zip(targets).map(|(old, new)| old & new).collect();
        if let Some(subset) = self.step() {
            self.cut_erasing = false;
            self.tear(at, &targets, subset);
            return Err(Fault::NoPower);
        }
        let mut result = Ok(());
        if let Some(count) = self.flaw_one_in
            && self.random.one_in(count)
        {
            for target in &mut targets {
                *target |= self.random.bits() as u8;
            }
            if self.random.one_in(2) {
                result = Err(Fault::Failed);
            }
        }
        for (index, target) in targets.iter().enumerate() {
            self.bytes[at + index] &= target;
        }
        result
    }

    fn note_write(&mut self) {
        if self.warned {
            self.offences.push("a write or an erase is begun after the warning");
        }
    }
}

impl<const WORD: usize, const PAGE: usize> ErrorType for Flash<WORD, PAGE> {
    type Error = Fault;
}

impl<const WORD: usize, const PAGE: usize> ReadNorFlash for Flash<WORD, PAGE> {
    const READ_SIZE: usize = WORD;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Fault> {
        if !self.powered {
            return Err(Fault::NoPower);
        }
        check_read(self, offset, bytes.len()).map_err(Fault::Argument)?;
        let (from, to) = (offset as usize, offset as usize + bytes.len());
        match self.torn {
            Torn::WeakPerRead => self.redraw(from, to),
            Torn::Reported if self.weak[from..to].iter().any(|weak| *weak != 0) => {
                return Err(Fault::Torn);
            }
            _ => {}
        }
        bytes.copy_from_slice(&self.bytes[from..to]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const WORD: usize, const PAGE: usize> NorFlash for Flash<WORD, PAGE> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Fault> {
        if !self.powered {
            return Err(Fault::NoPower);
        }
        check_erase(self, from, to).map_err(Fault::Argument)?;
        self.note_write();
        if self.pin_turning {
            self.offences.push("a page is erased while a pin turns");
        }
        for at in (from as usize..to as usize).step_by(PAGE) {
            self.erase_counts[at / PAGE] += 1;
            if let Some(subset) = self.step() {
                self.cut_erasing = true;
                self.tear(at, &[0xff; PAGE], subset);
                // However it looks, it has to be erased again.
                self.written[at / WORD..(at + PAGE) / WORD].fill(true);
                return Err(Fault::NoPower);
            }
            self.bytes[at..at + PAGE].fill(0xff);
            self.weak[at..at + PAGE].fill(0);
            self.written[at / WORD..(at + PAGE) / WORD].fill(false);
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Fault> {
        if !self.powered {
            return Err(Fault::NoPower);
        }
        check_write(self, offset, bytes.len()).map_err(Fault::Argument)?;
        self.note_write();
        if let Ok(granule) = bytes.try_into()
            && let Ok(Entry::Record(head)) = decode(granule)
        {
            self.heads.push(HeadWritten {
                epoch: head.epoch,
                number: head.number,
                checksum: head.checksum,
                offset: offset as usize,
                erase_count: self.erase_counts[offset as usize / PAGE],
            });
        }
        for (index, word) in bytes.chunks(WORD).enumerate() {
            self.program(offset as usize + index * WORD, word)?;
        }
        Ok(())
    }
}
