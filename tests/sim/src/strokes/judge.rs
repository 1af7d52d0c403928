//! What an attempt really was, and whether the lever dealt with it honestly.
//!
//! All definitions are of the truth, from what a running torque is: the foot of the pin turning
//! at least 0.3° for at least 0.3 s, both ways, under a guided hand, the tip on the head. Between
//! what certainly is that and what certainly is not lies a borderline, shown and not judged.

use pinhold_protocol::record::{Outcome, Reading, reading_flags};

use super::attempt::{Attempt, Intention, PinKind};
use super::truth::Slip;
use super::workshop::{Part, Story};

/// Slip and time that make a running torque.
const RUNNING: (f64, f64) = (0.3, 0.3);
/// Slip and time that are enough with certainty: a third more.
const SURELY_RUNNING: (f64, f64) = (0.4, 0.4);
/// Torque left on a pin when the tip comes off, N·m: below, the lever is lifted, not slipping.
const OFF_NM_MIN: f64 = 1.5;
/// The hand's speed in slip above which it jerks, deg/s: half a degree would be over in 50 ms.
const JERK_DEG_S: f64 = 10.0;
/// The hand's speed in slip up to which it is guided, deg/s.
const GUIDED_DEG_S: f64 = 5.0;
/// Speed of the foot at which the pin jumps by itself, deg/s.
const JUMP_DEG_S: f64 = 15.0;
/// Torque by which the string drives the pin beyond doubt, N·m.
const DRIVEN_NM: f64 = 0.3;
/// Turning of the foot too small to matter to anything, degrees.
const NOTHING_DEG: f64 = 0.05;

/// What a part of an attempt really was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Label {
    /// Running torque both ways.
    Good,
    /// The pin was not moved by all the hand would give.
    NotMoved,
    /// A weak pin ran flat while it was held back, and the hand left it at that.
    RanFlat,
    /// The pin jumped: no slip of it is guided.
    Jumped,
    /// The tip came off the head under load.
    SlipOff,
    /// The hand jerked.
    Jerk,
    /// The foot was not moved one way or both.
    Half,
    /// The foot was moved, and not enough one way or both.
    TooShort,
    /// Neither good nor spoiled beyond doubt.
    Borderline,
}

impl Label {
    /// Whether a reading of F and M would be wrong to give.
    pub fn is_spoiled(self) -> bool {
        matches!(self, Label::SlipOff | Label::Jerk | Label::Half | Label::TooShort)
    }

    /// Whether it is a pin that has no ordinary reading, and words of its own.
    pub fn is_odd(self) -> bool {
        matches!(self, Label::NotMoved | Label::RanFlat | Label::Jumped)
    }
}

fn reaches(slip: &Slip, least: (f64, f64)) -> bool {
    slip.turned_deg >= least.0 && slip.lasted_s >= least.1
}

/// Whether some slip that way reaches what is asked, under a guided hand.
fn has(slips: &[Slip], sharp: bool, least: (f64, f64)) -> bool {
    slips.iter().any(|s| s.sharp == sharp && reaches(s, least) && s.hand_deg_s_max < JERK_DEG_S)
}

/// Whether the pin jumped by itself.
fn jumped(slips: &[&Slip]) -> bool {
    slips.iter().any(|s| s.foot_deg_s_max >= JUMP_DEG_S && s.hand_deg_s_max <= GUIDED_DEG_S)
}

/// What a part really was.
pub fn label(attempt: &Attempt, part: &Part) -> Label {
    if let Some(off_nm) = part.off_at_nm {
        return if off_nm.abs() >= OFF_NM_MIN { Label::SlipOff } else { Label::Borderline };
    }
    let real: Vec<&Slip> = part.slips.iter().filter(|s| s.turned_deg >= NOTHING_DEG).collect();
    let fastest = real.iter().fold(0.0, |most: f64, s| most.max(s.hand_deg_s_max));
    if fastest >= JERK_DEG_S {
        return Label::Jerk;
    }
    if real.is_empty() && part.peak_nm >= 0.97 * attempt.hand.torque_limit_nm {
        return Label::NotMoved;
    }
    let whole = matches!(attempt.intention, Intention::Good | Intention::NoSet | Intention::TooFar);
    if whole && attempt.pin == PinKind::Jumpy && jumped(&real) {
        return Label::Jumped;
    }
    let ran_flat = |s: &&Slip| !s.sharp && reaches(s, RUNNING) && s.running_nm < -DRIVEN_NM;
    if whole && real.iter().all(|s| !s.sharp) && real.iter().copied().any(|s| ran_flat(&s)) {
        return Label::RanFlat;
    }
    let both = |slips, least| has(slips, false, least) && has(slips, true, least);
    if !both(&part.joined, RUNNING) {
        let moved = |sharp| real.iter().any(|s| s.sharp == sharp);
        return if moved(false) && moved(true) { Label::TooShort } else { Label::Half };
    }
    if both(&part.slips, SURELY_RUNNING) && fastest <= GUIDED_DEG_S {
        Label::Good
    } else {
        Label::Borderline
    }
}

