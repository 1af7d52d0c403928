//! The sequence of work, a step at a time, with what cannot be undone and what to mind.
//!
//! The order of remedies is the trade's (common practice, no source): what can be undone first.
//! Figures carry their grade where they stand. Deliberately not here: hours and prices; both are
//! local.

use crate::analysis::input::{Condition, PlankSight};
use crate::analysis::verdict::RemedyKind;
use crate::words::{Language, remedies};

/// A step of the work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// What to do.
    pub text: String,
    /// It cannot be undone.
    pub is_irreversible: bool,
    /// What to mind while doing it.
    pub cautions: Vec<&'static str>,
}

/// What the steps depend on.
#[derive(Clone, Copy, Debug)]
pub struct Job<'a> {
    /// The remedy.
    pub remedy: RemedyKind,
    /// What is known beside torque.
    pub condition: &'a Condition,
    /// Least coil gap recorded, µm.
    pub coil_gap_um: Option<u32>,
}

/// Coil gap from which pins may be tapped deeper, µm: more than 2 mm (PRAC).
const TAP_GAP_UM: u32 = 2_000;

/// Trial pins from which an order may rest on them (DER).
const TRIAL_COUNT_MIN: usize = 2;

const EYES: &str = "A breaking wire whips: protect the eyes, keep the face out of the plane of the \
                    strings; children and pets out of the room.";
const EVENLY: &str = "Slacken and raise in passes over the whole compass, never one end alone: the \
                      frame carries 150 to 200 kN.";
const SUPPORT: &str = "Support plank and keybed before driving; an upright must not tip.";
const GLUE: &str = "Action out, keys covered, air, gloves and goggles; glue may spit at the first \
                    turn and heats cotton. Read its safety data sheet.";
const REBUILDER: &str = "Cracked plate or a plank parted from its seat: no raising of pitch; this \
                         is a rebuilder's work.";
const DUST: &str = remedies::OLD_DUST.to(Language::English);
const LIFT: &str = "Plate, action and case parts want two people or a hoist; uprights fall \
                    backwards.";
const FIRST_FLAT: &str = "Old wire: flat by a little first, watch for rust at coil and bearing; \
                          have the owner's written consent to string breakage.";

fn step(text: &str) -> Step {
    Step { text: text.to_owned(), is_irreversible: false, cautions: Vec::new() }
}

impl Step {
    fn irreversible(mut self) -> Step {
        self.is_irreversible = true;
        self
    }

