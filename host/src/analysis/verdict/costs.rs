//! What each remedy is expected to cost in the user's own rates, and what finding out more is
//! worth before acting.
//!
//! A remedy costs its price now, and, where it does not hold, the dearness of that: extra tunings
//! and the work done over again, or living with it to the horizon where that is cheaper. Chances
//! of the states are the verdict's; an observation's worth is the fall of the least expected cost
//! (`decision`).
//!
//! Deliberately not here: prices of ours. How surely a remedy holds in a state is ours (DER), from
//! the same table that ranks them.

use super::super::decision::{Observation, Problem};
use super::super::input::PlankSight;
use super::look::Look;
use super::prices::Prices;
use super::remedy::{Circumstances, suitability};
use super::state::{PlankState, STATE_COUNT};
use super::{RemedyKind, Verdict};
use crate::words::{Word, remedies};

/// Work on a plank that holds leaves it holding (DER).
const HARMLESS: f64 = 0.95;
/// A new plank holds, whatever ailed the old one (DER).
const NEW_PLANK: f64 = 0.97;
/// Below this chance of holding, doing it over is no way out.
const WAY_OUT_MIN: f64 = 0.2;
/// A gain of less than this share of the least expected cost is none (DER).
const TRIFLE: f64 = 0.01;

/// A remedy in money.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RemedyCost {
    /// The remedy.
    pub remedy: RemedyKind,
    /// Its price now.
    pub price: f64,
    /// Chance that pins hold after it, over the states, 0–1.
    pub holds: f64,
    /// Expected cost to the horizon, its price included.
    pub expected: f64,
}

fn price(look: Look, prices: &Prices) -> f64 {
    let each = &prices.look;
    match look {
        Look::Tune => each.tune,
        Look::Diameters => each.diameters,
        Look::Stain => each.stain,
        Look::Room => each.room,
        Look::Plank => each.plank,
        Look::Trials => each.trials,
    }
}

/// What finding out is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LookWorth {
    /// What.
    pub look: Look,
    /// What it costs.
    pub price: f64,
    /// Fall of the least expected cost, its own price taken off: worth doing where above 0.
    pub net: f64,
}

/// Remedies compared in money.
#[derive(Clone, Debug, PartialEq)]
pub struct CostComparison {
    /// Word printed behind amounts; untrusted.
    pub currency: String,
    /// Years looked ahead.
    pub horizon_years: f64,
    /// Remedies with a price, least expected cost first.
    pub remedies: Vec<RemedyCost>,
    /// Remedies without a price.
    pub unpriced: Vec<RemedyKind>,
    /// Remedies ruled out whatever they cost, and why.
    pub ruled_out: Vec<(RemedyKind, Word)>,
    /// Open observations, the one most worth its price first.
    pub looks: Vec<LookWorth>,
    /// Knowing the state for certain would be worth this: no look is worth more.
    pub certainty_worth: f64,
}

impl CostComparison {
    /// The remedy of least expected cost.
    pub fn best(&self) -> Option<&RemedyCost> {
        self.remedies.first()
    }

    /// What to find out before acting, when any is worth its price and more than a trifle.
    pub fn look_first(&self) -> Option<&LookWorth> {
        let trifle = TRIFLE * self.best().map_or(0.0, |best| best.expected);
        self.looks.first().filter(|look| look.net > trifle)
    }
}

/// Chance that pins hold after a remedy in a state, 0–1.
fn holds(remedy: RemedyKind, state: PlankState, c: &Circumstances) -> f64 {
    use RemedyKind as R;
    let suits = |other: R| suitability(other, state, c);
    let heavier = |others: &[R]| others.iter().fold(suits(remedy), |most, o| most.max(suits(*o)));
    if state == PlankState::FaultElsewhere {
        return suits(remedy).min(if remedy == R::Elsewhere { 1.0 } else { 0.2 });
    }
    let harmless = matches!(state, PlankState::Sound | PlankState::Tight);
    let repair = match remedy {
        R::Leave | R::Climate | R::Elsewhere => suits(remedy),
        // A larger pin does what treating does; a restrung plank what larger pins do; and so on.
        R::Larger => heavier(&[R::Treat]),
        R::Restring => heavier(&[R::Larger]),
        R::RepairBlock => heavier(&[R::Treat, R::Larger]),
        R::Plank => NEW_PLANK,
        _ => suits(remedy),
    };
    if harmless { repair.max(HARMLESS) } else { repair }
}

