//! The verdict as one JSON document, for other programs.
//!
//! Torques are in N·m and diameters in micrometres whatever the user's unit. Field names are
//! append-only; [`VERSION`] grows when a meaning changes. Numbers that do not exist are `null`.

use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use super::{MapModel, marks, zone_letter};
use crate::analysis::input::Estimate;
use crate::analysis::pulls::SlackString;
use crate::analysis::spatial::ModelCheck;
use crate::analysis::verdict::ConfidenceCap;
use crate::analysis::{Band, FieldPoint, PinResult, Pulls, Remedy, Zone};

/// Version of the document's meaning.
pub const VERSION: u32 = 1;

/// The verdict document.
pub fn verdict(model: &MapModel<'_>) -> Value {
    let assessment = model.assessment;
    let verdict = &assessment.verdict;
    let zones: Vec<Value> =
        assessment.zones.iter().enumerate().map(|(i, z)| zone_value(i, z)).collect();
    let points = &assessment.field.points;
    let pins: Vec<Value> = assessment
        .pins
        .iter()
        .enumerate()
        .filter(|(_, pin)| pin.read)
        .map(|(i, pin)| pin_value(pin, points.get(i)))
        .collect();
    let unread: Vec<Value> = assessment
        .pins
        .iter()
        .zip(&assessment.field.points)
        .filter(|(pin, _)| !pin.read)
        .map(|(pin, point)| {
            json!({
                "note": pin.pin.note,
                "string": pin.pin.string.letter().to_string(),
                "expected_nm": number(point.expected_nm.value),
                "u_expected_nm": number(point.expected_nm.u),
                "expected_interval_nm": interval(Some(point.expected_interval_nm)),
                "plank_nm": number(point.plank_nm.value),
                "u_plank_nm": number(point.plank_nm.u),
                "holding_factor": number(point.holding_factor.value),
                "u_holding_factor": number(point.holding_factor.u),
                "doubtful_chance": number(point.doubtful_chance),
            })
        })
        .collect();
    json!({
        "format": "pinhold.verdict",
        "version": VERSION,
        "instrument": model.instrument.name,
        "remedy": verdict.remedy.word(),
        "remedy_detail": remedy_detail(verdict.remedy),
        "confidence": number(verdict.confidence),
        "confidence_is_capped": verdict.confidence_is_capped,
        "confidence_cap": verdict.confidence_cap.map(ConfidenceCap::word),
        "confirm_before_acting": verdict.confirm_before_acting,
        "alternatives": verdict.alternatives.iter().map(|a| json!({
            "remedy": a.remedy.word(), "chance": number(a.chance),
        })).collect::<Vec<_>>(),
        "plank_states": verdict.states.iter().map(|(state, chance)| json!({
            "state": state.word(), "chance": number(*chance),
        })).collect::<Vec<_>>(),
        "zones": zones,
        "pins": pins,
        "unread_pins": unread,
        "field": assessment.field.points.iter().map(field_value).collect::<Vec<_>>(),
        "check": assessment.leftovers().as_ref().map(check_value),
        "reasons_for": verdict.reasons_for,
        "reasons_against": verdict.reasons_against,
        "not_examined": verdict.not_examined,
        "what_would_change_it": verdict.what_would_change_it,
        "next_observation": verdict.next_observation,
        "parts": verdict.parts.iter().map(|line| json!({
            "place": line.place, "pin_count": line.pin_count, "spare_count": line.spare_count,
            "from_um": line.from_um, "to_um": line.to_um, "note": line.note,
        })).collect::<Vec<_>>(),
        "cautions": verdict.cautions,
        "lever_doubts": marks::doubts(assessment),
        "lever_marks": marks::document(assessment),
        "statistics": statistics(model),
        "pulls": pulls_value(&assessment.pulls),
        "thresholds": assessment.profile.thresholds().into_iter().map(|(name, unit, t)| json!({
            "name": name, "unit": unit, "value": number(t.value), "grade": t.grade.mark(),
            "source": t.source,
        })).collect::<Vec<_>>(),
    })
}