    fn minding(mut self, cautions: &[&'static str]) -> Step {
        self.cautions.extend_from_slice(cautions);
        self
    }
}

/// The steps of a job, in order.
pub fn steps(job: &Job<'_>) -> Vec<Step> {
    use RemedyKind as R;
    let mut steps = match job.remedy {
        R::Leave => vec![step("Touch up the tuning of the strings whose pins were measured.")],
        R::Climate => vec![
            step("Steady the room: humidifier or dehumidifier, away from heating and sun."),
            step("Log humidity and temperature for six to eight weeks: a plank follows slowly."),
            step("Read the same pins again in the same direction, then decide."),
        ],
        R::Elsewhere => vec![
            step("Look at the joint of plank and back, the gap at the plate flange, plate struts.")
                .minding(&[REBUILDER]),
            step("Look at bridges, bridge pins and downbearing, and at the strings' terminations."),
            step("Set the tuning and hear it again after some weeks."),
        ],
        R::Treat => treat(job),
        R::Rebush => vec![
            step("Draw one pin at the loosest place: bushing or plank?").minding(&[FIRST_FLAT]),
            step("Let the strings down evenly, draw the pins of the place.")
                .minding(&[EYES, EVENLY]),
            step("Renew the bushings, bored in line with the holes of the plank.").irreversible(),
            step("Drive the pins, raise in passes, tune several times.").minding(&[SUPPORT]),
        ],
        R::Larger => larger(job, false),
        R::Restring => larger(job, true),
        R::RepairBlock => repair(),
        R::Plank => plank(),
        R::NotWorth => vec![step("Tell the owner what would be needed and what it would cost.")],
        R::Undecided => vec![step("Find out first what would decide it; nothing to order yet.")],
    };
    if !matches!(job.remedy, R::Leave | R::Climate | R::Elsewhere | R::NotWorth | R::Undecided) {
        steps.push(step(
            "Prove it: the same pins read in the same direction now, and again after some weeks, \
             since new fits relax.",
        ));
    }
    if job.condition.plank == Some(PlankSight::OffBack) {
        steps.insert(
            0,
            step("Before anything else: the plank has left its seat.").minding(&[REBUILDER]),
        );
    }
    steps
}

/// What can be undone first; glue last, since it spoils other repairs.
fn treat(job: &Job<'_>) -> Vec<Step> {
    let mut steps = vec![
        step("Let one string down at a time, only as far as its pin needs.")
            .minding(&[EYES, FIRST_FLAT]),
    ];
    match job.coil_gap_um {
        Some(um) if um <= TAP_GAP_UM => steps.push(step(&format!(
            "No tapping: the least coil gap is {:.1} mm, and tapping wants more than 2 mm.",
            f64::from(um) / 1000.0
        ))),
        gap => {
            let unknown = if gap.is_none() { " (the coil gap was not recorded)" } else { "" };
            steps.push(
                step(&format!(
                    "Tap pins with a coil gap over 2 mm a little deeper{unknown}; the last gap \
                     cannot be had back."
                ))
                .irreversible()
                .minding(&[SUPPORT]),
            );
        }
    }
    steps.extend([
        step("Shim single pins, or fit a longer pin where wood is left below."),
        step("Single larger pins; ream only to true an oval hole.").irreversible(),
    ]);
    if job.condition.contamination == Some(true) {
        steps.push(step("No glue: oil or stain was seen, and glue does not hold on oily wood."));
    } else {
        steps.push(
            step("Thin glue last of all: it spoils later repairs.").irreversible().minding(&[GLUE]),
        );
    }
    steps.push(step("Bring the strings back, tune, and hear them again after some days."));
    steps
}

fn larger(job: &Job<'_>, all: bool) -> Vec<Step> {
    let fitted = job.condition.trials.len();
    let mut steps = if fitted < TRIAL_COUNT_MIN {
        vec![
            step("Fit two or three trial pins in bad and in ordinary holes and read them again.")
                .irreversible()
                .minding(&["Two sizes at once can split a dry plank of thick plies (one report)."]),
            step("Order only after the trial, with spares."),
        ]
    } else {
        vec![step(&format!(
            "{fitted} trial pins are fitted and read: order the size they bear out, with spares \
             (`pinhold trial advice` says whether more are worth their trouble)."
        ))]
    };
    if all {
        steps.push(step("Write down wire sizes and lengths, and send bass strings as patterns."));
        steps.push(step("Let all strings down in passes.").minding(&[EYES, EVENLY, FIRST_FLAT]));
        steps.push(step("Take off strings and pins; brush holes, look down each with a light."));
    } else {
        steps.push(
            step("Let the strings of the place down in passes, with their neighbours.")
                .minding(&[EYES, EVENLY, FIRST_FLAT]),
        );
        steps.push(step("Turn the pins out, coils and beckets kept where wire is used again."));
    }
    if job.condition.bushed_plate == Some(true) {
        steps.push(step("Bushings: bored for the new size, in line with the holes of the plank."));
    }
    steps.push(step("Ream only what is oval.").irreversible());
    steps.push(
        step("Drive the new pins to the height of their neighbours.")
            .irreversible()
            .minding(&[SUPPORT]),
    );
    steps.push(step("Raise in passes; tune four times or more over the next weeks."));
    steps
}

fn repair() -> Vec<Step> {
    vec![
        step("Confirm first what the verdict lists: one drawn pin, a light down the hole."),
        step("Let the strings down evenly, take off those of the place.")
            .minding(&[EYES, EVENLY, FIRST_FLAT]),
        step(
            "Bore out the row or patch as far as the wood is bad, plug with quarter-sawn maple \
              or beech, or inlay a strip; glue as the wood and its oil allow.",
        )
        .irreversible()
        .minding(&[DUST]),
        step("Try bits in scrap of the same wood, read the friction, then drill.").irreversible(),
        step("Drive pins, raise in passes, tune several times.").minding(&[SUPPORT]),
    ]
}

fn plank() -> Vec<Step> {
    vec![
        step(
            "Confirm first what the verdict lists; nothing is ordered before parted plies, or no \
              size left, are seen.",
        ),
        step("Write down wire sizes, lengths, downbearing and plate position."),
        step("Let all strings down in passes; take off strings, then the plate.")
            .minding(&[EYES, EVENLY, LIFT, REBUILDER]),
        step("Take out the old plank; keep it as the pattern.").irreversible().minding(&[DUST]),
        step("Fit the new plank to the plate flange over its whole length before it is fixed."),
        step("Try bits in scrap of the same plank, read the friction, then drill.").irreversible(),
        step("New bushings where the plate is bored for them; smallest common pins leave room."),
        step("String, raise in passes over weeks, tune several times.").minding(&[EYES, SUPPORT]),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(remedy: RemedyKind, condition: &Condition, coil_gap_um: Option<u32>) -> Vec<Step> {
        steps(&Job { remedy, condition, coil_gap_um })
    }

    #[test]
    fn every_remedy_has_steps_and_irreversible_ones_say_so() {
        let condition = Condition::default();
        for remedy in RemedyKind::WEIGHED {
            let steps = of(remedy, &condition, None);
            assert!(!steps.is_empty(), "{remedy:?}");
            let marked = steps.iter().any(|step| step.is_irreversible);
            assert_eq!(marked, remedy.is_irreversible(), "{remedy:?}");
        }
    }

    #[test]
    fn what_was_seen_rules_steps_out() {
        let oily = Condition { contamination: Some(true), ..Condition::default() };
        let text = |steps: &[Step]| {
            steps.iter().map(|step| step.text.as_str()).collect::<Vec<_>>().join("\n")
        };
        let narrow = text(&of(RemedyKind::Treat, &oily, Some(1_500)));
        assert!(narrow.contains("No tapping: the least coil gap is 1.5 mm"), "{narrow}");
        assert!(narrow.contains("No glue") && !narrow.contains("Thin glue"), "{narrow}");
        let wide = text(&of(RemedyKind::Treat, &Condition::default(), Some(3_000)));
        assert!(wide.contains("Tap pins") && wide.contains("Thin glue"), "{wide}");
        let off = Condition { plank: Some(PlankSight::OffBack), ..Condition::default() };
        assert!(of(RemedyKind::Larger, &off, None)[0].cautions.contains(&REBUILDER));
    }
}
