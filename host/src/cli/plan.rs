//! Which pins a survey reads: `--plan quick|full|adaptive`, or a list.
//!
//! One place for `survey`, `lever load` and `demo`. Deliberately not here: how pins are chosen
//! (`analysis::sampling`).

use clap::ValueEnum;
use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use super::context::say;
use super::exit::{CliError, Exit};
use crate::analysis::sampling::{
    CONFIDENCE_DEFAULT, Design, Settled, Step, check_pin, full, quick, start, with_checks,
};
use crate::instrument::{Instrument, pin_name};
use crate::store::Store;
use crate::survey::SurveyError;
use crate::survey::adaptive::{Adaptive, Grown};

/// A plan by its word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum PlanKind {
    /// A quarter to a third of the pins, in runs over every section and row
    Quick,
    /// Every pin
    Full,
    /// As many as settle the verdict: the next run is chosen from what was read
    Adaptive,
}

impl PlanKind {
    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            PlanKind::Quick => "quick",
            PlanKind::Full => "full",
            PlanKind::Adaptive => "adaptive",
        }
    }

    /// The pins it begins with.
    pub fn design(self, instrument: &Instrument) -> Design {
        match self {
            PlanKind::Quick => quick(instrument),
            PlanKind::Full => full(instrument),
            PlanKind::Adaptive => start(instrument),
        }
    }

    /// The pins it begins with, the check pin woven in, and what is said of them.
    pub fn pins(self, instrument: &Instrument) -> (Vec<Pin>, String) {
        let design = self.design(instrument);
        let check = check_pin(instrument, &[]);
        let pins = with_checks(&design.pins, check);
        let mut text = match self {
            PlanKind::Adaptive => format!("adaptive plan, to begin with {}", design.sentence()),
            kind => format!("{} plan: {}", kind.word(), design.sentence()),
        };
        if let Some(check) = check.filter(|check| pins.first() == Some(check)) {
            text.push_str(&format!(
                ". {} is the check pin: it comes first, after every twenty and last, so that drift \
                 of the lever is not taken for a gradient of the plank",
                pin_name(check)
            ));
        }
        (pins, text)
    }
}

/// A confidence as typed: a share or a percentage.
pub(super) fn confidence_parser(text: &str) -> Result<f64, String> {
    let number = text.trim_end_matches('%').parse::<f64>();
    let share = match number {
        Ok(number) if number > 1.0 => number / 100.0,
        Ok(number) => number,
        Err(_) => f64::NAN,
    };
    if (0.5..=0.99).contains(&share) {
        Ok(share)
    } else {
        Err("use 0.5 to 0.99, or 50% to 99%".to_owned())
    }
}

/// The confidence asked for; only an adaptive survey takes one.
pub(super) fn confidence(kind: Option<PlanKind>, asked: Option<f64>) -> Result<f64, CliError> {
    match asked {
        Some(_) if kind != Some(PlanKind::Adaptive) => Err(CliError::new(
            Exit::Usage,
            "--confidence says when an adaptive survey may stop; add --plan adaptive",
        )),
        Some(asked) => Ok(asked),
        None => Ok(CONFIDENCE_DEFAULT),
    }
}

/// An adaptive survey's next run, told and kept among its steps.
pub(super) fn grow(
    survey: &Adaptive<'_>,
    store: &mut Store,
    steps: &mut Vec<Grown>,
    silent: bool,
) -> Result<Vec<Pin>, SurveyError> {
    let grown = survey.go_on(store)?;
    if !silent {
        tell(&grown);
    }
    let pins = grown.pins.clone();
    steps.push(grown);
    Ok(pins)
}

/// Tells why an adaptive survey goes where it goes.
fn tell(grown: &Grown) {
    match &grown.step {
        Step::Read(proposal) => say(&format!(
            "next, {} {}: {}",
            proposal.pins.len(),
            if proposal.pins.len() == 1 { "pin" } else { "pins" },
            proposal.reason
        )),
        Step::Settled(_) if !grown.pins.is_empty() => {
            say("settled; the check pin once more, to see whether the lever drifted");
        }
        Step::Settled(settled) => say(settled_text(settled).trim_end()),
    }
}

/// How it was settled, for reading.
pub(super) fn settled_text(settled: &Settled) -> String {
    let mut text = format!(
        "settled: '{}', {:.0} % that reading the rest would change it; {} of {} pins read, {} \
         saved\n",
        settled.remedy.word(),
        100.0 * settled.change_chance,
        settled.read_count,
        settled.pin_count,
        settled.saved_count
    );
    for surer in &settled.what_it_would_take {
        text.push_str(&format!("to be surer, {surer}\n"));
    }
    text
}

/// The same for a program.
pub(super) fn settled_value(settled: &Settled) -> Value {
    json!({
        "remedy": settled.remedy.word(),
        "change_chance": settled.change_chance,
        "read": settled.read_count,
        "pins": settled.pin_count,
        "saved": settled.saved_count,
        "what_it_would_take": settled.what_it_would_take,
    })
}

/// A step for a program.
pub(super) fn step_value(grown: &Grown) -> Value {
    let pins: Vec<String> = grown.pins.iter().map(|pin| pin_name(*pin)).collect();
    match &grown.step {
        Step::Read(proposal) => json!({
            "pins": pins,
            "why": proposal.why.word(),
            "reason": proposal.reason,
            "remedy": proposal.remedy.map(|remedy| remedy.word()),
            "change_chance": proposal.change_chance,
        }),
        Step::Settled(settled) => json!({ "pins": pins, "settled": settled_value(settled) }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::InstrumentKind;
    use crate::instrument::layout::modern_88;

    #[test]
    fn a_confidence_is_a_share_or_a_percentage() {
        assert_eq!(confidence_parser("0.9"), Ok(0.9));
        assert_eq!(confidence_parser("95%"), Ok(0.95));
        assert_eq!(confidence_parser("95"), Ok(0.95));
        for bad in ["1", "0.2", "101", "NaN", "", "%"] {
            assert!(confidence_parser(bad).is_err(), "{bad}");
        }
        assert!(confidence(Some(PlanKind::Quick), Some(0.9)).is_err());
        assert_eq!(confidence(None, None).ok(), Some(CONFIDENCE_DEFAULT));
    }

    #[test]
    fn every_plan_says_what_it_covers() {
        let instrument = modern_88("x", InstrumentKind::Grand);
        for kind in [PlanKind::Quick, PlanKind::Full, PlanKind::Adaptive] {
            let (pins, text) = kind.pins(&instrument);
            assert!(pins.len() > 30, "{text}");
            assert!(text.contains(kind.word()) && text.contains("check pin"), "{text}");
        }
        assert!(PlanKind::Full.pins(&instrument).1.contains("all 227 pins"));
    }
}
