//! Links only when no panic is reachable from any entry of core and protocol.
//!
//! The panic handler calls a function that does not exist. Whatever can panic keeps the handler,
//! and the handler then keeps the linker from finishing. It is never run.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
unsafe extern "C" {
    /// Exists nowhere; its name is what the linker says.
    fn a_panic_is_reachable() -> !;
}

#[cfg(target_os = "none")]
#[panic_handler]
fn panic(_info: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: never called: with this call in it nothing links.
    unsafe { a_panic_is_reachable() }
}

/// Where the linker starts looking for what is used.
#[cfg(target_os = "none")]
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    pinhold_proof::entries::everything();
    #[cfg(feature = "one-panic")]
    if core::hint::black_box([1, 2, 3])[core::hint::black_box(2)] == 3 {
        core::hint::black_box(0);
    }
    loop {
        core::hint::spin_loop();
    }
}

/// On a machine with an operating system there is nothing to prove.
#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("build it with --target thumbv7em-none-eabihf --profile firmware");
    std::process::exit(2);
}
