//! The budget of a pin's reading, line by line, and of a survey, term by term: as text and as a
//! document.
//!
//! Deliberately not here: where budgets come from ([`crate::analysis::readings`]).

use serde_json::{Value, json};

use crate::analysis::Profile;
use crate::analysis::band::{Band, judge};
use crate::analysis::budget::{
    BudgetRow, COVERAGE, Quantity, ReadingBudget, Shape, Size, SizeUnit, Term, rows,
};
use crate::analysis::input::PinReading;
use crate::instrument::pin_name;
use crate::text::printable;
use crate::units::TorqueUnit;

/// Share of variance under which a row is told as "less than one per cent".
const SMALL_SHARE: f64 = 0.005;
/// Sources told under a table at most.
const SOURCE_COUNT_MAX: usize = 24;

/// A small torque with the digits an uncertainty needs.
fn fine(value_nm: f64, unit: TorqueUnit) -> String {
    let decimals = match unit {
        TorqueUnit::NewtonMetre => 3,
        TorqueUnit::InchPoundForce | TorqueUnit::KilogramForceCentimetre => 2,
    };
    format!("{:.decimals$}", unit.from_newton_metres(value_nm))
}

/// The budget of one pin; a sentence when it has none.
pub fn pin_text(pin: &PinReading, profile: &Profile, unit: TorqueUnit) -> String {
    let name = pin_name(pin.pin);
    let Some(budget) = pin.budget.as_deref() else {
        let why = printable(&pin.remarks.join("; "));
        return format!("{name}: no friction was read, so there is no budget ({why})\n");
    };
    let mut text = format!("{name}, torques in {unit}\n");
    for (quantity, label) in [
        (Quantity::Friction, "Friction F"),
        (Quantity::Moment, "String moment M"),
        (Quantity::HoldingFactor, "Holding factor H"),
    ] {
        text.push_str(&quantity_line(pin, budget, quantity, label, unit));
    }
    let judged = judge(pin, profile);
    let band = match judged.band {
        Band::CannotTell => String::new(),
        band => format!("{}: ", band.word()),
    };
    text.push_str(&format!(
        "  Band              {band}{} at {:.0} % risk; doubtful or worse with a chance of {}\n\n",
        judged.standing(),
        100.0 * profile.guard_risk.value,
        chance(judged.doubtful_chance),
    ));
    text.push_str(&table(budget, unit));
    text
}

/// Value, standard uncertainty, degrees of freedom and interval of one quantity.
fn quantity_line(
    pin: &PinReading,
    budget: &ReadingBudget,
    quantity: Quantity,
    label: &str,
    unit: TorqueUnit,
) -> String {
    let (estimate, interval) = match quantity {
        Quantity::Friction => (pin.friction_nm, pin.friction_interval_nm),
        Quantity::Moment => (pin.moment_nm, pin.moment_interval_nm),
        Quantity::HoldingFactor => (pin.holding_factor, pin.holding_interval),
    };
    let Some(estimate) = estimate else { return String::new() };
    let show = |value: f64| match quantity {
        Quantity::HoldingFactor => format!("{value:.2}"),
        _ => fine(value, unit),
    };
    let within = match interval {
        Some((low, high)) if high.is_finite() => {
            format!("{:.0} % from {} to {}", 100.0 * COVERAGE, show(low), show(high))
        }
        Some((low, _)) => format!("{:.0} % at least {}", 100.0 * COVERAGE, show(low)),
        None => "no interval".to_owned(),
    };
    let freedom = budget.degrees_of_freedom(quantity);
    let freedom = if freedom < 1000.0 {
        format!("{freedom:.0} degrees of freedom")
    } else {
        "over 1000 degrees of freedom".to_owned()
    };
    let (value, u) = (show(estimate.value), show(estimate.u));
    format!("  {label:<16}  {value:>7}   u {u}, {within}; {freedom}\n")
}

/// The rows, their sum, and what they rest on.
fn table(budget: &ReadingBudget, unit: TorqueUnit) -> String {
    let rows = rows(budget);
    let has_moment = budget.moment_nm.is_some();
    let mut text = format!(
        "  {:<19} {:>12}  {:>6} {:>5}  {:>6} {:>5}  {:>5}  {:<8} {:<8} {}\n",
        "Term", "size", "u(F)", "share", "u(M)", "share", "H", "shape", "acts", "rests on"
    );
    for row in &rows {
        let moment = match has_moment {
            true => (fine(row.contribution[1], unit), share(row.share[1])),
            false => ("-".to_owned(), "-".to_owned()),
        };
        text.push_str(&format!(
            "  {:<19} {:>12}  {:>6} {:>5}  {:>6} {:>5}  {:>5}  {:<8} {:<8} {}\n",
            row.term.text(),
            size_text(row.size, unit),
            fine(row.contribution[0], unit),
            share(row.share[0]),
            moment.0,
            moment.1,
            share(row.share[2]),
            shape_word(row),
            row.reach.word(),
            row.support.mark(),
        ));
    }
    let total = |quantity| budget.estimate(quantity).map_or("-".into(), |e| fine(e.u, unit));
    text.push_str(&format!(
        "  {:<19} {:>12}  {:>6} {:>5}  {:>6}\n\n",
        "together",
        "",
        total(Quantity::Friction),
        "",
        total(Quantity::Moment),
    ));
    text.push_str(&sources(&rows));
    text.push_str(
        "  Size: standard uncertainty where normal, half width where bounded. Share: of the \
         variance.\n  One way: it can only read high, or mostly does; not corrected, so the \
         interval reaches lower.\n  Acts: common to both strokes, opposite (cancels in F), own \
         to each stroke (averages),\n  or on what is formed of them.\n",
    );
    text
}

