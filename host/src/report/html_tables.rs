//! Tables of the report.

use maud::{Markup, PreEscaped, html};

use super::picture::signs::mark;
use super::{MapModel, diameter, estimate, legend, marks, torque, zone_letter};
use crate::analysis::verdict::{PartsLine, PlankState};
use crate::analysis::zones::place;
use crate::analysis::{Assessment, Grade, PinResult, Profile};
use crate::text::printable_short;
use crate::units::TorqueUnit;

/// Longest remark printed in a table.
const REMARK_COUNT_MAX: usize = 160;

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

fn dash(text: Option<String>) -> String {
    text.unwrap_or_else(|| "–".to_owned())
}

fn small_mark(look: legend::Look) -> Markup {
    let drawn = mark(look, (10.0, 10.0), 7.0);
    html! {
        span.mark { (PreEscaped(format!("<svg viewBox=\"0 0 20 20\">{drawn}</svg>"))) }
    }
}

pub(super) fn bands(assessment: &Assessment, unit: TorqueUnit) -> Markup {
    let read = assessment.statistics.read_count.max(1) as f64;
    let share = assessment.statistics.doubtful_share;
    let unread = assessment.statistics.pin_count - assessment.statistics.read_count;
    html! {
        table {
            tr { th { "Band" } th { "Friction, " (unit) } th.n { "Pins" } th.n { "Of those read" } }
            @for (band, count) in &assessment.statistics.band_counts {
                tr {
                    td { (small_mark(legend::look(*band))) " " (legend::name(*band)) }
                    td { (legend::range(*band, &assessment.profile, unit)) }
                    td.n { (count) }
                    td.n { (percent(*count as f64 / read)) }
                }
            }
            @if unread > 0 {
                tr { td { (small_mark(legend::UNREAD)) " not read" } td {} td.n { (unread) } td {} }
            }
        }
        p.small {
            "The worse of friction and holding factor counts. Doubtful or worse: "
            (format!("{:.1} ± {:.1} %", 100.0 * share.value, 100.0 * share.u))
            " of all pins, unread ones estimated. The bands are this program's own and can be set."
        }
    }
}

pub(super) fn zones(model: &MapModel<'_>, unit: TorqueUnit) -> Markup {
    let zones = &model.assessment.zones;
    let rate = model.assessment.profile.false_alarm_rate.value;
    html! {
        @if zones.is_empty() {
            p { "No zone of loose pins stands out." }
        }
        @for (index, zone) in zones.iter().enumerate() {
            p {
                strong { (zone_letter(index)) ": " (zone.shape.word().replace('-', " ")) }
                ", " (zone.place) ". " (zone.pins.len()) " loose pins, middle friction "
                (torque(zone.friction_median_nm, unit)) "; " (zone.surroundings_words()) " "
                (torque(zone.surroundings_nm, unit)) " (" (percent(zone.depth_share().max(0.0)))
                " lower, ± " (percent(zone.depth().u)) ")."
                @if !zone.tight_inside.is_empty() {
                    " Still tight inside it: " (zone.tight_inside.len()) "."
                }
                @if !zone.unread_inside.is_empty() {
                    " Not read inside it: " (zone.unread_inside.len()) "."
                }
                @if let Some(p) = zone.p_value {
                    " Sound planks like this one show so striking a zone in at most "
                    (format!("{:.1} %", 100.0 * p)) " of cases."
                }
            }
            ul {
                @for reading in &zone.readings {
                    li { (reading.text) " " span.small { "[" (reading.grade.mark()) "]" } }
                }
            }
        }
        p.small {
            "Zones that stand out from their surroundings are reported at a rate of at most "
            (percent(rate)) " of sound planks. Patterns are evidence, not proof: torque neither \
            proves nor clears a split."
        }
    }
}

pub(super) fn alternatives(assessment: &Assessment) -> Markup {
    html! {
        table {
            tr { th { "Remedy" } th { "What it means" } th.n { "Chance of being right" } th {} }
            @for alternative in &assessment.verdict.alternatives {
                tr {
                    td.w { (alternative.remedy.word()) }
                    td { (alternative.remedy.sentence()) }
                    td.n { (percent(alternative.chance)) }
                    td.w { @if alternative.remedy.is_irreversible() { "cannot be undone" } }
                }
            }
        }
        p.small {
            "Several remedies can be right for one plank, so the chances do not add up. Of nearly \
             equal ones the gentler leads. Cost and value are the owner's and are not weighed here."
        }
    }
}

pub(super) fn parts(lines: &[PartsLine]) -> Markup {
    html! {
        table {
            tr { th { "Where" } th.n { "Pins" } th.n { "Spare" } th.n { "Now" } th.n { "Order" }
                th { "Mind" } }
            @for line in lines {
                tr {
                    td { (line.place) }
                    td.n { (line.pin_count) }
                    td.n { (line.spare_count) }
                    td.n { (dash(line.from_um.map(diameter))) }
                    td.n { (line.to_um.map_or("at the pin".to_owned(), diameter)) }
                    td { (line.note) }
                }
            }
        }
    }
}

