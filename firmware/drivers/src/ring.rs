//! A bounded byte queue between one producer and one consumer, interrupt and main loop.
//!
//! Invariant: safe code only; the atomics order the byte before the index that publishes it.

use core::sync::atomic::{AtomicU8, AtomicUsize, Ordering};

/// Holds up to `SIZE` bytes; `SIZE` is a power of two.
pub struct Ring<const SIZE: usize> {
    bytes: [AtomicU8; SIZE],
    /// Bytes ever pushed, wrapping.
    pushed: AtomicUsize,
    /// Bytes ever popped, wrapping.
    popped: AtomicUsize,
}

impl<const SIZE: usize> Default for Ring<SIZE> {
    fn default() -> Self {
        Ring::new()
    }
}

impl<const SIZE: usize> Ring<SIZE> {
    /// An empty queue.
    pub const fn new() -> Self {
        // Counters that wrap keep their places only in a size that divides 2^32.
        const { assert!(SIZE.is_power_of_two()) };
        Ring {
            bytes: [const { AtomicU8::new(0) }; SIZE],
            pushed: AtomicUsize::new(0),
            popped: AtomicUsize::new(0),
        }
    }

    /// Bytes waiting.
    pub fn len(&self) -> usize {
        self.pushed.load(Ordering::Acquire).wrapping_sub(self.popped.load(Ordering::Acquire))
    }

    /// Nothing is waiting.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Bytes that can be pushed before the queue is full.
    pub fn free(&self) -> usize {
        SIZE.saturating_sub(self.len())
    }

    /// Appends a byte; `false` when the queue is full and the byte was not taken. Producer only.
    pub fn push(&self, byte: u8) -> bool {
        let pushed = self.pushed.load(Ordering::Relaxed);
        if self.free() == 0 {
            return false;
        }
        match self.bytes.get(pushed & (SIZE - 1)) {
            Some(slot) => slot.store(byte, Ordering::Relaxed),
            None => return false,
        }
        self.pushed.store(pushed.wrapping_add(1), Ordering::Release);
        true
    }

    /// Takes the oldest byte. Consumer only.
    pub fn pop(&self) -> Option<u8> {
        if self.is_empty() {
            return None;
        }
        let popped = self.popped.load(Ordering::Relaxed);
        let byte = self.bytes.get(popped & (SIZE - 1))?.load(Ordering::Relaxed);
        self.popped.store(popped.wrapping_add(1), Ordering::Release);
        Some(byte)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_the_byte_beyond_its_size_and_loses_none() {
        let ring = Ring::<4>::new();
        for byte in 1..=4 {
            assert!(ring.push(byte));
        }
        assert!(!ring.push(5));
        assert_eq!(ring.free(), 0);
        assert_eq!(ring.pop(), Some(1));
        assert!(ring.push(6));
        let rest: [Option<u8>; 5] = core::array::from_fn(|_| ring.pop());
        assert_eq!(rest, [Some(2), Some(3), Some(4), Some(6), None]);
    }

    #[test]
    fn a_producer_and_a_consumer_at_once() {
        const BYTE_COUNT: u32 = 200_000;
        static RING: Ring<16> = Ring::new();
        let producer = std::thread::spawn(|| {
            for number in 0..BYTE_COUNT {
                while !RING.push(number as u8) {
                    std::thread::yield_now();
                }
            }
        });
        for number in 0..BYTE_COUNT {
            let byte = loop {
                match RING.pop() {
                    Some(byte) => break byte,
                    None => std::thread::yield_now(),
                }
            };
            assert_eq!(byte, number as u8);
        }
        producer.join().unwrap();
    }
}
