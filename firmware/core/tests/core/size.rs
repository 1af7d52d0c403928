//! RAM the lever takes, which must leave room for a stack in 16 KiB.

use pinhold_lever::Lever;
use pinhold_lever::log::FlashLog;

use crate::chip::Chip;

#[test]
fn the_lever_leaves_room_for_a_stack() {
    // Pointers are twice as long here as on the lever, so that there it is a little less.
    let with_flash = size_of::<Lever<FlashLog<Chip>>>();
    let with_ram = size_of::<Lever>();
    let log = size_of::<FlashLog<Chip>>();
    println!("a lever takes {with_flash} bytes with its log in flash ({log}), {with_ram} without");
    assert!(with_flash <= 11 * 1024, "{with_flash}");
}