/// Why a remedy is out of the question, whatever it costs.
fn ruled_out(remedy: RemedyKind, verdict: &Verdict) -> Option<Word> {
    let is_larger = matches!(remedy, RemedyKind::Larger | RemedyKind::Restring);
    if is_larger && verdict.condition.plank == Some(PlankSight::PliesParted) {
        return Some(remedies::PARTED_WIDER);
    }
    (is_larger && verdict.circumstances.room <= 0.0).then_some(remedies::NO_SIZE_LEFT)
}

/// Compares the remedies of a verdict. `pin_count`: pins that single-pin work would go to; `sized`:
/// diameters of loose pins are known; `horizon_years` where the file names none.
pub fn compare(
    verdict: &Verdict,
    prices: &Prices,
    (pin_count, sized): (usize, bool),
    horizon_years: f64,
) -> Option<CostComparison> {
    let horizon_years = prices.horizon_years.unwrap_or(horizon_years);
    let out: Vec<(RemedyKind, Word)> =
        RemedyKind::WEIGHED.into_iter().filter_map(|r| Some((r, ruled_out(r, verdict)?))).collect();
    let is_open = |remedy: &RemedyKind| out.iter().all(|(other, _)| other != remedy);
    let open: Vec<RemedyKind> = RemedyKind::WEIGHED.into_iter().filter(is_open).collect();
    let priced = |remedy: &RemedyKind| Some((*remedy, prices.of(*remedy, pin_count)?));
    let remedies: Vec<(RemedyKind, f64)> = open.iter().filter_map(priced).collect();
    let chances: Vec<f64> = PlankState::ALL
        .iter()
        .map(|state| verdict.states.iter().find(|(s, _)| s == state).map_or(0.0, |(_, p)| *p))
        .collect();
    let c = &verdict.circumstances;
    // Trouble that was given no price is not free.
    let trouble = prices.tuning.map(|tuning| tuning * prices.extra_tunings_a_year);
    let trouble = trouble.filter(|trouble| *trouble > 0.0);
    // Where nothing priced is a way out and tunings have no price, the dearest work stands for it.
    let dearest = remedies.iter().map(|(_, price)| *price).fold(0.0, f64::max);
    let failing = |state: &PlankState| {
        let over = done_over(*state, c, &remedies).map(|over| over + trouble.unwrap_or(0.0));
        let lived_with = trouble.map(|trouble| trouble * horizon_years);
        over.into_iter().chain(lived_with).min_by(f64::total_cmp).unwrap_or(dearest)
    };
    let costs: Vec<Vec<f64>> = remedies
        .iter()
        .map(|(remedy, price)| {
            let in_state =
                |state: &PlankState| price + (1.0 - holds(*remedy, *state, c)) * failing(state);
            PlankState::ALL.iter().map(in_state).collect()
        })
        .collect();
    let problem = Problem::new(&chances, costs)?;
    let expected = problem.expected_costs();
    let mut compared: Vec<RemedyCost> = remedies
        .iter()
        .zip(expected)
        .map(|((remedy, price), expected)| {
            let each = PlankState::ALL.iter().zip(&chances);
            let holds = each.fold(0.0, |sum, (s, p)| sum + p * holds(*remedy, *s, c));
            RemedyCost { remedy: *remedy, price: *price, holds, expected }
        })
        .collect();
    compared.sort_by(|a, b| a.expected.total_cmp(&b.expected).then(a.remedy.cmp(&b.remedy)));
    let unpriced = open.into_iter().filter(|remedy| {
        *remedy != RemedyKind::NotWorth && prices.of(*remedy, pin_count).is_none()
    });
    let mut looks: Vec<LookWorth> = Look::ALL
        .into_iter()
        .filter_map(|look| worth(look, &problem, verdict, sized, prices))
        .collect();
    looks.sort_by(|a, b| b.net.total_cmp(&a.net));
    Some(CostComparison {
        currency: prices.currency.clone(),
        horizon_years,
        remedies: compared,
        unpriced: unpriced.collect(),
        ruled_out: out,
        looks,
        certainty_worth: problem.perfect_information(),
    })
}

