//! Linker arguments, for bare metal only: the layout is in `lever.x`.

use std::env;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=lever.x");
    if env::var("CARGO_CFG_TARGET_OS").as_deref() == Ok("none") {
        let folder = env::var("CARGO_MANIFEST_DIR").unwrap_or_default();
        println!("cargo::rustc-link-search={folder}");
        for script in ["link.x", "lever.x"] {
            println!("cargo::rustc-link-arg-bins=-T{script}");
        }
        if env::var_os("CARGO_FEATURE_LOG").is_some() {
            println!("cargo::rustc-link-arg-bins=-Tdefmt.x");
        }
        println!("cargo::rustc-link-arg-bins=--nmagic");
    }
}