/// How the lever dealt with a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dealt {
    /// F and M reported, and right.
    Measured,
    /// Reported with a value that is wrong, or that it has no right to.
    Wrong,
    /// A lesser result in honest words.
    Lesser,
    /// Not accepted.
    Refused,
}

/// A judged part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// What it was.
    pub label: Label,
    /// What the lever made of it.
    pub dealt: Dealt,
    /// Error of F over what is allowed, where F was given.
    pub friction_of_allowed: Option<f64>,
    /// Error of M over what is allowed, where M was given.
    pub moment_of_allowed: Option<f64>,
}

/// The slip a running torque that way could come from: the first that is long enough.
fn source(part: &Part, sharp: bool) -> Option<&Slip> {
    part.joined.iter().find(|s| s.sharp == sharp && reaches(s, (0.25, 0.25)))
}

/// Judges a part.
pub fn judge_part(attempt: &Attempt, part: &Part) -> Verdict {
    let label = label(attempt, part);
    let mut verdict = Verdict {
        label,
        dealt: Dealt::Refused,
        friction_of_allowed: None,
        moment_of_allowed: None,
    };
    let Some(reading) = &part.reading else { return verdict };
    errors(attempt, part, reading, &mut verdict);
    let right = [verdict.friction_of_allowed, verdict.moment_of_allowed]
        .iter()
        .all(|error| error.is_none_or(|of_allowed| of_allowed.abs() <= 3.0));
    verdict.dealt = match reading.outcome {
        Outcome::Measured if right && !label.is_spoiled() => Dealt::Measured,
        Outcome::Measured => Dealt::Wrong,
        // Running torque of a pin that jumps is the mean over its jumps, and said to be that.
        _ if label == Label::Jumped => Dealt::Lesser,
        // After slipping off nothing at all may be accepted.
        _ if label == Label::SlipOff => Dealt::Wrong,
        Outcome::FlatOnly if !has(&part.joined, false, RUNNING) => Dealt::Wrong,
        Outcome::SharpOnly if !has(&part.joined, true, RUNNING) => Dealt::Wrong,
        Outcome::AboveLimit if label != Label::NotMoved => Dealt::Wrong,
        _ => Dealt::Lesser,
    };
    verdict
}

/// Errors of F and M over what is allowed: 5 % of F or 0.2 N·m, and what the bearing holds.
fn errors(attempt: &Attempt, part: &Part, reading: &Reading, verdict: &mut Verdict) {
    let (Some(friction), Some(moment)) = (reading.friction, reading.string_moment) else { return };
    let (Some(flat), Some(sharp)) = (source(part, false), source(part, true)) else { return };
    // What the pin took less what the string did, each way, and both strokes alike.
    let really_nm =
        ((flat.running_nm + flat.moment_nm) + (sharp.running_nm - sharp.moment_nm)) / 2.0;
    let bearing_nm = attempt.piano_pin().bearing_friction * part.moment_before_nm;
    let allowed_nm = (0.05 * really_nm).max(0.2) + bearing_nm;
    verdict.friction_of_allowed = Some((friction.newton_metres() - really_nm) / allowed_nm);
    let moment_error_nm = moment.newton_metres() - part.moment_before_nm;
    verdict.moment_of_allowed = Some(moment_error_nm / (allowed_nm + bearing_nm));
}

/// A word for an odd pin or stroke.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Word {
    /// Runs flat while held back.
    NotHolding,
    /// Turned on seating.
    MovedOnSeating,
    /// Moves in jumps.
    Jumpy,
    /// High first break.
    HighFirstBreak,
    /// Spongy.
    Spongy,
    /// Above what the lever may do.
    AboveLimit,
    /// Slack string.
    Slack,
    /// No string.
    Unstrung,
    /// Gone too far.
    TooFar,
}

/// All words, in the order shown.
pub const WORDS: [Word; 9] = [
    Word::NotHolding,
    Word::MovedOnSeating,
    Word::Jumpy,
    Word::HighFirstBreak,
    Word::Spongy,
    Word::AboveLimit,
    Word::Slack,
    Word::Unstrung,
    Word::TooFar,
];

/// Farthest the foot went one way without turning back, degrees.
fn farthest_deg(slips: &[Slip]) -> f64 {
    let (mut most_deg, mut way, mut gone_deg) = (0.0f64, None, 0.0);
    for slip in slips {
        gone_deg =
            if way == Some(slip.sharp) { gone_deg + slip.turned_deg } else { slip.turned_deg };
        way = Some(slip.sharp);
        most_deg = most_deg.max(gone_deg);
    }
    most_deg
}

