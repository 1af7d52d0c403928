//! Linker arguments, for bare metal only.
//!
//! The part's memory (1 MB flash from 0, 256 KB RAM from 0x2000_0000) is laid out by the HAL's own
//! `memory.x`, which it puts on the linker's path.

use std::env;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    if env::var("CARGO_CFG_TARGET_OS").as_deref() == Ok("none") {
        println!("cargo::rustc-link-arg-bins=-Tlink.x");
        println!("cargo::rustc-link-arg-bins=--nmagic");
    }
}