/// What the map leaves over, held against what a right map would.
fn check_value(check: &ModelCheck) -> Value {
    json!({
        "sentence": check.sentence,
        "pin_count": check.pin_count,
        "moran_i": check.moran_i.map(number),
        "moran_p": check.moran_rank.map(|rank| number(rank.p_either())),
        "geary_c": check.geary_c.map(number),
        "geary_p": check.geary_rank.map(|rank| number(rank.p_either())),
        "spread": check.spread.map(number),
        "spread_expected": interval(check.spread_expected),
        "standing_out_count": check.standing_out.len(),
    })
}

fn statistics(model: &MapModel<'_>) -> Value {
    let statistics = &model.assessment.statistics;
    let bands: serde_json::Map<String, Value> = statistics
        .band_counts
        .iter()
        .map(|(band, count): &(Band, usize)| (band.word().to_owned(), json!(count)))
        .collect();
    json!({
        "pin_count": statistics.pin_count,
        "read_count": statistics.read_count,
        "used_count": statistics.used_count,
        "stray_count": statistics.stray_count,
        "repeated_count": statistics.repeated_count,
        "incomparable_count": statistics.incomparable_count,
        "bands": bands,
        "doubtful_share": number(statistics.doubtful_share.value),
        "u_doubtful_share": number(statistics.doubtful_share.u),
        "friction_median_nm": statistics.friction_median_nm.map(number),
        "holding_factor_median": statistics.factor_median.map(number),
        "scatter": number(model.assessment.field.scatter),
        "sections": statistics.sections.iter().map(|s| json!({
            "section": s.section,
            "name": s.name,
            "pin_count": s.pin_count,
            "read_count": s.read_count,
            "friction_median_nm": s.friction_median_nm.map(number),
            "friction_min_nm": s.friction_min_nm.map(number),
            "friction_max_nm": s.friction_max_nm.map(number),
            "holding_factor_median": s.factor_median.map(number),
            "variation": s.variation.map(number),
            "doubtful_count": s.doubtful_count,
        })).collect::<Vec<_>>(),
    })
}

/// Slack strings and groups out of line; for the survey's document too.
pub fn pulls_value(pulls: &Pulls) -> Value {
    json!({
        "compared_count": pulls.compared_count,
        "whole_share": pulls.whole_share.map(number),
        "slack": pulls.slack.iter().map(slack_value).collect::<Vec<_>>(),
        "let_down": pulls.let_down.iter().map(slack_value).collect::<Vec<_>>(),
        "out_of_line": pulls.odd.iter().map(|odd| json!({
            "place": odd.place,
            "pins": pins_value(&odd.pins),
            "share": number(odd.share),
            "like": odd.like,
        })).collect::<Vec<_>>(),
        "sentences": pulls.sentences(),
    })
}

fn slack_value(slack: &SlackString) -> Value {
    json!({
        "note": slack.pin.note,
        "string": slack.pin.string.letter().to_string(),
        "share": slack.share.map(number),
    })
}

fn remedy_detail(remedy: Remedy) -> Value {
    match remedy {
        Remedy::Larger { from_um, to_um, pin_count } => {
            json!({ "from_um": from_um, "to_um": to_um, "pin_count": pin_count })
        }
        Remedy::Restring { to_um } => json!({ "to_um": to_um }),
        _ => Value::Null,
    }
}