/// Least cost of doing it over in a state until it holds; `None` when no priced remedy is a way
/// out.
fn done_over(state: PlankState, c: &Circumstances, remedies: &[(RemedyKind, f64)]) -> Option<f64> {
    remedies
        .iter()
        .filter(|(remedy, _)| *remedy != RemedyKind::Leave)
        .filter_map(|(remedy, price)| {
            let holds = holds(*remedy, state, c);
            (holds >= WAY_OUT_MIN).then(|| price / holds)
        })
        .min_by(f64::total_cmp)
}

fn worth(
    look: Look,
    problem: &Problem,
    verdict: &Verdict,
    sized: bool,
    prices: &Prices,
) -> Option<LookWorth> {
    if !look.is_open(&verdict.condition, sized, verdict.circumstances.room) {
        return None;
    }
    let outcomes = look.outcomes().into_iter();
    let mut likelihood: Vec<Vec<f64>> =
        outcomes.map(|outcome| outcome.evidence.log_fit.map(libm::exp).to_vec()).collect();
    // In every state one of the outcomes comes about.
    for state in 0..STATE_COUNT {
        let sum = likelihood.iter().fold(0.0, |sum, row| sum + row[state]);
        likelihood.iter_mut().for_each(|row| row[state] /= sum);
    }
    let price = price(look, prices);
    let worth = problem.worth(&Observation { likelihood, cost: price })?;
    Some(LookWorth { look, price, net: worth.net })
}

#[cfg(test)]
mod tests {
    use super::super::super::input::{Condition, TuneStability};
    use super::super::super::test_planks::plank;
    use super::super::super::{Assessment, AssessmentInput, Profile, assess};
    use super::*;

    fn prices(rest: &str) -> Prices {
        let head = "format = \"pinhold.prices\"\nversion = 1\ncurrency = \"x\"\n";
        Prices::read(&format!("{head}{rest}")).expect("prices")
    }

    const ALL: &str = "tuning = 100\nextra_tunings_a_year = 2\nhorizon_years = 5\n[remedy]\n\
                       climate = 150\nelsewhere = 200\ntreat_pin = 5\nlarger_pin = 15\n\
                       rebush = 900\nrestring = 3500\nrepair_block = 1500\nplank = 9000\n";

    fn assessed(condition: &Condition, loose: bool) -> Assessment {
        let (instrument, readings) = plank(1, 10.0, 0.12, |place, sound, _| {
            let bad = place.section == 1 && place.row == 1 && place.pin.note % 5 > 0;
            if bad && loose { 3.0 } else { sound }
        });
        let input =
            AssessmentInput { instrument: &instrument, readings: &readings, condition, seed: 1 };
        assess(&input, &Profile::default())
    }

    #[test]
    fn a_sound_plank_is_cheapest_left_alone() {
        let stable = Condition { tune: Some(TuneStability::Stable), ..Condition::default() };
        let assessment = assessed(&stable, false);
        let compared = compare(&assessment.verdict, &prices(ALL), (1, true), 3.0).expect("costs");
        assert_eq!(compared.best().map(|best| best.remedy), Some(RemedyKind::Leave));
        assert_eq!(compared.horizon_years, 5.0);
        assert!(compared.unpriced.is_empty());
        // Nothing that can be found out is worth much where there is little to decide.
        let most = compared.looks.iter().map(|look| look.net).fold(0.0, f64::max);
        assert!(most <= compared.certainty_worth + 1e-9);
        assert!(compared.looks.iter().all(|look| look.look != Look::Tune), "known already");
    }

