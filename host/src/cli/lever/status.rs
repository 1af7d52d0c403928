//! `pinhold lever status`: how a lever is, in plain sentences.

use clap::Args;
use pinhold_protocol::message::{Health, Hello, PlanState, Start, Status};
use serde_json::{Value, json};

use super::standing::Standing;
use super::words::{fault, faults_of};
use super::{calendar, line};
use crate::cli::context::Context;
use crate::cli::exit::{CliError, Exit};
use crate::cli::teller::Teller;
use crate::link::session::Request;
use crate::report;
use crate::store::Store;
use crate::survey::{self, Heard};
use crate::text::printable;
use crate::units::TorqueUnit;

/// Arguments of `pinhold lever status`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Asks only; nothing on the lever is changed. A fault of the self-test is told with its number, which
is also how often the lever's lamp blinks for it.

Example:
  pinhold lever status --port /dev/ttyACM0")]
pub(super) struct StatusArguments {
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// When no lever answers, or the store fails.
pub(super) fn run(context: &Context, arguments: &StatusArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let mut line = line(arguments.port.as_ref())?;
    let mut teller = Teller::new(context.unit, true);
    let heard = survey::status(&mut store, calendar(context), &mut line, &mut teller)?;
    let Some(hello) = heard.hello else {
        return Err(CliError::new(Exit::LeverAbsent, "the lever said nothing of itself"));
    };
    let instrument = |plan: u64| plan_instrument(&store, plan);
    let standing = Standing::of(&store, &hello, context.now_ms())?;
    if context.json {
        let mut document = document(&hello, &heard, &instrument)?;
        for (name, value) in standing.fields() {
            document[name] = value;
        }
        return context.print_document(&document);
    }
    let mut text = identity_text(&hello, &heard, &instrument)?;
    text.push_str(&standing.text(context.unit));
    match &heard.health {
        Some(health) => text.push_str(&health_text(health, context.unit)),
        None => text
            .push_str("  self-test, battery and log: its firmware is too old to say; update it\n"),
    }
    match &heard.plan {
        Some(plan) => text.push_str(&plan_text(plan, &instrument)?),
        None if heard.not_understood.contains(&Request::Plan) => text.push_str(
            "  plan: its firmware is too old to work alone; update it, or use 'pinhold survey'\n",
        ),
        None => {}
    }
    if let Some(counters) = &heard.counters {
        text.push_str(&counters_text(counters));
    }
    context.print(&text)
}

/// The instrument a plan belongs to, when this store knows it.
fn plan_instrument(store: &Store, plan: u64) -> Result<Option<String>, CliError> {
    if plan == 0 {
        return Ok(None);
    }
    let Some(survey) = store.find_survey(plan)? else { return Ok(None) };
    Ok(Some(store.instrument_of(survey.id)?.instrument.name))
}

type NameOf<'a> = dyn Fn(u64) -> Result<Option<String>, CliError> + 'a;

fn identity_text(
    hello: &Hello,
    heard: &Heard,
    instrument: &NameOf<'_>,
) -> Result<String, CliError> {
    let [major, minor, patch] = hello.firmware;
    let calibration = match hello.calibration {
        0 => "not calibrated individually (default values)".to_owned(),
        number => format!("calibration number {number}"),
    };
    let zero = if hello.zeroed { "zero taken" } else { "no zero taken since it was switched on" };
    let waiting = hello.next_record.saturating_sub(hello.committed_floor);
    let mut text = format!(
        "lever {:016x}, firmware {major}.{minor}.{patch}\n  {calibration}; {zero}\n  log: epoch \
         {}, records {} to {} readable, {waiting} not fetched by any computer yet\n",
        hello.device,
        hello.epoch,
        hello.oldest_record,
        hello.next_record.checked_sub(1).map_or("none".to_owned(), |last| last.to_string()),
    );
    // A survey run by a host; one of the lever's own stands under its plan.
    let own = heard.plan.is_some_and(|plan| plan.running && plan.plan == hello.survey);
    if hello.survey != 0 && !own {
        let of = match instrument(hello.survey)? {
            Some(name) => format!("of {}", printable(&name)),
            None => format!("{} that another computer began", hello.survey),
        };
        text.push_str(&format!("  in a survey {of}\n"));
    }
    Ok(text)
}

fn health_text(health: &Health, unit: TorqueUnit) -> String {
    let mut text = String::new();
    let (faults, unknown) = faults_of(health.faults);
    text.push_str(match (health.tested, faults.is_empty() && unknown == 0) {
        (false, _) => "  self-test: still running; ask again in a few seconds\n",
        (true, true) => "  self-test: passed\n",
        (true, false) => "  self-test: NOT passed\n",
    });
    for found in faults {
        let (what, deed) = fault(found);
        text.push_str(&format!("    fault {}: {what}; {deed}\n", found.code()));
    }
    if unknown != 0 {
        text.push_str(&format!("    faults this version does not know ({unknown:#x})\n"));
    }
    if health.start == Start::Watchdog {
        text.push_str("  it last restarted itself after hanging (watchdog); please report that\n");
    }
    text.push_str(&battery_text(health));
    text.push_str(&format!(
        "  log: room for at least {} more readings{}\n",
        health.room_count,
        match (health.room_count, health.uncommitted_count) {
            (0, _) => "; it is FULL and takes no new pin: run 'pinhold lever fetch'",
            (_, 0) => "",
            _ => "; fetch what waits with 'pinhold lever fetch'",
        }
    ));
    if health.flash_failed_count > 0 {
        text.push_str(&format!(
            "  log memory: {} writes or erases failed since it was switched on\n",
            health.flash_failed_count
        ));
    }
    text.push_str(&format!(
        "  sensors: torque {}, motion {}; zero stands at {}\n",
        period(health.bridge_period_ns),
        period(health.motion_period_ns),
        report::torque(health.zero.newton_metres(), unit),
    ));
    text
}

fn battery_text(health: &Health) -> String {
    let plugged = if health.external_power { ", plugged in" } else { "" };
    let Some(battery_mv) = health.battery_mv else {
        return format!("  battery: no gauge{plugged}\n");
    };
    let charge = health
        .battery_permille
        .map_or(String::new(), |permille| format!(", about {} %", (u32::from(permille) + 5) / 10));
    let left = match health.battery_minutes {
        Some(minutes) if !health.external_power => {
            format!(", about {} h {:02} min left", minutes / 60, minutes % 60)
        }
        _ => String::new(),
    };
    format!("  battery: {:.2} V{charge}{left}{plugged}\n", f64::from(battery_mv) / 1000.0)
}

/// A sensor's period as a rate.
fn period(period_ns: u32) -> String {
    if period_ns == 0 {
        return "rate not measured yet".to_owned();
    }
    format!(
        "{:.1} a second (period {:.3} ms)",
        1e9 / f64::from(period_ns),
        f64::from(period_ns) / 1e6
    )
}

fn plan_text(plan: &PlanState, instrument: &NameOf<'_>) -> Result<String, CliError> {
    if plan.plan == 0 {
        return Ok("  plan: none stored\n".to_owned());
    }
    let of = match instrument(plan.plan)? {
        Some(name) => printable(&name),
        None => format!("{}, of another computer's store", plan.plan),
    };
    let running = if plan.running { "; at work on it" } else { "" };
    Ok(format!(
        "  plan: {of}, {} pins: {} read, {} passed over, at place {}{running}\n",
        plan.pin_count,
        plan.read_count,
        plan.skipped_count,
        u32::from(plan.position) + 1,
    ))
}

fn counters_text(counters: &Status) -> String {
    format!(
        "  since it was switched on: {} damaged frames from the computer, {} sample blocks \
         dropped, {} samples missed, {} at the end of the range\n",
        counters.link.error_count(),
        counters.dropped_block_count,
        counters.missed_sample_count,
        counters.saturated_sample_count,
    )
}

fn document(hello: &Hello, heard: &Heard, instrument: &NameOf<'_>) -> Result<Value, CliError> {
    let [major, minor, patch] = hello.firmware;
    let plan = match &heard.plan {
        Some(plan) => json!({
            "plan": plan.plan.to_string(),
            "instrument": instrument(plan.plan)?,
            "pins": plan.pin_count,
            "position": plan.position,
            "read": plan.read_count,
            "skipped": plan.skipped_count,
            "running": plan.running,
        }),
        None => Value::Null,
    };
    Ok(json!({
        "format": "pinhold.lever.status",
        "version": 1,
        "lever": format!("{:016x}", hello.device),
        "firmware": format!("{major}.{minor}.{patch}"),
        "epoch": hello.epoch,
        "calibration": hello.calibration,
        "zeroed": hello.zeroed,
        "oldest_record": hello.oldest_record,
        "next_record": hello.next_record,
        "committed_floor": hello.committed_floor,
        "survey": hello.survey.to_string(),
        "survey_instrument": instrument(hello.survey)?,
        "health": heard.health.as_ref().map(health_value),
        "plan": plan,
        "counters": heard.counters.as_ref().map(|counters| json!({
            "damaged_frames": counters.link.error_count(),
            "dropped_blocks": counters.dropped_block_count,
            "missed_samples": counters.missed_sample_count,
            "saturated_samples": counters.saturated_sample_count,
        })),
    }))
}

fn health_value(health: &Health) -> Value {
    let (faults, unknown) = faults_of(health.faults);
    let faults: Vec<Value> = faults
        .into_iter()
        .map(|found| {
            let (what, deed) = fault(found);
            json!({ "code": found.code(), "what": what, "do": deed })
        })
        .collect();
    json!({
        "tested": health.tested,
        "faults": faults,
        "unknown_fault_bits": unknown,
        "restarted_by_watchdog": health.start == Start::Watchdog,
        "battery_mv": health.battery_mv,
        "battery_permille": health.battery_permille,
        "battery_minutes": health.battery_minutes,
        "external_power": health.external_power,
        "bridge_period_ns": health.bridge_period_ns,
        "motion_period_ns": health.motion_period_ns,
        "zero_nm": health.zero.newton_metres(),
        "uncommitted": health.uncommitted_count,
        "room": health.room_count,
        "flash_failed": health.flash_failed_count,
    })
}

#[cfg(test)]
mod tests {
    use pinhold_protocol::error::Fault;
    use pinhold_protocol::units::Torque;