/// Whether a word should have been said: `None` where the truth lies between.
fn due(word: Word, attempt: &Attempt, story: &Story, part: &Part) -> Option<bool> {
    let band = |value: f64, no: f64, yes: f64| match value {
        v if v >= yes => Some(true),
        v if v <= no => Some(false),
        _ => None,
    };
    let is = |kind| Some(attempt.pin == kind);
    match word {
        Word::NotHolding => {
            let flat = part.slips.iter().filter(|s| !s.sharp && reaches(s, RUNNING));
            let most_driven_nm = flat.map(|s| -s.running_nm).reduce(f64::max)?;
            band(most_driven_nm, 0.0, DRIVEN_NM)
        }
        // What turns under next to no torque cannot be told from a lever in the air.
        Word::MovedOnSeating => {
            band(story.seating_deg, 0.05, 0.4).filter(|due| !due || story.seating_nm > 1.2)
        }
        Word::Jumpy => {
            if label(attempt, part) == Label::Jumped {
                Some(true)
            } else if matches!(attempt.pin, PinKind::Jumpy | PinKind::Glued | PinKind::Driven) {
                None
            } else {
                Some(false)
            }
        }
        Word::HighFirstBreak => {
            // A pin turned on seating has had its first break.
            let fresh = story.seating_deg < 0.01;
            let ratio = attempt.piano_pin().grip.first_break_ratio;
            // What it was over can be told only where F was there to be measured.
            let measurable = label(attempt, part) == Label::Good;
            if fresh && measurable { band(ratio, 1.2, 1.4) } else { None }
        }
        Word::Spongy => is(PinKind::Spongy),
        Word::AboveLimit => Some(label(attempt, part) == Label::NotMoved),
        // M must have been there to be measured.
        Word::Slack if label(attempt, part) != Label::Good => None,
        Word::Slack if attempt.pin == PinKind::Unstrung => None,
        Word::Slack => band(-part.moment_before_nm, -1.1, -0.35),
        Word::Unstrung => is(PinKind::Unstrung),
        // A pin that runs by itself goes on when all is said.
        Word::TooFar if label(attempt, part) == Label::RanFlat => None,
        Word::TooFar => band(farthest_deg(&part.slips), 0.75, 1.1),
    }
}

/// Whether a word was said.
fn said(word: Word, reading: &Reading) -> bool {
    let flag = |bits: u16| reading.flags & bits != 0;
    match word {
        Word::NotHolding => flag(reading_flags::NOT_HOLDING),
        Word::MovedOnSeating => {
            flag(reading_flags::MOVED_ON_SEATING) || reading.outcome == Outcome::MovedOnSeating
        }
        Word::Jumpy => flag(reading_flags::JUMPY),
        Word::HighFirstBreak => flag(reading_flags::HIGH_FIRST_BREAK),
        Word::Spongy => flag(reading_flags::SPONGY),
        Word::AboveLimit => reading.outcome == Outcome::AboveLimit && flag(reading_flags::HARD),
        Word::Slack => flag(reading_flags::SLACK),
        Word::Unstrung => flag(reading_flags::UNSTRUNG),
        Word::TooFar => flag(reading_flags::TOO_FAR),
    }
}

/// A word that was due or was not, and whether it was said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spoken {
    /// The word.
    pub word: Word,
    /// It was due.
    pub due: bool,
    /// It was said.
    pub said: bool,
    /// There was no reading to say it in.
    pub refused: bool,
}

/// All that was found about an attempt.
#[derive(Clone, Debug)]
pub struct Judged {
    /// The gesture; `None` when the lever was never ready for it.
    pub gesture: Option<Verdict>,
    /// Proper tries after it.
    pub tries: Vec<Verdict>,
    /// Words about the gesture, when it was not spoiled.
    pub words: Vec<Spoken>,
}

/// Judges an attempt.
pub fn judge(attempt: &Attempt, story: &Story) -> Judged {
    let gesture = (!story.never_ready).then(|| judge_part(attempt, &story.gesture));
    let tries = story.tries.iter().map(|part| judge_part(attempt, part)).collect();
    let mut words = Vec::new();
    if let Some(verdict) = gesture
        && (verdict.label == Label::Good || verdict.label.is_odd())
    {
        for word in WORDS {
            let Some(due) = due(word, attempt, story, &story.gesture) else { continue };
            let reading = story.gesture.reading.as_ref();
            let said = reading.is_some_and(|reading| said(word, reading));
            words.push(Spoken { word, due, said, refused: reading.is_none() });
        }
    }
    Judged { gesture, tries, words }
}
