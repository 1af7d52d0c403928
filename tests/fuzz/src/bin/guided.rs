//! One target under libFuzzer: `PINHOLD_FUZZ_TARGET=name guided [libFuzzer's arguments]`.
#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use pinhold_fuzz::{TARGETS, Target, target};

fn chosen() -> &'static Target {
    static CHOSEN: OnceLock<&'static Target> = OnceLock::new();
    CHOSEN.get_or_init(|| {
        let name = std::env::var("PINHOLD_FUZZ_TARGET").unwrap_or_default();
        target(&name).unwrap_or_else(|| {
            let names: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
            eprintln!("set PINHOLD_FUZZ_TARGET to one of: {}", names.join(" "));
            std::process::exit(2)
        })
    })
}

fuzz_target!(|bytes: &[u8]| (chosen().run)(bytes));
