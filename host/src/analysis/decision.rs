//! Choosing by expected cost, and what an observation is worth before one acts.
//!
//! States of the world have chances, actions have a cost in each state, an observation has outcomes
//! whose chances depend on the state. All by Bayes' rule and the expected value (Raiffa, *Decision
//! Analysis*, 1968). Deliberately not here: which states, actions and observations a plank has, and
//! in what the user counts cost.
//!
//! Invariant: nothing is chosen where a number is not finite or chances do not add up.

/// How far chances may fall short of adding up to 1.
const SUM_TOLERANCE: f64 = 1e-9;

/// Actions against states.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    chances: Vec<f64>,
    /// `costs[action][state]`; a gain is a negative cost.
    costs: Vec<Vec<f64>>,
}

/// An observation that may be made before one acts.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// `likelihood[outcome][state]`: chance of the outcome in the state. Over the outcomes each
    /// state's add up to 1.
    pub likelihood: Vec<Vec<f64>>,
    /// What making it costs, in the unit of the costs.
    pub cost: f64,
}

/// One outcome of an observation.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Chance of it, 0–1.
    pub chance: f64,
    /// Chances of the states after it.
    pub posterior: Vec<f64>,
    /// The action of least expected cost then.
    pub action: usize,
    /// That cost.
    pub cost: f64,
}

/// What an observation is worth.
#[derive(Clone, Debug, PartialEq)]
pub struct Worth {
    /// Its outcomes.
    pub outcomes: Vec<Outcome>,
    /// Expected cost when acting after it, its own not included.
    pub cost_after: f64,
    /// Fall of the expected cost, its own cost not included; never below 0 but for rounding.
    pub gross: f64,
    /// The same less what it costs: worth making where above 0.
    pub net: f64,
}

impl Problem {
    /// From chances of the states and costs of each action in each state.
    ///
    /// `None` when there is no action, a number is not finite, a chance is negative, they do not
    /// add up to 1, or an action's costs are not as many as the states.
    pub fn new(chances: &[f64], costs: Vec<Vec<f64>>) -> Option<Problem> {
        let is_whole = |costs: &Vec<f64>| {
            costs.len() == chances.len() && costs.iter().all(|cost| cost.is_finite())
        };
        let is_good = !costs.is_empty() && costs.iter().all(is_whole) && adds_up(chances.iter());
        is_good.then(|| Problem { chances: chances.to_vec(), costs })
    }

    /// Chances of the states.
    pub fn chances(&self) -> &[f64] {
        &self.chances
    }

    /// Expected cost of each action.
    pub fn expected_costs(&self) -> Vec<f64> {
        self.costs.iter().map(|costs| expected(&self.chances, costs)).collect()
    }

    /// The action of least expected cost, the first of equals, and that cost.
    pub fn best(&self) -> (usize, f64) {
        self.best_with(&self.chances)
    }

    fn best_with(&self, chances: &[f64]) -> (usize, f64) {
        let each = self.costs.iter().map(|costs| expected(chances, costs)).enumerate();
        each.fold(
            (0, f64::INFINITY),
            |best, (action, cost)| {
                if cost < best.1 { (action, cost) } else { best }
            },
        )
    }

    /// Fall of the expected cost if the state were known before acting: no observation is worth
    /// more.
    pub fn perfect_information(&self) -> f64 {
        let least = |state: usize| {
            self.costs.iter().map(|costs| costs[state]).fold(f64::INFINITY, f64::min)
        };
        let known = self.chances.iter().enumerate();
        self.best().1 - known.fold(0.0, |sum, (state, chance)| sum + chance * least(state))
    }

    /// What an observation is worth. `None` when it does not fit the states, or its chances do not
    /// add up in one of them.
    pub fn worth(&self, observation: &Observation) -> Option<Worth> {
        let fits = |row: &Vec<f64>| row.len() == self.chances.len();
        let adds = (0..self.chances.len())
            .all(|state| adds_up(observation.likelihood.iter().filter_map(|row| row.get(state))));
        if !observation.likelihood.iter().all(fits) || !adds || !observation.cost.is_finite() {
            return None;
        }
        let outcomes: Vec<Outcome> =
            observation.likelihood.iter().map(|row| self.outcome(row)).collect();
        let cost_after = outcomes.iter().fold(0.0, |sum, o| sum + o.chance * o.cost);
        let gross = self.best().1 - cost_after;
        Some(Worth { outcomes, cost_after, gross, net: gross - observation.cost })
    }