/// What the rows rest on, each said once.
fn sources(rows: &[BudgetRow]) -> String {
    let mut told: Vec<String> = Vec::new();
    for row in rows {
        let line = format!("  {:<8} {}\n", row.support.mark(), printable(&row.support.text()));
        if !told.contains(&line) && told.len() < SOURCE_COUNT_MAX {
            told.push(line);
        }
    }
    told.concat()
}

fn shape_word(row: &BudgetRow) -> &'static str {
    match row.shape {
        _ if row.one_sided => "one way",
        _ if row.term == Term::Direction => "any way",
        Shape::Normal { .. } => "normal",
        Shape::Rectangular => "bounded",
        Shape::Triangular => "triangle",
    }
}

fn size_text(size: Size, unit: TorqueUnit) -> String {
    match size.unit {
        SizeUnit::Relative => format!("{:.2} %", 100.0 * size.value),
        SizeUnit::NewtonMetre => format!("{} {unit}", fine(size.value, unit)),
        SizeUnit::Degree => format!("{:.2}°", size.value),
        SizeUnit::NewtonMetrePerDegree => format!("{} {unit}/°", fine(size.value, unit)),
    }
}

fn share(share: f64) -> String {
    if share <= 0.0 {
        "0".to_owned()
    } else if share < SMALL_SHARE {
        "<1 %".to_owned()
    } else {
        format!("{:.0} %", 100.0 * share)
    }
}

fn chance(chance: f64) -> String {
    let percent = 100.0 * chance;
    if percent < 0.1 {
        "under 0.1 %".to_owned()
    } else if percent > 99.9 {
        "over 99.9 %".to_owned()
    } else {
        format!("{percent:.1} %")
    }
}

/// One term over a survey.
#[derive(Clone, Debug, PartialEq)]
struct TermSummary {
    term: Term,
    /// Pins of which it is the largest in F.
    leads_count: usize,
    /// Mean share of the variance of F, M and H over the pins that have them.
    share: [f64; 3],
    /// Median contribution to u(F), N·m.
    median_u_nm: f64,
}

/// Terms over all pins that have a budget, the largest in F first; and how many pins and measured
/// moments that were.
fn summaries(pins: &[PinReading]) -> (Vec<TermSummary>, usize, usize) {
    let budgets: Vec<&ReadingBudget> =
        pins.iter().filter_map(|pin| pin.budget.as_deref()).collect();
    let moment_count = budgets.iter().filter(|budget| budget.moment_nm.is_some()).count();
    let all_rows: Vec<Vec<BudgetRow>> = budgets.iter().map(|budget| rows(budget)).collect();
    let mut terms = Vec::new();
    for term in Term::ALL {
        let of_term = |rows: &Vec<BudgetRow>| rows.iter().find(|row| row.term == term).cloned();
        let found: Vec<BudgetRow> = all_rows.iter().filter_map(of_term).collect();
        if found.is_empty() {
            continue;
        }
        let leads = |rows: &&Vec<BudgetRow>| {
            let largest = rows.iter().max_by(|a, b| a.share[0].total_cmp(&b.share[0]));
            largest.is_some_and(|row| row.term == term)
        };
        let mean = |at: usize, count: usize| {
            found.iter().map(|row| row.share[at]).sum::<f64>() / count.max(1) as f64
        };
        let mut u_nm: Vec<f64> = found.iter().map(|row| row.contribution[0]).collect();
        u_nm.sort_by(f64::total_cmp);
        terms.push(TermSummary {
            term,
            leads_count: all_rows.iter().filter(leads).count(),
            share: [mean(0, budgets.len()), mean(1, moment_count), mean(2, budgets.len())],
            median_u_nm: u_nm[u_nm.len() / 2],
        });
    }
    terms.sort_by(|a, b| b.share[0].total_cmp(&a.share[0]));
    (terms, budgets.len(), moment_count)
}

