//! Years of surveys on invented instruments: do the intervals of a trend hold the truth, and do
//! steady instruments stay without alarm?
//!
//! Every instrument has pins that differ, a fall of its own, seasons that move it, a lever whose
//! scale is off a little, readings with errors of their own, and dates that are not regular. The
//! figures are invented; the analysis knows none of them. `PINHOLD_YEARS=long` takes many more,
//! a number tunes: that many, from seed 6000. Judging seeds from 900 000; nothing was tuned on
//! them.

use pinhold::analysis::history::compare::compare;
use pinhold::analysis::history::crossing::Crossing;
use pinhold::analysis::history::moisture::MoistureEffect;
use pinhold::analysis::history::trend::{Measure, Reach, SurveyAt, Trend, trend};
use pinhold::analysis::input::{Estimate, PinReading};
use pinhold::analysis::profile::Profile;
use pinhold::analysis::random::Random;
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_simtest::form::Form;
use pinhold_simtest::planks::each;

/// First judging seed, and the first for tuning.
const JUDGING_SEED: u64 = 900_000;
const TUNING_SEED: u64 = 6_000;
/// Instruments of each kind, in short and in long.
const COUNT_SHORT: u64 = 400;
const COUNT_LONG: u64 = 20_000;
const THREAD_COUNT: usize = 2;
/// Pins followed.
const PIN_COUNT: u8 = 40;
/// Their limit, N·m.
const LIMIT_NM: f64 = 5.0;

/// What an instrument does over the years.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// Nothing but seasons, unlogged.
    Steady,
    /// Falls, seasons unlogged.
    Falls,
    /// Falls, and its climate is logged.
    FallsLogged,
}

/// Errors of one survey's readings: the whole survey, and each pin.
const SURVEY_SD: f64 = 0.01;
const PIN_SD: f64 = 0.03;

struct Years {
    /// Change per year, N·m.
    fall_nm: f64,
    /// Level at year 0, N·m.
    level_nm: f64,
    /// Change per percent point of moisture from 8 %, N·m.
    per_percent: f64,
    now: f64,
    trend: Trend,
}

fn pin(note: u8) -> Pin {
    Pin { note, string: StringPosition::Left }
}

fn read(random: &mut Random, pins: &[f64], moved_nm: f64, survey_sd: f64) -> Vec<PinReading> {
    let whole = 1.0 + survey_sd * random.normal();
    let one = |(note, own): (u8, &f64)| {
        let truth = own + moved_nm;
        let friction = truth * whole * (1.0 + PIN_SD * random.normal());
        let mut reading = PinReading::without_torques(pin(note), Estimate { value: 3.0, u: 0.2 });
        let u = truth * (PIN_SD * PIN_SD + SURVEY_SD * SURVEY_SD).sqrt();
        reading.friction_nm = Some(Estimate { value: friction, u });
        reading.sharp_nm = Some(Estimate { value: friction + 3.0, u });
        reading.flat_nm = Some(Estimate { value: friction - 3.0, u });
        reading
    };
    (1..=PIN_COUNT).zip(pins).map(one).collect()
}

fn lived(kind: Kind, seed: u64) -> Years {
    let mut random = Random::new(seed);
    let level_nm = 8.0 + 2.0 * random.uniform();
    let fall_nm = if kind == Kind::Steady { 0.0 } else { -0.1 - 0.4 * random.uniform() };
    let per_percent = 0.25 * random.normal();
    let survey_count = 5 + (random.uniform() * 6.0) as u32;
    // Pins stand symmetric about their middle, so that its median is the level.
    let spread = 1.5 * random.uniform();
    let middle = f64::from(PIN_COUNT - 1) / 2.0;
    let pins: Vec<f64> =
        (0..PIN_COUNT).map(|at| level_nm + spread * (f64::from(at) - middle) / middle).collect();
    let mut surveys = Vec::new();
    let mut years = 0.0;
    for _ in 0..survey_count {
        let season = libm::sin(2.0 * std::f64::consts::PI * years);
        let moisture = 8.0 + 1.6 * season + 0.3 * random.normal();
        let moved = fall_nm * years + per_percent * (moisture - 8.0);
        surveys.push((years, read(&mut random, &pins, moved, SURVEY_SD), moisture));
        years += 0.4 + 0.9 * random.uniform();
    }
    let is_logged = kind == Kind::FallsLogged;
    let at: Vec<SurveyAt<'_>> = surveys
        .iter()
        .map(|(years, readings, moisture)| SurveyAt {
            years: *years,
            readings,
            moisture_percent: is_logged.then_some(*moisture),
        })
        .collect();
    let now = at.last().map_or(0.0, |survey| survey.years);
    let told = trend(&at, |_| true, Measure::Median, true, LIMIT_NM, now);
    Years { fall_nm, level_nm, per_percent, now, trend: told.expect("all pins in common") }
}

/// How often something was so, of how many.
#[derive(Clone, Copy, Debug, Default)]
struct Share {
    yes: u32,
    all: u32,
}

impl Share {
    fn add(&mut self, is_so: bool) {
        self.yes += u32::from(is_so);
        self.all += 1;
    }

    fn value(self) -> f64 {
        f64::from(self.yes) / f64::from(self.all.max(1))
    }

    /// Three standard deviations of a share near this one.
    fn slack(self, near: f64) -> f64 {
        3.0 * (near * (1.0 - near) / f64::from(self.all.max(1))).sqrt()
    }
}

