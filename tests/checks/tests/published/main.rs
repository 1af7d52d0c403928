//! Published cases run against our code: one test per case, and one that no case is forgotten.

/// Makes a test of each case, and the table of what was run.
macro_rules! cases {
    ($topic:literal: $($id:literal $name:ident, $what:literal, $check:expr;)+) => {
        $(
            #[test]
            fn $name() {
                let check: fn(&pinhold_checks::Case) = $check;
                check(&pinhold_checks::case($topic, $id));
            }
        )+

        /// Case and what it was run against.
        pub(crate) const RUN: &[(&str, &str)] = &[$(($id, $what)),+];
    };
}

mod protocol;
mod signal;
mod spatial;
mod strings;
mod torsion;
mod units;

/// Cases that are not run, and why.
const NOT_USED: &[(&str, &str)] = &[
    ("MEC-P01", "press fit: nothing here computes contact pressure"),
    ("MEC-P02", "press fit: nothing here computes contact pressure"),
    ("MEC-P03", "press fit: nothing here computes contact pressure"),
    ("MEC-P04", "press fit: nothing here computes contact pressure"),
    ("MEC-P05", "press fit: nothing here computes contact pressure"),
    ("MEC-P10", "strain of a gauge: the torque cell is calibrated as a whole"),
    ("MEC-P12", "press fit: the gain per pin size is an empirical prior, not Lamé's formula"),
    ("MEC-P13", "press fit: nothing here computes contact pressure"),
    ("MEC-P14", "tube in torsion: pins are solid"),
    ("PRO-P09", "CRC-16: the link uses CRC-32 only"),
    ("SIG-P01", "Butterworth filter: the lever averages and fits, it does not filter so"),
    ("SIG-P02", "Butterworth filter: the lever averages and fits, it does not filter so"),
    ("SIG-P03", "Butterworth filter: the lever averages and fits, it does not filter so"),
    ("SIG-P06", "effective bits: not a quantity of ours"),
    ("SIG-P09", "Savitzky-Golay weights: not used"),
    ("SIG-P11", "moving average: not used"),
    ("SIG-P12", "Savitzky-Golay weights: not used"),
];

/// Cases run elsewhere, where the code they judge is at hand.
const ELSEWHERE: &[(&str, &str)] = &[
    ("SIG-P07", "`pinhold_lever::sample`, in the core's own tests"),
    (
        "SIG-P10",
        "`pinhold_lever::stroke` and `reading`, in `tests/sim/tests/published_strokes.rs`, with \
         two gaps it states",
    ),
];

/// The README's table of cases.
fn table() -> String {
    let run =
        [units::RUN, strings::RUN, torsion::RUN, protocol::RUN, signal::RUN, spatial::RUN].concat();
    let mut lines: Vec<String> =
        run.iter().map(|(id, what)| format!("| {id} | run | {what} |\n")).collect();
    lines.extend(ELSEWHERE.iter().map(|(id, place)| format!("| {id} | run | {place} |\n")));
    lines.extend(NOT_USED.iter().map(|(id, why)| format!("| {id} | not used | {why} |\n")));
    lines.sort();
    lines.concat()
}

#[test]
fn every_case_is_run_or_excused_and_the_readme_says_which() {
    let mut present: Vec<String> = Vec::new();
    for topic in pinhold_checks::topics() {
        present.extend(pinhold_checks::cases(&topic).iter().map(|case| case.id().to_owned()));
    }
    present.sort();
    let table = table();
    let mut listed: Vec<&str> = table.lines().filter_map(|line| line.split(' ').nth(1)).collect();
    listed.sort_unstable();
    assert_eq!(listed, present);
    let readme = pinhold_checks::read_data("../README.md");
    assert!(readme.contains(&table), "tests/checks/README.md should hold this table:\n{table}");
}
