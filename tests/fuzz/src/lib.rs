//! Every decoder and everything else that takes untrusted bytes, each as a function of bytes.
//!
//! A target takes any bytes at all and must come back: no panic, no endless loop, no memory
//! without bound, and what it asserts about the result. The tests run each with a fixed number of
//! mutated inputs (`tests/short.rs`); the binary `guided` runs one with libFuzzer for as long as
//! it is told. Deliberately not here: bytes that come from our own disk only.

pub mod feed;
pub mod files;
pub mod flash;
pub mod lever;
pub mod mutate;
pub mod session;
pub mod settings;
pub mod wire;

/// A function of bytes with a name.
pub struct Target {
    /// Its name on the command line.
    pub name: &'static str,
    /// Inputs to begin with, as the thing itself would write them.
    pub seeds: fn() -> Vec<Vec<u8>>,
    /// Takes the bytes.
    pub run: fn(&[u8]),
}

/// All of them.
pub const TARGETS: [Target; 11] = [
    Target { name: "frames", seeds: wire::frame_seeds, run: wire::frames },
    Target { name: "messages", seeds: wire::message_seeds, run: wire::messages },
    Target { name: "records", seeds: wire::record_seeds, run: wire::records },
    Target { name: "blocks", seeds: wire::block_seeds, run: wire::blocks },
    Target { name: "settings", seeds: settings::seeds, run: settings::run },
    Target { name: "flash", seeds: flash::seeds, run: flash::run },
    Target { name: "lever", seeds: lever::seeds, run: lever::run },
    Target { name: "session", seeds: session::seeds, run: session::run },
    Target { name: "bench", seeds: session::seeds, run: session::run_bench },
    Target { name: "feed", seeds: feed::seeds, run: feed::run },
    Target { name: "files", seeds: files::seeds, run: files::run },
];

/// The target of that name.
pub fn target(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|target| target.name == name)
}

/// Bytes taken apart from the front; empty bytes give zeros.
pub(crate) struct Source<'a>(pub(crate) &'a [u8]);

impl<'a> Source<'a> {
    pub(crate) fn byte(&mut self) -> u8 {
        let (first, rest) = self.0.split_first().unwrap_or((&0, &[]));
        self.0 = rest;
        *first
    }

    pub(crate) fn word(&mut self) -> u32 {
        u32::from_le_bytes([self.byte(), self.byte(), self.byte(), self.byte()])
    }

    /// Up to `count` bytes.
    pub(crate) fn bytes(&mut self, count: usize) -> &'a [u8] {
        let (taken, rest) = self.0.split_at(count.min(self.0.len()));
        self.0 = rest;
        taken
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