fn zone_value(index: usize, zone: &Zone) -> Value {
    json!({
        "letter": zone_letter(index).to_string(),
        "shape": zone.shape.word(),
        "place": zone.place,
        "pins": pins_value(&zone.pins),
        "tight_inside": pins_value(&zone.tight_inside),
        "unread_inside": pins_value(&zone.unread_inside),
        "friction_median_nm": number(zone.friction_median_nm),
        "surroundings_nm": number(zone.surroundings_nm),
        "depth_nm": number(zone.depth_nm()),
        "depth_share": number(zone.depth_share()),
        "p_value": zone.p_value.map(number),
        "doubtful_count": number(zone.doubtful_count),
        "depth_share_u": number(zone.depth().u),
        "usual_readings": zone.readings.iter().map(|reading| json!({
            "text": reading.text, "grade": reading.grade.mark(),
        })).collect::<Vec<_>>(),
    })
}

fn pins_value(pins: &[Pin]) -> Value {
    let pin = |pin: &Pin| json!({ "note": pin.note, "string": pin.string.letter().to_string() });
    Value::Array(pins.iter().map(pin).collect())
}

fn pin_value(pin: &PinResult, point: Option<&FieldPoint>) -> Value {
    let value = |estimate: Option<Estimate>| estimate.map(|e| number(e.value));
    let u = |estimate: Option<Estimate>| estimate.map(|e| number(e.u));
    json!({
        "note": pin.pin.note,
        "string": pin.pin.string.letter().to_string(),
        "friction_nm": value(pin.friction_nm),
        "u_friction_nm": u(pin.friction_nm),
        "friction_interval_nm": interval(pin.friction_interval_nm),
        "moment_nm": value(pin.moment_nm),
        "u_moment_nm": u(pin.moment_nm),
        "moment_interval_nm": interval(pin.moment_interval_nm),
        "moment_at_pitch_nm": number(pin.moment_at_pitch_nm.value),
        "u_moment_at_pitch_nm": number(pin.moment_at_pitch_nm.u),
        "holding_factor": value(pin.holding_factor),
        "u_holding_factor": u(pin.holding_factor),
        "holding_factor_interval": interval(pin.holding_interval),
        "sharp_nm": value(pin.sharp_nm),
        "flat_nm": value(pin.flat_nm),
        "friction_is_lower_limit": pin.friction_is_lower_limit,
        "band": pin.judgement.band.word(),
        "band_settled": pin.judgement.settled,
        "doubtful_chance": number(pin.judgement.doubtful_chance),
        "failing_chance": number(pin.judgement.failing_chance),
        "not_holding_chance": number(pin.judgement.not_holding_chance),
        "leave_one_out": pin.leave_one_out.map(number),
        "residual_sd": point.and_then(|p| p.residual_sd).map(number),
        "standing": point.map(|p| p.standing.word()),
        "plank_nm": point.map(|p| number(p.plank_nm.value)),
        "u_plank_nm": point.map(|p| number(p.plank_nm.u)),
        "zone": pin.zone.map(|index| zone_letter(index).to_string()),
        "section": pin.site.section,
        "row": pin.site.row,
        "x_m": number(pin.site.x_m),
        "y_m": number(pin.site.y_m),
        "diameter_um": pin.site.diameter_um,
        "remarks": pin.remarks,
        "lever_marks": marks::words(&pin.marks),
    })
}

/// The plank at one pin, read or not: what the maps show.
fn field_value(point: &FieldPoint) -> Value {
    json!({
        "note": point.pin.note,
        "string": point.pin.string.letter().to_string(),
        "sound_nm": number(point.sound_nm.value),
        "plank_nm": number(point.plank_nm.value),
        "u_plank_nm": number(point.plank_nm.u),
        "holding_factor": number(point.holding_factor.value),
        "u_holding_factor": number(point.holding_factor.u),
        "doubtful_chance": number(point.doubtful_chance),
        "residual_sd": point.residual_sd.map(number),
        "standing": point.standing.word(),
    })
}

/// From and to; an end that does not exist is `null`.
fn interval(interval: Option<(f64, f64)>) -> Option<[Value; 2]> {
    interval.map(|(low, high)| [number(low), number(high)])
}

/// A finite number, else `null`.
fn number(value: f64) -> Value {
    serde_json::Number::from_f64(value).map_or(Value::Null, Value::Number)
}
