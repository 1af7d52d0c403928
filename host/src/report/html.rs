//! The report: one HTML file that stands by itself, to print or to send.
//!
//! No script, no link, no font file. Every text from outside is escaped by the templates. The
//! verdict comes first, then the picture; what was not checked and the cautions are never left
//! out. Deliberately not here: prices, years left, whose fault.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::html_tables::{alternatives, bands, chain, parts, pins, sections, thresholds, zones};
use super::picture::{self, View};
use super::{MapModel, ReportContext, confidence_words, marks, picture_grid, remedy_line};
use crate::analysis::field::grid::FieldGrid;
use crate::analysis::verdict::ConfidenceCap;
use crate::text::printable;
use crate::units::TorqueUnit;

const STYLE: &str = "\
:root{color:#26221f;background:#fff;font:15px/1.45 'DejaVu Sans',Verdana,sans-serif}\
body{max-width:60rem;margin:1.5rem auto;padding:0 1rem}\
h1{font-size:1.5rem;margin:0 0 .2rem}h2{font-size:1.1rem;margin:1.6rem 0 .4rem;\
border-bottom:2px solid #6f665d;padding-bottom:.15rem}\
p,ul{margin:.35rem 0}ul{padding-left:1.2rem}li{margin:.15rem 0;overflow-wrap:anywhere}\
table{border-collapse:collapse;width:100%;font-size:.86rem;margin:.4rem 0}\
th,td{border-bottom:1px solid #cfc8c0;padding:.22rem .4rem;text-align:left;vertical-align:top;\
overflow-wrap:anywhere}th{background:#f4f1ec}td.n,th.n{text-align:right;white-space:nowrap}\
.w{white-space:nowrap}.annex td{padding:.1rem .35rem;font-size:.78rem}\
.verdict{border:2px solid #26221f;border-radius:6px;padding:.8rem 1rem;margin:1rem 0}\
.verdict .word{font-size:1.6rem;font-weight:bold;text-transform:uppercase;letter-spacing:.04em}\
.two{display:grid;grid-template-columns:1fr 1fr;gap:0 1.6rem}\
.demo{background:#26221f;color:#fff;padding:.4rem .8rem;font-weight:bold}\
.small{font-size:.8rem;color:#57504a}svg{max-width:100%;height:auto}\
.mark svg{width:1.2em;height:1.2em;vertical-align:-.2em}\
.view{margin:0 0 .8rem}\
.sign{display:grid;grid-template-columns:2fr 1fr;gap:2rem;margin-top:2rem}\
.sign div{border-top:1px solid #26221f;padding-top:.2rem;min-height:2rem}\
@page{size:A4;margin:14mm}\
@media(max-width:40rem){.two{display:block}}\
@media print{:root{font-size:10.5pt}body{margin:0;max-width:none;padding:0}\
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}\
h2{break-after:avoid}li,tr{break-inside:avoid}\
figure,.verdict,.last{break-inside:avoid}.annex{break-before:page}}";

/// The whole report.
pub fn report(model: &MapModel<'_>, context: &ReportContext, unit: TorqueUnit) -> String {
    let verdict = &model.assessment.verdict;
    let name = printable(&model.instrument.name);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Tuning pins of " (name) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                @if context.is_demo {
                    p.demo { "Demonstration: instrument and readings are invented." }
                }
                h1 { "Tuning pins and pinblock: " (name) }
                (head_lines(model, context))
                (verdict_box(model))
                h2 { "The pin field" }
                p.small { "Every pin by name, and four other views, are in the annex." }
                @let grid = picture_grid(model.assessment);
                @let picture = picture::overview(model, grid.as_ref(), View::Torque, unit);
                figure style="margin:0" { (PreEscaped(picture)) }
                h2 { "Why" }
                div.two {
                    div { strong { "For" } (list(&verdict.reasons_for)) }
                    div {
                        strong { "Against" }
                        @if verdict.reasons_against.is_empty() { p { "Nothing of weight." } }
                        (list(&verdict.reasons_against))
                    }
                }
                (titled("What would change it", &verdict.what_would_change_it))
                @if let Some(next) = &verdict.next_observation {
                    p { strong { "Most worth finding out next: " } (next) "." }
                }
                h2 { "Zones and what they usually mean" }
                (zones(model, unit))
                h2 { "Pins in each band" }
                (bands(model.assessment, unit))
                h2 { "Remedies compared" }
                (alternatives(model.assessment))
                @if !verdict.parts.is_empty() {
                    h2 { "Pins to order" }
                    (parts(&verdict.parts))
                }
                (titled("Strings that stand out", &model.assessment.pulls.sentences()))
                (titled("Strings to retune after the measurement", &context.retune))
                (recorded(context))
                (titled("What was not examined", &verdict.not_examined))
                (conditions(model, context))
                h2 { "Cautions" }
                ul { @for caution in &verdict.cautions { li { (caution) } } }
                (signature(context))
                (annex(model, grid.as_ref(), unit))
            }
        }
    };
    page.into_string()
}

fn head_lines(model: &MapModel<'_>, context: &ReportContext) -> Markup {
    let statistics = &model.assessment.statistics;
    html! {
        p {
            "Notes " (model.instrument.first_note) "–" (model.instrument.last_note) ", "
            (statistics.pin_count) " pins, " (statistics.read_count) " read"
            @if !context.survey_date.is_empty() { ", " (printable(&context.survey_date)) }
            "."
            @if !context.owner.is_empty() { " For " (printable(&context.owner)) "." }
            @if !context.technician.is_empty() {
                " Measured by " (printable(&context.technician)) "."
            }
        }
        @if !context.instrument_note.is_empty() { p { (printable(&context.instrument_note)) } }
    }
}

