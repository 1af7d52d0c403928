//! Puts the memory layout where the linker finds it; for the bench on bare metal only.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rerun-if-changed=build.rs");
    if env::var("CARGO_CFG_TARGET_OS").as_deref() != Ok("none") {
        return;
    }
    let out_dir = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out_dir.join("memory.x"), include_bytes!("memory.x")).expect("write memory.x");
    println!("cargo::rustc-link-search={}", out_dir.display());
    println!("cargo::rustc-link-arg-bin=bench=-Tlink.x");
    println!("cargo::rustc-link-arg-bin=bench=--nmagic");
}
