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

mod calibration;
mod decision;
mod neighbours;
mod press_fit;
mod protocol;
mod robust;
mod signal;
mod spatial;
mod strings;
mod torsion;
mod uncertainty;
mod units;
mod wood;

/// Cases that are not run, and why.
const NOT_USED: &[(&str, &str)] = &[
    ("AIR-P01", "vapour pressure: humidity is recorded, never carried to another temperature"),
    ("AIR-P02", "humidity after heating: it is recorded, never carried to another temperature"),
    ("CAL-P15", "nonlinear least squares: every curve here is linear in its coefficients"),
    ("CAL-P17", "lower limit factor of ASTM E74: our records state expanded uncertainty instead"),
    ("DEC-P03", "isotonic regression: stated chances are not fitted to outcomes"),
    ("DEC-P04", "logistic regression: stated chances are not fitted to outcomes"),
    ("DEC-P05", "survival: no lives of pins are known yet"),
    ("MEC-P02", "stress within a wall: only the pressure between pin and block is ours"),
    ("MEC-P10", "strain of a gauge: the torque cell is calibrated as a whole"),
    ("MEC-P14", "tube in torsion: pins are solid"),
    ("PRO-P09", "CRC-16: the link uses CRC-32 only"),
    ("ROB-P02", "Sn and Qn: spread is taken by the median distance from the median"),
    (
        "ROB-P03",
        "robust regression: bad holes are down-weighted by their chance, after a mixture law",
    ),
    ("ROB-P11", "Grubbs' test: outliers are pins, and judged against their neighbours"),
    ("ROB-P12", "local level: a trend over years is a robust line, with steps at repairs"),
    ("ROB-P13", "Hampel's filter: strokes are cut by their own states, not filtered"),
    ("SIG-P01", "Butterworth filter: the lever averages and fits, it does not filter so"),
    ("SIG-P02", "Butterworth filter: the lever averages and fits, it does not filter so"),
    ("SIG-P03", "Butterworth filter: the lever averages and fits, it does not filter so"),
    ("SIG-P06", "effective bits: not a quantity of ours"),
    ("SIG-P09", "Savitzky-Golay weights: not used"),
    ("SIG-P11", "moving average: not used"),
    ("SIG-P12", "Savitzky-Golay weights: not used"),
    ("SPA-P08", "clusters by density: zones come from a scan with a stated rate of false alarms"),
    ("SPA-P09", "scan of counts: torques are measured, not counted"),
    ("SPA-P11", "inverse distances: the map is a posterior with its uncertainty"),
    ("UNC-P07", "guard bands from a test ratio: ours come from the stated risk itself"),
    ("UNC-P11", "deviation of a torque tool's indication: loads and codes are regressed instead"),
    ("UNC-P12", "mean of calibrations: the one in force counts, they are never averaged"),
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
    let run = [
        calibration::RUN,
        units::RUN,
        strings::RUN,
        torsion::RUN,
        press_fit::RUN,
        protocol::RUN,
        signal::RUN,
        spatial::RUN,
        neighbours::RUN,
        robust::RUN,
        uncertainty::RUN,
        decision::RUN,
        wood::RUN,
    ]
    .concat();
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
