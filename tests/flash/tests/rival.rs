//! The field's flash queue, `sequential-storage` 8.0, through the same power cuts, for comparison.
//!
//! Only what it promises is asked of it: what was pushed and acknowledged is found again, as it
//! was and in order. Its numbers are printed and not judged; a later version may do better. It
//! erases nothing here, for its pages are never full, and it pops nothing.

use std::future::Future;
use std::pin::pin;
use std::task::{Context, Poll, Waker};

use embedded_storage::nor_flash::{ErrorType, NorFlash as Blocking, ReadNorFlash as BlockingRead};
use embedded_storage_async::nor_flash::{NorFlash, ReadNorFlash};
use pinhold_flashmodel::flash::{Fault, Flash, SUBSETS, TORN_KINDS, Torn};
use pinhold_flashmodel::history::{Trouble, run};
use pinhold_flashmodel::random::Random;
use pinhold_lever::log::flash::care::Careful;
use sequential_storage::cache::Cache;
use sequential_storage::queue::{QueueConfig, QueueStorage};

const WORD: usize = 4;
const PAGE: usize = 1024;
const PAGE_COUNT: usize = 6;
/// Histories for each kind of torn bits.
const HISTORY_COUNT: u64 = 5_000;
/// Items pushed in a history.
const PUSH_COUNT: u64 = 12;
/// Items looked at before the iterator is taken to run in circles.
const ITEM_COUNT_MAX: usize = 100;

/// The same flash behind the other traits.
struct Shared<'a>(&'a mut Flash<WORD, PAGE>);

impl ErrorType for Shared<'_> {
    type Error = Fault;
}

impl ReadNorFlash for Shared<'_> {
    const READ_SIZE: usize = WORD;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Fault> {
        self.0.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.0.capacity()
    }
}

impl NorFlash for Shared<'_> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Fault> {
        self.0.erase(from, to)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Fault> {
        self.0.write(offset, bytes)
    }
}

/// Runs a future that never waits.
fn now<T>(future: impl Future<Output = T>) -> T {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(value) => value,
        Poll::Pending => unreachable!("nothing in this flash waits"),
    }
}

fn queue(flash: &mut Flash<WORD, PAGE>) -> QueueStorage<Shared<'_>, impl UncachedQueue> {
    let range = 0..(PAGE_COUNT * PAGE) as u32;
    QueueStorage::new(Shared(flash), QueueConfig::new(range), Cache::new_uncached())
}

use sequential_storage::cache::CacheImpl as UncachedCache;
trait UncachedQueue: UncachedCache<()> {}
impl<T: UncachedCache<()>> UncachedQueue for T {}

/// Every item in the queue, or what it says instead.
fn items(flash: &mut Flash<WORD, PAGE>) -> Result<Vec<Vec<u8>>, String> {
    let mut queue = queue(flash);
    let mut found = Vec::new();
    let mut iterator = now(queue.iter()).map_err(|error| format!("{error:?}"))?;
    while found.len() < ITEM_COUNT_MAX {
        let mut buffer = [0; PAGE];
        match now(iterator.next(&mut buffer)) {
            Ok(Some(item)) => found.push(item.to_vec()),
            Ok(None) => return Ok(found),
            Err(error) => return Err(format!("{error:?}")),
        }
    }
    Err("too many items".to_owned())
}

#[derive(Debug, Default)]
struct Count {
    history: u64,
    acknowledged: u64,
    cut: u64,
    /// Histories in which an acknowledged item was not found again.
    lost: u64,
    /// Histories with an item that was never pushed, or not like that.
    changed: u64,
    /// Histories with an item found twice or out of order.
    disordered: u64,
    /// Histories in which reading the queue, or pushing with good power, failed.
    failed: u64,
    /// Histories in which a word was written twice.
    twice: u64,
}

/// What one history shows first; `None` when all is well.
fn history(seed: u64, torn: Torn, count: &mut Count) -> Option<&'static str> {
    let mut random = Random::new(seed);
    let mut flash: Flash<WORD, PAGE> = Flash::new(PAGE_COUNT, torn, random.bits());
    let mut pushed: Vec<Vec<u8>> = Vec::new();
    let mut kept: Vec<usize> = Vec::new();
    for _ in 0..PUSH_COUNT {
        if random.one_in(3) {
            let subset = SUBSETS[random.below(SUBSETS.len() as u64) as usize];
            flash.cut_after(random.below(70), subset);
        }
        let mut item = (pushed.len() as u32).to_le_bytes().to_vec();
        item.resize_with(100 + random.below(160) as usize, || random.bits() as u8);
        pushed.push(item.clone());
        let result = now(queue(&mut flash).push(&item, false));
        let powered = flash.is_powered();
        if result.is_ok() {
            kept.push(pushed.len() - 1);
            count.acknowledged += 1;
        } else if powered {
            return Some("failed");
        }
        count.cut += u64::from(!powered);
        flash.power_up();
        let Ok(found) = items(&mut flash) else { return Some("failed") };
        let Some(order) = found
            .iter()
            .map(|item| pushed.iter().position(|known| known == item))
            .collect::<Option<Vec<usize>>>()
        else {
            return Some("changed");
        };
        if !order.is_sorted_by(|a, b| a < b) {
            return Some("disordered");
        }
        if !kept.iter().all(|index| order.contains(index)) {
            return Some("lost");
        }
    }
    (!flash.offences().is_empty()).then_some("twice")
}

#[test]
fn the_rival_is_counted_and_not_judged() {
    let mut all = Count::default();
    for torn in TORN_KINDS {
        let mut count = Count::default();
        for seed in 0..HISTORY_COUNT {
            count.history += 1;
            match history(seed, torn, &mut count) {
                Some("lost") => count.lost += 1,
                Some("changed") => count.changed += 1,
                Some("disordered") => count.disordered += 1,
                Some("failed") => count.failed += 1,
                Some(_) => count.twice += 1,
                None => {}
            }
        }
        println!("rival, {torn:?}: {count:?}");
        all.acknowledged += count.acknowledged;
        all.cut += count.cut;
    }
    // The comparison means something only if it kept and was cut.
    assert!(all.acknowledged > HISTORY_COUNT && all.cut > HISTORY_COUNT);
    for seed in 0..HISTORY_COUNT {
        run::<WORD, PAGE, Careful>(seed, Trouble::Power).expect("our own in the same flash");
    }
    println!("ours: {HISTORY_COUNT} histories, nothing found");
}
