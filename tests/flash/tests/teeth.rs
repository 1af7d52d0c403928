//! The harness has teeth: each rule of the log, left out, is found out within some histories.

use pinhold_flashmodel::history::{Trouble, run};
use pinhold_lever::log::flash::care::Care;

/// Histories tried for each rule.
const HISTORY_COUNT: u64 = 4_000;

/// First seed of which the history has a finding, and the finding.
fn first_finding<C: Care + Clone>(trouble: Trouble) -> Option<(u64, String)> {
    (0..HISTORY_COUNT).find_map(|seed| {
        let result = match seed % 3 {
            0 => run::<1, 1024, C>(seed, trouble),
            1 => run::<4, 1024, C>(seed, trouble),
            _ => run::<32, 1024, C>(seed, trouble),
        };
        result.err().map(|finding| (seed, finding))
    })
}

macro_rules! careless {
    ($($test:ident: $rule:ident, $trouble:ident;)*) => {$(
        #[test]
        fn $test() {
            #[derive(Clone, Debug)]
            struct Careless;
            impl Care for Careless {
                const $rule: bool = false;
            }
            let (seed, finding) = first_finding::<Careless>(Trouble::$trouble)
                .expect(concat!(stringify!($rule), " is left out and nobody notices"));
            println!("{:<20} found in history {:>4}: {finding}", stringify!($rule), seed + 1);
        }
    )*};
}

careless! {
    acknowledging_before_reading_back: READS_BACK, Flaws;
    using_a_torn_number_again: BURNS_NUMBERS, Power;
    not_checking_a_record: CHECKS_RECORDS, Power;
    appending_behind_torn_words: SEALS_AT_POWER_UP, Power;
    going_on_behind_a_failed_write: SEALS_AFTER_FAILURE, Flaws;
    trusting_what_looks_erased: ERASES_BEFORE_USE, Power;
    erasing_above_the_floor: ERASES_BELOW_FLOOR, Power;
    a_floor_in_ram_only: COMMITS_TO_FLASH, Power;
    believing_any_commit: CHECKS_CHAIN, Power;
    writing_after_the_warning: HEEDS_WARNING, Power;
    a_silent_gap: TELLS_LOSS, Power;
    erasing_the_only_state: ALTERNATES_STATE, Power;
    leaving_weak_bits: REWRITES_LAST, Power;
    an_epoch_used_again: RAISES_EPOCH, Power;
}