pub(super) fn sections(assessment: &Assessment, unit: TorqueUnit) -> Markup {
    let show = |nm: Option<f64>| dash(nm.map(|nm| torque(nm, unit)));
    html! {
        table {
            tr { th { "Section" } th.n { "Read" } th.n { "Middle" } th.n { "Least" }
                th.n { "Greatest" } th.n { "Holding factor" } th.n { "Spread" }
                th.n { "Doubtful or worse" } }
            @for section in &assessment.statistics.sections {
                tr {
                    td { (section.name) }
                    td.n { (section.read_count) " of " (section.pin_count) }
                    td.n { (show(section.friction_median_nm)) }
                    td.n { (show(section.friction_min_nm)) }
                    td.n { (show(section.friction_max_nm)) }
                    td.n { (dash(section.factor_median.map(|f| format!("{f:.1}")))) }
                    td.n { (dash(section.variation.map(percent))) }
                    td.n { (section.doubtful_count) }
                }
            }
        }
        p.small {
            "Spread is the coefficient of variation; 10–15 % is usual in a sound plank [MEM]. \
             Ordinary pins scatter by " (percent(assessment.field.scatter))
            " about the fitted field."
        }
    }
}

/// Prior, each item's weight, and the result, for the likeliest states.
pub(super) fn chain(assessment: &Assessment) -> Markup {
    let verdict = &assessment.verdict;
    let shown: Vec<(PlankState, f64)> = verdict.states.iter().copied().take(5).collect();
    let index = |state: PlankState| PlankState::ALL.iter().position(|s| *s == state).unwrap_or(0);
    html! {
        table {
            tr { th { "Evidence, natural logarithm of how well it fits" }
                @for (state, _) in &shown { th.n { (state.word()) } } }
            tr { td { "before any reading" }
                @for (state, _) in &shown {
                    td.n { (format!("{:.2}", libm::log(state.prior()))) }
                }
            }
            @for item in &verdict.evidence {
                tr { td { (item.text) }
                    @for (state, _) in &shown {
                        td.n { (format!("{:.2}", item.log_fit[index(*state)])) }
                    } }
            }
            tr { th { "chance after all evidence" }
                @for (_, chance) in &shown { th.n { (percent(*chance)) } } }
        }
        p.small {
            "Add a column, take the exponential, divide by the sum over all ten states. Priors and \
             fits are this program's own [DER], after the trade's pattern rules."
        }
    }
}

pub(super) fn thresholds(profile: &Profile, unit: TorqueUnit) -> Markup {
    html! {
        table {
            tr { th { "Threshold" } th.n { "Value" } th { "Grade" } th { "Source" } }
            @for (name, name_unit, threshold) in profile.thresholds() {
                tr {
                    td { (name) }
                    td.n {
                        @if name_unit == "N·m" { (torque(threshold.value, unit)) }
                        @else if name_unit == "N·m/mm" { (torque(threshold.value, unit)) "/mm" }
                        @else { (threshold.value) " " (name_unit) }
                    }
                    td { (threshold.grade.mark()) }
                    td { (threshold.source) }
                }
            }
        }
        p.small {
            @for grade in Grade::ALL { (grade.mark()) ": " (grade.meaning()) ". " }
        }
    }
}

pub(super) fn pins(assessment: &Assessment, unit: TorqueUnit) -> Markup {
    let show = |value| dash(Option::map(value, |e| estimate(e, unit)));
    html! {
        table {
            thead { tr { th { "Pin" } th.n { "Row" } th.n { "Friction, " (unit) } th.n { "Sharp" }
                th.n { "Flat" } th.n { "Holding factor" } th { "Band" } th { "Zone" }
                th { "Remarks" } } }
            @for pin in assessment.pins.iter().filter(|pin| pin.read) {
                tr {
                    td { (place::pin_name(pin.pin)) }
                    td.n { (pin.site.row) }
                    td.n { @if pin.friction_is_lower_limit { "> " } (show(pin.friction_nm)) }
                    td.n { (show(pin.sharp_nm)) }
                    td.n { (show(pin.flat_nm)) }
                    td.n {
                        (dash(pin.holding_factor.map(|f| format!("{:.2} ± {:.2}", f.value, f.u))))
                    }
                    td { (legend::name(pin.judgement.band))
                        @if !pin.judgement.settled { " (cannot tell yet)" } }
                    td { (pin.zone.map_or(String::new(), |z| zone_letter(z).to_string())) }
                    td { (remarks(pin)) }
                }
            }
        }
        p.small {
            "± is one standard uncertainty. Sharp and flat are what a wrench reads with the string \
             on. Cannot tell yet: on which side of doubtful the pin is cannot be settled at the \
             stated risk."
        }
    }
}

fn remarks(pin: &PinResult) -> String {
    let all = pin.remarks.join("; ");
    let said = printable_short(&all, REMARK_COUNT_MAX);
    match marks::of_pin(pin) {
        Some(marked) if said.is_empty() => marked,
        Some(marked) => format!("{marked}; {said}"),
        None => said,
    }
}
