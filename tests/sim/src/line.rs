//! A bad line between host and lever, in virtual time, everything from one seed.
//!
//! Each direction loses, inserts, repeats and damages bytes, is struck by bursts, takes its time
//! and carries only so many bytes a second. The cable as a whole can be pulled and plugged in.
//! Bytes never overtake each other: no serial line does that. Deliberately not here: what the
//! bytes mean.

use std::collections::VecDeque;

use pinhold_sim::rng::Random;

/// How bad the line is. Rates are chances per byte sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Faults {
    /// A byte is lost.
    pub loss: f64,
    /// A random byte is put before it.
    pub insertion: f64,
    /// It arrives twice.
    pub duplication: f64,
    /// One of its bits is turned over.
    pub bit_error: f64,
    /// A burst begins, in which every byte is random.
    pub burst: f64,
    /// Longest burst, bytes.
    pub burst_byte_count_max: usize,
    /// Time on the way, microseconds.
    pub delay_us: u64,
    /// Bytes carried in a second, each direction.
    pub bytes_per_second: u64,
}

impl Faults {
    /// A sound line of that speed.
    pub const fn none(bytes_per_second: u64) -> Faults {
        Faults {
            loss: 0.0,
            insertion: 0.0,
            duplication: 0.0,
            bit_error: 0.0,
            burst: 0.0,
            burst_byte_count_max: 0,
            delay_us: 200,
            bytes_per_second,
        }
    }

    /// The same line with nothing wrong any more.
    #[must_use]
    pub fn quiet(self) -> Faults {
        Faults { delay_us: self.delay_us, ..Faults::none(self.bytes_per_second) }
    }

    /// A bad line drawn at random: each rate up to `rate_max`, bursts at a tenth of that.
    pub fn drawn(random: &mut Random, rate_max: f64) -> Faults {
        let speeds = [11_520, 23_040, 92_160];
        Faults {
            loss: random.uniform(0.0, rate_max),
            insertion: random.uniform(0.0, rate_max),
            duplication: random.uniform(0.0, rate_max),
            bit_error: random.uniform(0.0, rate_max),
            burst: random.uniform(0.0, rate_max / 10.0),
            burst_byte_count_max: 120,
            delay_us: random.whole(100, 60_000) as u64,
            bytes_per_second: speeds[random.whole(0, speeds.len() - 1)],
        }
    }
}

/// One direction.
#[derive(Debug)]
struct Wire {
    random: Random,
    on_the_way: VecDeque<(u64, u8)>,
    free_us: u64,
    burst_left: usize,
}

impl Wire {
    fn new(random: Random) -> Wire {
        Wire { random, on_the_way: VecDeque::new(), free_us: 0, burst_left: 0 }
    }

    fn send(&mut self, now_us: u64, faults: &Faults, byte: u8) {
        let period_us = 1_000_000 / faults.bytes_per_second.max(1);
        self.free_us = self.free_us.max(now_us) + period_us;
        let due_us = self.free_us + faults.delay_us;
        if self.random.chance(faults.burst) {
            self.burst_left = self.random.whole(1, faults.burst_byte_count_max.max(1));
        }
        if self.burst_left > 0 {
            self.burst_left -= 1;
            let noise = self.random.bits() as u8;
            self.on_the_way.push_back((due_us, noise));
            return;
        }
        if self.random.chance(faults.insertion) {
            let noise = self.random.bits() as u8;
            self.on_the_way.push_back((due_us, noise));
        }
        if self.random.chance(faults.loss) {
            return;
        }
        let flipped = if self.random.chance(faults.bit_error) {
            byte ^ (1 << self.random.whole(0, 7))
        } else {
            byte
        };
        self.on_the_way.push_back((due_us, flipped));
        if self.random.chance(faults.duplication) {
            self.on_the_way.push_back((due_us, flipped));
        }
    }

    fn arrived(&mut self, now_us: u64, into: &mut Vec<u8>) {
        while let Some((due_us, byte)) = self.on_the_way.front().copied()
            && due_us <= now_us
        {
            into.push(byte);
            self.on_the_way.pop_front();
        }
    }

    /// Bytes the line could take now without making the sender wait longer than a millisecond.
    fn room(&self, now_us: u64, faults: &Faults) -> usize {
        let ahead_us = (now_us + 1000).saturating_sub(self.free_us.max(now_us));
        (ahead_us * faults.bytes_per_second / 1_000_000) as usize
    }
}

/// Both directions.
#[derive(Debug)]
pub struct Line {
    faults: Faults,
    to_lever: Wire,
    to_host: Wire,
    pulled: bool,
}

impl Line {
    /// A line with these faults.
    pub fn new(faults: Faults, seed: u64) -> Line {
        let root = Random::new(seed);
        Line {
            faults,
            to_lever: Wire::new(root.fork("to lever")),
            to_host: Wire::new(root.fork("to host")),
            pulled: false,
        }
    }

