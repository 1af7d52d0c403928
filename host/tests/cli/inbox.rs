//! `pinhold assign`: readings out of the inbox.

use pinhold_protocol::record::StringPosition;

use crate::run::{Bench, assert_refused};
use crate::shelf::{Shelf, pin, pins, reading};

/// Three readings of no plan and two of a plan another computer stored.
fn fetched() -> Bench {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    for friction_nm in [10, 11, 12] {
        shelf.read_unassigned(friction_nm);
    }
    for place in [0, 1] {
        shelf.read(&reading(99, pins()[place], 20));
    }
    bench
}

#[test]
fn the_inbox_is_listed_with_the_command_that_empties_it() {
    let bench = fetched();
    let listed = bench.run(&["assign"]);
    assert_eq!(
        listed.out,
        "lever 000000000000abcd, epoch 2, no plan:\n       \
         0  2025-12-31T23:59:00Z  friction 10.0 N·m, string moment 3.0 N·m\n       \
         1  2025-12-31T23:59:00Z  friction 11.0 N·m, string moment 3.0 N·m\n       \
         2  2025-12-31T23:59:00Z  friction 12.0 N·m, string moment 3.0 N·m\n\
         lever 000000000000abcd, epoch 2, plan 99, of another computer:\n       \
         3  2025-12-31T23:59:00Z  40L C4 L: friction 20.0 N·m, string moment 3.0 N·m\n       \
         4  2025-12-31T23:59:00Z  40C C4 C: friction 20.0 N·m, string moment 3.0 N·m\n\
         5 readings in the inbox ('pinhold assign' lists them); give them to an instrument, such \
         as\n  pinhold assign NAME --numbers 0-2 --pins 40L,40C,...\n"
    );
    assert_eq!(bench.document(&["assign"])["readings"].as_array().unwrap().len(), 5);
    assert_eq!(Bench::new().run(&["assign"]).out, "The inbox is empty.\n");
}

#[test]
fn readings_of_no_plan_get_the_pins_they_were_taken_on() {
    let bench = fetched();
    let short = bench.run(&["assign", "x", "--pins", "40L,40C"]);
    assert_refused(
        &short,
        2,
        "3 readings (record 0 to 2) but 2 pins are named; name a pin for each, in the order they \
         were read, or choose some with --numbers",
    );
    let none = bench.run(&["assign", "x", "--numbers", "0-2"]);
    assert_refused(&none, 2, "say which pins they were taken on, in order, with --pins");
    let done = bench.run(&["assign", "x", "--numbers", "0,2", "--pins", "40L,40C"]);
    assert_eq!(
        done.out,
        "  record 0 -> C4 L\n  record 2 -> C4 C\n2 readings assigned to x; take it back with: \
         pinhold correct x --undo\n"
    );
    let late = bench.document(&["assign", "x", "--pins", "40R", "--to-latest"]);
    assert_eq!(late["readings"][0]["number"], 1);
    let readings = bench.document(&["readings", "x"]);
    assert_eq!(readings["readings"].as_array().unwrap().len(), 3);
    assert!(readings["readings"][0]["taken_as"].is_null());
    assert_eq!(readings["corrected_count"], 3);
    // Begun when its first reading was taken, by the lever's clock.
    assert_eq!(readings["started"], "2025-12-31T23:59:00Z");
    bench.run(&["correct", "x", "--undo"]);
    assert_eq!(bench.document(&["assign"])["readings"].as_array().unwrap().len(), 3);
}

#[test]
fn readings_of_a_foreign_plan_bring_their_pins() {
    let bench = fetched();
    let done = bench.document(&["assign", "x", "--plan", "99"]);
    assert_eq!((&done["survey"], &done["instrument"]), (&"99".into(), &"x".into()));
    assert_eq!(done["readings"][1]["pin"]["string"], "C");
    let gone = bench.run(&["assign", "x", "--plan", "99"]);
    assert_refused(&gone, 1, "nothing of that kind is in the inbox; 'pinhold assign' lists it");
    // What comes of that plan later goes where it belongs by itself.
    let mut shelf = Shelf::reopened(&bench, 5);
    shelf.read(&reading(99, pins()[2], 20));
    let readings = bench.document(&["readings", "x"]);
    assert_eq!(readings["readings"].as_array().unwrap().len(), 3);
    assert_eq!(bench.document(&["assign"])["readings"].as_array().unwrap().len(), 3);
}

#[test]
fn a_pin_the_instrument_lacks_is_refused_whole() {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.read(&reading(99, pins()[0], 20));
    shelf.read(&reading(99, pin(40, StringPosition::Fourth), 20));
    let outcome = bench.run(&["assign", "x"]);
    assert_refused(
        &outcome,
        3,
        "record 1 is of pin C4 D, which x does not have; nothing was assigned",
    );
    assert_eq!(bench.document(&["assign"])["readings"].as_array().unwrap().len(), 2);
}