    use super::*;

    #[test]
    fn a_fault_is_told_with_its_number_and_what_to_do() {
        let health = Health {
            faults: Fault::BridgeOpen.bit() | 1 << 20,
            tested: true,
            start: Start::Watchdog,
            battery_mv: Some(3812),
            battery_permille: Some(620),
            battery_minutes: Some(125),
            bridge_period_ns: 1_004_312,
            zero: Torque::from_micronewton_metres(120_000),
            ..Health::default()
        };
        let told = health_text(&health, TorqueUnit::NewtonMetre);
        for part in [
            "  self-test: NOT passed\n    fault 4: the torque cell is not connected; check",
            "faults this version does not know (0x100000)",
            "(watchdog)",
            "battery: 3.81 V, about 62 %, about 2 h 05 min left\n",
            "it is FULL and takes no new pin",
            "torque 995.7 a second (period 1.004 ms), motion rate not measured yet",
        ] {
            assert!(told.contains(part), "{part} is not in:\n{told}");
        }
    }

    #[test]
    fn a_lever_that_is_well_says_so() {
        let health = Health { tested: true, room_count: 260, ..Health::default() };
        let told = health_text(&health, TorqueUnit::NewtonMetre);
        assert!(told.starts_with("  self-test: passed\n  battery: no gauge\n"), "{told}");
        assert!(told.contains("room for at least 260 more readings\n"), "{told}");
    }
}
