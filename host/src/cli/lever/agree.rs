//! `pinhold lever agree`: how levers that read the same pins differ.
//!
//! Deliberately not here: why. A piano changes between two surveys, and turning a pin changes it a
//! little; the difference shown holds that too.

use std::collections::{BTreeMap, BTreeSet};

use clap::Args;
use pinhold_protocol::record::{Outcome, Pin};
use serde_json::{Value, json};

use super::super::context::Context;
use super::super::exit::CliError;
use crate::metrology::agreement::{Agreement, agreement};
use crate::metrology::student::coverage_factor;
use crate::store::{InstrumentId, Store};
use crate::units::TorqueUnit;

/// Fewest pins a difference is told of.
const PAIR_COUNT_MIN: usize = 3;
/// Level of the interval.
const LEVEL: f64 = 0.95;

/// Arguments of `pinhold lever agree`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Of every pin that two levers read both ways, each lever's last reading is taken, and the mean of the
differences in friction told with its 95 % interval (Student's t; pins as a sample of pins), beside
the range that holds most single differences (mean ± 2 standard deviations, after Bland and Altman,
The Lancet 1986). The interval takes the differences as independent of each other and contains what
the piano itself did between the two surveys.

Example:
  pinhold lever agree parlour")]
pub(super) struct AgreeArguments {
    /// Only pins of this instrument [default: all instruments]
    #[arg(value_name = "NAME")]
    instrument: Option<String>,
}

/// Two levers and how they agree.
struct Pair {
    one: u64,
    other: u64,
    found: Agreement,
    /// The interval of the mean difference, N·m.
    interval_nm: (f64, f64),
}

/// Runs the command.
///
/// # Errors
/// When the instrument is unknown or the store fails.
pub(super) fn run(context: &Context, arguments: &AgreeArguments) -> Result<(), CliError> {
    let store = context.open_store()?;
    let instruments = match &arguments.instrument {
        Some(name) => vec![store.find_instrument(name)?],
        None => store.list_instruments()?,
    };
    let mut differences: BTreeMap<(u64, u64), Vec<(f64, f64)>> = BTreeMap::new();
    for record in &instruments {
        let read = last_frictions(&store, record.id)?;
        let levers: BTreeSet<u64> = read.keys().map(|(lever, _)| *lever).collect();
        for one in &levers {
            for other in levers.iter().filter(|other| *other > one) {
                let both = read.iter().filter(|((lever, _), _)| lever == one).filter_map(
                    |((_, pin), friction)| Some((*friction, *read.get(&(*other, *pin))?)),
                );
                differences.entry((*one, *other)).or_default().extend(both);
            }
        }
    }
    let pairs: Vec<Pair> =
        differences.iter().filter_map(|(levers, pairs)| pair(*levers, pairs)).collect();
    if context.json {
        let pairs: Vec<Value> = pairs.iter().map(document).collect();
        return context.print_document(
            &json!({ "format": "pinhold.lever.agree", "version": 1, "pairs": pairs }),
        );
    }
    if pairs.is_empty() {
        return context.print(&format!(
            "No two levers have read {PAIR_COUNT_MIN} pins in common both ways.\n"
        ));
    }
    context.print(&pairs.iter().map(|pair| text(pair, context.unit)).collect::<String>())
}

/// Friction of each pin as each lever read it last, N·m.
fn last_frictions(
    store: &Store,
    instrument: InstrumentId,
) -> Result<BTreeMap<(u64, Pin), f64>, CliError> {
    let mut read = BTreeMap::new();
    for survey in store.surveys_of(instrument)? {
        for stored in store.readings_of(survey.id)?.lever {
            let friction = stored.reading.friction;
            if let (Some(pin), Some(friction), Outcome::Measured) =
                (stored.pin, friction, stored.reading.outcome)
            {
                read.insert((stored.device, pin), friction.newton_metres());
            }
        }
    }
    Ok(read)
}

fn pair((one, other): (u64, u64), pairs: &[(f64, f64)]) -> Option<Pair> {
    let found = agreement(pairs).filter(|found| found.count >= PAIR_COUNT_MIN)?;
    let half = coverage_factor(LEVEL, (found.count - 1) as f64)? * found.bias_u();
    Some(Pair { one, other, found, interval_nm: (found.bias - half, found.bias + half) })
}

fn text(pair: &Pair, unit: TorqueUnit) -> String {
    let shown = |nm: f64| format!("{:+.*}", unit.decimals() + 1, unit.from_newton_metres(nm));
    let (low, high) = pair.interval_nm;
    let (least, most) = pair.found.limits(2.0);
    let judged = if low > 0.0 || high < 0.0 {
        "they differ, or the piano changed between"
    } else {
        "no difference shows at this count of pins"
    };
    format!(
        "lever {:016x} less {:016x}: {} {unit} in the mean (95 %: {} to {}), {} pins; single \
         pins {} to {}; {judged}\n",
        pair.one,
        pair.other,
        shown(pair.found.bias),
        shown(low),
        shown(high),
        pair.found.count,
        shown(least),
        shown(most)
    )
}

fn document(pair: &Pair) -> Value {
    let (least, most) = pair.found.limits(2.0);
    json!({
        "lever": format!("{:016x}", pair.one),
        "other_lever": format!("{:016x}", pair.other),
        "pin_count": pair.found.count,
        "mean_difference_nm": pair.found.bias,
        "interval_nm": [pair.interval_nm.0, pair.interval_nm.1],
        "level": LEVEL,
        "single_differences_nm": [least, most],
    })
}
