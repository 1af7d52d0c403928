//! x
#![cfg_attr(target_os = "none", no_std, no_main)]
#[cfg(target_os = "none")]
#[panic_handler]
fn panic(_info: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
#[cfg(not(target_os = "none"))]
fn main() {}