fn verdict_box(model: &MapModel<'_>) -> Markup {
    let verdict = &model.assessment.verdict;
    html! {
        div.verdict {
            div.word { (verdict.remedy.word()) }
            p { (remedy_line(verdict.remedy)) }
            p {
                "Confidence " (format!("{:.0} %", 100.0 * verdict.confidence)) " ("
                (confidence_words(verdict.confidence)) ")"
                @match verdict.confidence_cap {
                    Some(ConfidenceCap::PliesUnseen) => {
                        ", capped: torque alone does not prove what a new plank needs"
                    }
                    Some(ConfidenceCap::LeverInDoubt) => ", capped: the lever is in doubt",
                    None => "",
                }
                "."
                @if verdict.remedy.kind().is_irreversible() { " This step cannot be undone." }
            }
            @let doubts = marks::doubts(model.assessment);
            @if !doubts.is_empty() {
                p { strong { "The torques come from a lever in doubt" } }
                (list(&doubts))
            }
            @if !verdict.confirm_before_acting.is_empty() {
                p { strong { "Confirm before acting" } }
                (list(&verdict.confirm_before_acting))
            }
        }
    }
}

fn list(items: &[String]) -> Markup {
    html! { ul { @for item in items { li { (printable(item)) } } } }
}

fn titled(title: &str, items: &[String]) -> Markup {
    html! {
        @if !items.is_empty() {
            h2 { (title) }
            (list(items))
        }
    }
}

/// What was seen and told beside torque, by what it is about.
fn recorded(context: &ReportContext) -> Markup {
    html! {
        @if !context.recorded.is_empty() {
            h2 { "Seen and told" }
            @for (heading, lines) in &context.recorded {
                p { strong { (heading) } }
                ul { @for line in lines { li { (printable(line)) } } }
            }
        }
    }
}

/// Under which conditions the readings were taken, and what measuring did to the tuning.
fn conditions(model: &MapModel<'_>, context: &ReportContext) -> Markup {
    let pins = &model.assessment.pins;
    let count = |test: fn(&crate::analysis::PinResult) -> bool| {
        pins.iter().filter(|pin| pin.read && test(pin)).count()
    };
    let both = count(|pin| pin.sharp_nm.is_some() && pin.flat_nm.is_some());
    let sharp = count(|pin| pin.sharp_nm.is_some() && pin.flat_nm.is_none());
    let flat = count(|pin| pin.sharp_nm.is_none() && pin.flat_nm.is_some());
    let condition = &model.assessment.verdict.condition;
    let humidity = condition.relative_humidity.filter(|h| h.is_finite());
    let pitch = condition.pitch_cents.filter(|cents| cents.is_finite());
    html! {
        h2 { "Conditions of the measurement" }
        ul {
            @if !context.survey.is_empty() { li { (printable(&context.survey)) } }
            @if !context.tool.is_empty() { li { (printable(&context.tool)) } }
            (marked(model))
            li {
                (both) " pins read both ways, " (sharp) " only sharp, " (flat) " only flat."
            }
            li {
                "Relative humidity of the room: "
                @match humidity {
                    Some(h) => { (format!("{:.0} %", 100.0 * h)) },
                    None => { "not recorded" },
                }
                "; pitch as found: "
                @match pitch {
                    Some(cents) => { (format!("{cents:+.0} cents")) },
                    None => { "not recorded" },
                }
                "."
            }
            li {
                "Friction is half the sum of sharp and flat running torque; the holding factor is \
                 friction over the string's moment at target pitch. Bearing friction is not taken \
                 off: it can flatter friction a little and stands in the uncertainty."
            }
            li { "The pins that were measured have moved a little and want a touch-up tuning." }
        }
    }
}

/// Readings of a lever in doubt, counted and by name.
fn marked(model: &MapModel<'_>) -> Markup {
    let read_count = model.assessment.statistics.read_count;
    html! {
        @for group in marks::groups(model.assessment) {
            li {
                "Marked: " (group.mark) ", " (group.pins.len()) " of " (read_count)
                " readings: " (marks::pins_text(&group, read_count)) "."
            }
        }
    }
}

fn signature(context: &ReportContext) -> Markup {
    html! {
        @if !context.own_decision.is_empty() {
            h2 { "The technician's own decision" }
            p { (printable(&context.own_decision)) }
        }
        div.last {
        p.small {
            "An opinion on condition from what was measured and seen, no structural certificate. \
             Percentages are chances as this program weighs them, not promises."
        }
        div.sign {
            div { "Signature" @if !context.technician.is_empty() {
                " (" (printable(&context.technician)) ")"
            } }
            div { "Date" @if !context.report_date.is_empty() {
                ": " (printable(&context.report_date))
            } }
        }
        }
    }
}

fn annex(model: &MapModel<'_>, grid: Option<&FieldGrid>, unit: TorqueUnit) -> Markup {
    html! {
        div.annex {
            h2 { "Annex: every pin by name" }
            p.small { (model.orientation()) " To scale." }
            figure style="margin:0" {
                (PreEscaped(picture::detail(model, grid, View::Torque, unit)))
            }
            h2 { "Annex: the plank in four other views" }
            @for view in View::ALL.into_iter().filter(|view| *view != View::Torque) {
                figure.view { (PreEscaped(picture::companion(model, grid, view, unit))) }
            }
            h2 { "Annex: sections" }
            (sections(model.assessment, unit))
            h2 { "Annex: how the evidence was weighed" }
            (chain(model.assessment))
            h2 { "Annex: thresholds and what stands behind them" }
            (thresholds(&model.assessment.profile, unit))
            h2 { "Annex: every reading" }
            (pins(model.assessment, unit))
        }
    }
}