/// Which terms the doubt of a survey comes from.
pub fn summary_text(pins: &[PinReading], profile: &Profile, unit: TorqueUnit) -> String {
    let (terms, count, moment_count) = summaries(pins);
    if count == 0 {
        return "no pin of this survey has a friction, so there is no budget\n".to_owned();
    }
    let settled = pins.iter().filter(|pin| judge(pin, profile).settled).count();
    let mut text = format!(
        "{count} pins with a friction, {moment_count} of them read both ways; {settled} of {} are \
         settled at {:.0} % risk.\nWhere the doubt comes from (mean share of the variance):\n\n  \
         {:<20} {:>7} {:>7} {:>7}  {:>14}  {}\n",
        pins.len(),
        100.0 * profile.guard_risk.value,
        "Term",
        "F",
        "M",
        "H",
        format!("u(F), {unit}"),
        "largest for"
    );
    for term in &terms {
        let moment = if moment_count > 0 { share(term.share[1]) } else { "-".to_owned() };
        text.push_str(&format!(
            "  {:<20} {:>7} {:>7} {:>7}  {:>14}  {}\n",
            term.term.text(),
            share(term.share[0]),
            moment,
            share(term.share[2]),
            fine(term.median_u_nm, unit),
            match term.leads_count {
                1 => "1 pin".to_owned(),
                count => format!("{count} pins"),
            },
        ));
    }
    text.push_str("\nu(F) is the median over the pins. '--pin 40L' shows one pin's lines.\n");
    text
}

/// The same as a document's part.
pub fn summary_value(pins: &[PinReading]) -> Value {
    let (terms, count, moment_count) = summaries(pins);
    json!({
        "pin_count": count,
        "moment_count": moment_count,
        "terms": terms.iter().map(|term| json!({
            "term": term.term.word(),
            "largest_for": term.leads_count,
            "mean_share": { "friction": term.share[0], "moment": term.share[1],
                "holding_factor": term.share[2] },
            "median_u_friction_nm": term.median_u_nm,
        })).collect::<Vec<_>>(),
    })
}

/// One pin's budget as a document's part; `null` without one.
pub fn pin_value(pin: &PinReading, profile: &Profile) -> Value {
    let Some(budget) = pin.budget.as_deref() else { return Value::Null };
    let judged = judge(pin, profile);
    let quantity = |quantity: Quantity, interval: Option<(f64, f64)>| {
        let estimate = budget.estimate(quantity)?;
        let freedom = budget.degrees_of_freedom(quantity);
        Some(json!({
            "value": estimate.value,
            "u": estimate.u,
            "degrees_of_freedom": freedom.is_finite().then_some(freedom),
            // An end that does not exist is null.
            "interval": interval.map(|(low, high)| [low, high]),
        }))
    };
    let form = budget.cases.first().map(|case| case.form);
    let lines: Vec<Value> = budget
        .lines
        .iter()
        .filter_map(|line| Some((line, form?)))
        .map(|(line, form)| {
            let of = |quantity| {
                let told = quantity != Quantity::Moment || budget.moment_nm.is_some();
                told.then(|| {
                    json!({
                        "sensitivity": budget.sensitivity(line, quantity, form),
                        "u": budget.contribution(line, quantity),
                    })
                })
            };
            let freedom = line.shape.degrees_of_freedom();
            json!({
                "term": line.term.word(),
                "size": line.size.value,
                "size_unit": size_unit_word(line.size.unit),
                "shape": line.shape.word(),
                "one_sided": line.is_one_sided(),
                "degrees_of_freedom": freedom.is_finite().then_some(freedom),
                "acts": line.reach.word(),
                "grade": line.support.mark(),
                "rests_on": line.support.text(),
                "friction": of(Quantity::Friction),
                "moment": of(Quantity::Moment),
                "holding_factor": of(Quantity::HoldingFactor),
            })
        })
        .collect();
    json!({
        "note": pin.pin.note,
        "string": pin.pin.string.letter().to_string(),
        "coverage": COVERAGE,
        "friction_nm": quantity(Quantity::Friction, pin.friction_interval_nm),
        "moment_nm": quantity(Quantity::Moment, pin.moment_interval_nm),
        "holding_factor":
            pin.holding_factor.and(quantity(Quantity::HoldingFactor, pin.holding_interval)),
        "band": judged.band.word(),
        "band_settled": judged.settled,
        "risk": profile.guard_risk.value,
        "doubtful_chance": judged.doubtful_chance,
        "failing_chance": judged.failing_chance,
        "not_holding_chance": judged.not_holding_chance,
        "lines": lines,
        "not_knowing_the_direction_u_nm": budget.between_cases(Quantity::Friction),
    })
}

fn size_unit_word(unit: SizeUnit) -> &'static str {
    match unit {
        SizeUnit::Relative => "relative",
        SizeUnit::NewtonMetre => "N·m",
        SizeUnit::Degree => "degree",
        SizeUnit::NewtonMetrePerDegree => "N·m/degree",
    }
}