    #[test]
    fn expected_costs_are_those_of_a_sum_by_hand() {
        let assessment = assessed(&Condition::default(), true);
        let verdict = &assessment.verdict;
        let only = prices("tuning = 100\nextra_tunings_a_year = 2\n[remedy]\nplank = 9000\n");
        let compared = compare(verdict, &only, (10, true), 5.0).expect("costs");
        // Leaving: where it does not hold, 200 a year for five years is less than a plank.
        let c = &verdict.circumstances;
        let by_hand: f64 = verdict
            .states
            .iter()
            .map(|(state, chance)| {
                let holds = super::holds(RemedyKind::Leave, *state, c);
                chance * (1.0 - holds) * 1000.0
            })
            .sum();
        let leave = compared.remedies.iter().find(|r| r.remedy == RemedyKind::Leave).unwrap();
        assert!((leave.expected - by_hand).abs() < 1e-9, "{} {by_hand}", leave.expected);
        assert!(by_hand > 200.0, "{by_hand}");
        assert_eq!(compared.unpriced.len(), 7);
        // Trouble without a number of tunings is not free: doing the work over stands for it.
        let unsaid = prices("tuning = 100\n[remedy]\nplank = 9000\n");
        let compared = compare(verdict, &unsaid, (10, true), 5.0).expect("costs");
        let leave = compared.remedies.iter().find(|r| r.remedy == RemedyKind::Leave).unwrap();
        assert!(leave.expected > by_hand, "{} {by_hand}", leave.expected);
    }

    #[test]
    fn an_open_question_between_dear_answers_is_worth_a_look_that_is_not_too_dear() {
        // Split, or pins that hold and a fault elsewhere: one wants a plank, the other does not.
        let mut verdict = assessed(&Condition::default(), true).verdict;
        verdict.states = vec![(PlankState::Split, 0.5), (PlankState::FaultElsewhere, 0.5)];
        let work = "tuning = 3000\nextra_tunings_a_year = 2\n[remedy]\nelsewhere = 200\n\
                    plank = 9000\n";
        let free = compare(&verdict, &prices(work), (14, true), 5.0).expect("costs");
        let first = free.look_first().expect("worth looking");
        assert!(first.net <= free.certainty_worth, "{first:?}");
        let dear_look = format!(
            "{work}[look]\nplank = 80000\ntune = 80000\nstain = 80000\nroom = 80000\n\
             trials = 80000\n"
        );
        let dear = compare(&verdict, &prices(&dear_look), (14, true), 5.0).expect("costs");
        assert!(dear.look_first().is_none(), "{:?}", dear.looks);
        let same = dear.looks.iter().find(|look| look.look == first.look).expect("the look");
        assert!((first.net - same.net - 80_000.0).abs() < 1e-6);
    }

    #[test]
    fn larger_pins_are_out_where_plies_were_seen_parted() {
        let parted = Condition { plank: Some(PlankSight::PliesParted), ..Condition::default() };
        let verdict = assessed(&parted, true).verdict;
        let compared = compare(&verdict, &prices(ALL), (14, true), 5.0).expect("costs");
        let out: Vec<RemedyKind> = compared.ruled_out.iter().map(|(remedy, _)| *remedy).collect();
        assert_eq!(out, [RemedyKind::Larger, RemedyKind::Restring]);
        assert!(compared.remedies.iter().all(|row| !out.contains(&row.remedy)));
    }

    #[test]
    fn chances_of_holding_are_chances() {
        let verdict = assessed(&Condition::default(), true).verdict;
        for state in PlankState::ALL {
            for remedy in RemedyKind::WEIGHED {
                let p = holds(remedy, state, &verdict.circumstances);
                assert!((0.0..=1.0).contains(&p), "{remedy:?} {state:?} {p}");
            }
        }
    }
}