/// Share of intervals that hold the slope, alarms of a fall, shares of crossings that are right.
fn judged(kind: Kind, form: &Form) -> [Share; 4] {
    let (from, count) = form.seeds(TUNING_SEED, JUDGING_SEED, (COUNT_SHORT, COUNT_LONG));
    let mut shares = [Share::default(); 4];
    for years in each(from..from + count, THREAD_COUNT, |seed| lived(kind, seed)) {
        let told = &years.trend;
        if let Some((low, high)) = told.interval_nm {
            shares[0].add(low <= years.fall_nm && years.fall_nm <= high);
            shares[1].add(told.falls());
        }
        // The year it is at the limit: in the season's mean, or at the moisture carried to.
        let season_nm = match told.moisture {
            MoistureEffect::Seen(slope) => years.per_percent * (slope.reference_percent - 8.0),
            _ => 0.0,
        };
        let truth = (LIMIT_NM - years.level_nm - season_nm) / years.fall_nm;
        if truth > years.now && kind != Kind::Steady {
            match told.reach {
                Reach::Told(Crossing::Between(low, _, high)) => {
                    shares[2].add(low <= truth && truth <= high);
                }
                Reach::Told(Crossing::NotBefore(low)) => shares[2].add(low <= truth),
                Reach::Told(Crossing::NotFalling | Crossing::Reached) => shares[2].add(false),
                // All times are left open.
                Reach::Told(Crossing::Untold) => shares[2].add(true),
                Reach::NotEnoughHistory => {}
            }
        }
        shares[3].add(matches!(told.moisture, MoistureEffect::Seen(_)));
    }
    println!(
        "{kind:?}: slope held {:.3}, falls told {:.3}, year held {:.3} of {}, moisture seen {:.3}",
        shares[0].value(),
        shares[1].value(),
        shares[2].value(),
        shares[2].all,
        shares[3].value()
    );
    shares
}

#[test]
fn steady_instruments_raise_few_alarms() {
    let [held, falls, ..] = judged(Kind::Steady, &Form::asked("PINHOLD_YEARS"));
    // One-sided: a fall is told where the whole 95 % interval is below 0.
    assert!(falls.value() <= 0.025 + falls.slack(0.025), "{falls:?}");
    assert!(held.value() >= 0.95 - held.slack(0.95), "{held:?}");
}

#[test]
fn falls_and_years_are_within_their_intervals() {
    let [held, falls, year, _] = judged(Kind::Falls, &Form::asked("PINHOLD_YEARS"));
    assert!(held.value() >= 0.95 - held.slack(0.95), "{held:?}");
    assert!(year.all > 50 && year.value() >= 0.95 - year.slack(0.95), "{year:?}");
    assert!(falls.value() > 0.5, "a method that tells no fall is of no use: {falls:?}");
}

#[test]
fn a_logged_climate_keeps_the_intervals_true_and_tells_more_falls() {
    let form = Form::asked("PINHOLD_YEARS");
    let [held, falls, year, seen] = judged(Kind::FallsLogged, &form);
    assert!(held.value() >= 0.95 - held.slack(0.95), "{held:?}");
    // A known gap: that moisture is used is decided by the same surveys, and the year's interval
    // then holds in 93 to 94 % of cases instead of 95.
    assert!(year.value() >= 0.93 - year.slack(0.93), "{year:?}");
    assert!(seen.value() > 0.2, "{seen:?}");
    let [_, without, ..] = judged(Kind::Falls, &form);
    assert!(falls.value() >= without.value(), "{falls:?} {without:?}");
}

#[test]
fn a_repair_is_proven_and_nothing_is_not() {
    let form = Form::asked("PINHOLD_YEARS");
    let (from, count) = form.seeds(TUNING_SEED, JUDGING_SEED, (COUNT_SHORT, COUNT_LONG));
    let compared = |seed: u64, gain_nm: f64| {
        let mut random = Random::new(seed);
        let pins: Vec<f64> = (0..PIN_COUNT).map(|_| 5.0 + 3.0 * random.uniform()).collect();
        let (before, after) =
            (read(&mut random, &pins, 0.0, 0.0), read(&mut random, &pins, gain_nm, 0.0));
        compare(&before, &after, |_| 0, true, &Profile::default())
    };
    let (mut gained, mut alarms, mut held, mut marked) =
        (Share::default(), Share::default(), Share::default(), Share::default());
    let pairs =
        each(from..from + count, THREAD_COUNT, |seed| (compared(seed, 2.0), compared(seed, 0.0)));
    for (repaired, same) in &pairs {
        gained.add(repaired.shift_is_clear());
        let (low, high) = repaired.interval_nm.expect("forty pins");
        held.add(low <= 2.0 && 2.0 <= high);
        alarms.add(same.shift_is_clear());
        for pair in &same.pairs {
            marked.add(pair.change != pinhold::analysis::history::compare::Change::NotClear);
        }
    }
    println!("gained {gained:?}, held {held:?}, alarms {alarms:?}, marked {marked:?}");
    assert!(gained.value() > 0.99, "{gained:?}");
    // The readings share no error here; what they share enters by their budgets.
    assert!(held.value() >= 0.95 - held.slack(0.95), "{held:?}");
    assert!(alarms.value() <= 0.05 + alarms.slack(0.05), "{alarms:?}");
    assert!(marked.value() < 0.05, "{marked:?}");
}