    fn outcome(&self, likelihood: &[f64]) -> Outcome {
        let joint: Vec<f64> = self.chances.iter().zip(likelihood).map(|(p, l)| p * l).collect();
        let chance = joint.iter().fold(0.0, |sum, p| sum + p);
        let posterior: Vec<f64> = if chance > 0.0 {
            joint.iter().map(|p| p / chance).collect()
        } else {
            // It never comes: nothing is learned from it.
            self.chances.clone()
        };
        let (action, cost) = self.best_with(&posterior);
        Outcome { chance, posterior, action, cost }
    }
}

fn adds_up<'a>(chances: impl Iterator<Item = &'a f64>) -> bool {
    let mut sum = 0.0;
    for chance in chances {
        if !(*chance >= 0.0 && chance.is_finite()) {
            return false;
        }
        sum += chance;
    }
    (sum - 1.0).abs() <= SUM_TOLERANCE
}

fn expected(chances: &[f64], costs: &[f64]) -> f64 {
    chances.iter().zip(costs).fold(0.0, |sum, (chance, cost)| sum + chance * cost)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn shares(weights: &[f64]) -> Vec<f64> {
        let sum: f64 = weights.iter().sum();
        weights.iter().map(|weight| weight / sum).collect()
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        assert!(Problem::new(&[0.5, 0.5], vec![]).is_none());
        assert!(Problem::new(&[0.5, 0.4], vec![vec![0.0, 1.0]]).is_none());
        assert!(Problem::new(&[1.5, -0.5], vec![vec![0.0, 1.0]]).is_none());
        assert!(Problem::new(&[0.5, 0.5], vec![vec![0.0]]).is_none());
        assert!(Problem::new(&[0.5, 0.5], vec![vec![0.0, f64::NAN]]).is_none());
        let problem = Problem::new(&[0.5, 0.5], vec![vec![0.0, 1.0]]).expect("a problem");
        let of = |likelihood: Vec<Vec<f64>>| problem.worth(&Observation { likelihood, cost: 0.0 });
        assert!(of(vec![vec![0.5]]).is_none());
        assert!(of(vec![vec![0.5, 0.5]]).is_none());
        assert!(of(vec![vec![1.0, 1.0]]).is_some());
    }

    #[test]
    fn an_observation_that_tells_all_is_worth_as_much_as_knowing() {
        let problem = Problem::new(&[0.3, 0.7], vec![vec![0.0, 10.0], vec![4.0, 1.0]]).unwrap();
        let tells = Observation { likelihood: vec![vec![1.0, 0.0], vec![0.0, 1.0]], cost: 0.25 };
        let worth = problem.worth(&tells).unwrap();
        // By hand: 0.3·4 + 0.7·1 = 1.9 now; 0.7 when known.
        assert!((problem.best().1 - 1.9).abs() < 1e-12);
        assert!((worth.gross - 1.2).abs() < 1e-12 && (worth.net - 0.95).abs() < 1e-12);
        assert!((problem.perfect_information() - 1.2).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn no_observation_is_worth_less_than_nothing_or_more_than_knowing(
            weights in prop::collection::vec(0.01..1.0_f64, 3),
            costs in prop::collection::vec(prop::collection::vec(-100.0..100.0_f64, 3), 1..5),
            first in prop::collection::vec(0.0..1.0_f64, 3),
        ) {
            let problem = Problem::new(&shares(&weights), costs).expect("a problem");
            let second = first.iter().map(|chance| 1.0 - chance).collect();
            let observation = Observation { likelihood: vec![first, second], cost: 0.0 };
            let worth = problem.worth(&observation).expect("it fits");
            prop_assert!(worth.gross >= -1e-9);
            prop_assert!(worth.gross <= problem.perfect_information() + 1e-9);
            let chances: f64 = worth.outcomes.iter().map(|outcome| outcome.chance).sum();
            prop_assert!((chances - 1.0).abs() < 1e-9);
        }
    }
}