    /// Everything that was wrong with it is over.
    pub fn make_quiet(&mut self) {
        self.faults = self.faults.quiet();
        self.to_lever.burst_left = 0;
        self.to_host.burst_left = 0;
        self.pulled = false;
    }

    /// Pulls the cable: what is on the way is lost, and so is all that is sent until it is
    /// plugged in again.
    pub fn pull(&mut self) {
        self.pulled = true;
        self.to_lever.on_the_way.clear();
        self.to_host.on_the_way.clear();
    }

    /// Plugs it in.
    pub fn plug(&mut self) {
        self.pulled = false;
    }

    /// Whether the cable is out.
    pub fn is_pulled(&self) -> bool {
        self.pulled
    }

    /// The host sends; its system holds what the line cannot take yet.
    pub fn send_to_lever(&mut self, now_us: u64, bytes: &[u8]) {
        if !self.pulled {
            for byte in bytes {
                self.to_lever.send(now_us, &self.faults, *byte);
            }
        }
    }

    /// The lever sends as much as the line takes now; returns how many bytes that was.
    pub fn send_to_host(&mut self, now_us: u64, bytes: &[u8]) -> usize {
        let count = self.to_host.room(now_us, &self.faults).min(bytes.len());
        if self.pulled {
            self.to_host.free_us = self.to_host.free_us.max(now_us) + 1000;
        } else {
            for byte in bytes.iter().take(count) {
                self.to_host.send(now_us, &self.faults, *byte);
            }
        }
        count
    }

    /// What has arrived at the lever.
    pub fn arrived_at_lever(&mut self, now_us: u64, into: &mut Vec<u8>) {
        self.to_lever.arrived(now_us, into);
    }

    /// What has arrived at the host.
    pub fn arrived_at_host(&mut self, now_us: u64, into: &mut Vec<u8>) {
        self.to_host.arrived(now_us, into);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Count = fn(&[u8]) -> i64;

    fn through(faults: Faults, seed: u64, bytes: &[u8]) -> Vec<u8> {
        let mut line = Line::new(faults, seed);
        let mut out = Vec::new();
        let (mut now_us, mut left) = (0, bytes);
        while now_us < 10_000_000 {
            let taken = line.send_to_host(now_us, left);
            left = &left[taken..];
            line.arrived_at_host(now_us, &mut out);
            now_us += 1000;
        }
        assert!(left.is_empty());
        out
    }

    #[test]
    fn a_sound_line_carries_every_byte_at_its_speed() {
        let bytes: Vec<u8> = (0..20_000u32).map(|i| i as u8).collect();
        assert_eq!(through(Faults::none(11_520), 1, &bytes), bytes);
        let mut line = Line::new(Faults::none(10_000), 1);
        let mut sent = 0;
        for now_ms in 0..1000 {
            sent += line.send_to_host(now_ms * 1000, &bytes);
        }
        assert!((9_900..=10_010).contains(&sent), "{sent}");
    }

    #[test]
    fn each_fault_comes_at_its_rate_and_from_the_seed_alone() {
        let bytes = vec![0x55u8; 100_000];
        let fast = Faults::none(92_160);
        let kinds: [(&str, Faults, Count); 4] = [
            ("loss", Faults { loss: 0.01, ..fast }, |out| 100_000 - out.len() as i64),
            ("insertion", Faults { insertion: 0.01, ..fast }, |out| out.len() as i64 - 100_000),
            ("duplication", Faults { duplication: 0.01, ..fast }, |out| out.len() as i64 - 100_000),
            ("bit error", Faults { bit_error: 0.01, ..fast }, |out| {
                out.iter().filter(|byte| **byte != 0x55).count() as i64
            }),
        ];
        for (name, faults, count) in kinds {
            let out = through(faults, 7, &bytes);
            let seen = count(&out);
            // 1000 expected, standard deviation 31.
            assert!((850..=1150).contains(&seen), "{name}: {seen}");
            assert_eq!(out, through(faults, 7, &bytes), "{name}: not from the seed alone");
            assert_ne!(out, through(faults, 8, &bytes), "{name}: the seed changes nothing");
        }
    }

    #[test]
    fn a_pulled_cable_loses_what_is_sent_and_what_is_on_the_way() {
        let mut line = Line::new(Faults { delay_us: 5_000, ..Faults::none(92_160) }, 1);
        line.send_to_lever(0, b"lost");
        line.pull();
        line.send_to_lever(1_000, b"lost too");
        line.plug();
        line.send_to_lever(2_000, b"there");
        let mut out = Vec::new();
        line.arrived_at_lever(1_000_000, &mut out);
        assert_eq!(out, b"there");
    }
}
