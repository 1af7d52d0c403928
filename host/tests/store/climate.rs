//! Climate readings and repairs: kept as they are, withdrawn and not changed.

use pinhold::store::{NewClimate, Store, StoreError};
use tempfile::TempDir;

use crate::sample::{climate, instrument, repair};

#[test]
fn climate_readings_come_back_in_order_and_of_one_moment_one_counts() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let other = store.create_instrument(&instrument("y")).unwrap();
    assert_eq!(store.keep_climate(id, "now", &[climate(9), climate(4)]).unwrap(), 2);
    assert_eq!(store.keep_climate(id, "now", &[climate(9), climate(5)]).unwrap(), 1);
    let stored = store.climate_of(id).unwrap();
    let all: Vec<&NewClimate> = stored.iter().map(|stored| &stored.new).collect();
    assert_eq!(all, [&climate(4), &climate(5), &climate(9)]);
    let number = stored[2].number;
    store.withdraw_climate(id, number, "now", "typing error").unwrap();
    assert_eq!(store.climate_of(id).unwrap().len(), 2);
    for of in [id, other] {
        let refused = store.withdraw_climate(of, number, "now", "").unwrap_err();
        assert!(matches!(refused, StoreError::NoSuchEntry { .. }), "{refused:?}");
    }
    // What was withdrawn can be entered anew.
    assert_eq!(store.keep_climate(id, "now", &[climate(9)]).unwrap(), 1);
}

#[test]
fn climate_readings_are_stored_all_or_none() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let wild = NewClimate { humidity_permille: 1001, ..climate(2) };
    assert!(store.keep_climate(id, "now", &[climate(1), wild]).is_err());
    assert!(store.climate_of(id).unwrap().is_empty());
}

#[test]
fn repairs_come_back_with_their_pins_and_are_withdrawn() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let pins: Vec<_> = instrument("x").instrument.pins.iter().map(|field| field.pin).collect();
    let first = store.keep_repair(id, "now", &repair(pins[..1].to_vec())).unwrap();
    store.keep_repair(id, "now", &repair(Vec::new())).unwrap();
    let stored = store.repairs_of(id).unwrap();
    assert_eq!(stored[0].new, repair(pins[..1].to_vec()));
    assert!(stored[1].new.is_of(pins[0]));
    let twice = repair(vec![pins[0], pins[0]]);
    assert!(store.keep_repair(id, "now", &twice).is_err(), "a pin named twice");
    assert_eq!(store.repairs_of(id).unwrap().len(), 2, "nothing half stored");
    store.withdraw_repair(id, first, "now", "").unwrap();
    assert_eq!(store.repairs_of(id).unwrap().len(), 1);
    let refused = store.withdraw_repair(id, first, "now", "").unwrap_err();
    assert!(matches!(refused, StoreError::NoSuchEntry { .. }));
}
