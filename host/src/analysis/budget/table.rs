//! A budget as it is told: one row per term, with its share of what is left in doubt.
//!
//! Deliberately not here: how it is printed.

use super::{BudgetLine, Quantity, Reach, ReadingBudget, Shape, Size, SizeUnit, Support, Term};

/// All lines of one term together.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetRow {
    /// The term.
    pub term: Term,
    /// What its largest line rests on.
    pub support: Support,
    /// Shape of its largest line.
    pub shape: Shape,
    /// Size of its largest line.
    pub size: Size,
    /// Which numbers share it.
    pub reach: Reach,
    /// One of its lines is wrong one way more than the other.
    pub one_sided: bool,
    /// Lines in it.
    pub line_count: usize,
    /// Contribution to the standard uncertainty of F, M and H.
    pub contribution: [f64; 3],
    /// Share of the variance of F, M and H, 0–1; 0 where the quantity was not formed.
    pub share: [f64; 3],
}

/// Order of the three numbers of a row.
pub(super) const QUANTITIES: [Quantity; 3] =
    [Quantity::Friction, Quantity::Moment, Quantity::HoldingFactor];

/// The budget's rows in the order of their terms; terms that contribute nothing are left out.
pub fn rows(budget: &ReadingBudget) -> Vec<BudgetRow> {
    let totals = QUANTITIES.map(|quantity| budget.estimate(quantity).map_or(0.0, |e| e.u * e.u));
    let mut rows = Vec::new();
    for term in Term::ALL {
        let lines: Vec<&BudgetLine> = budget.lines.iter().filter(|l| l.term == term).collect();
        let mut variance = QUANTITIES.map(|quantity| {
            lines.iter().map(|line| budget.contribution(line, quantity)).map(|u| u * u).sum::<f64>()
        });
        let (size, reach, shape, support) = match largest(budget, &lines) {
            Some(line) => (line.size, line.reach, line.shape, line.support),
            None if term == Term::Direction && budget.cases.len() > 1 => {
                variance = QUANTITIES.map(|q| budget.between_cases(q)).map(|u| u * u);
                let size = Size { value: variance[0].sqrt(), unit: SizeUnit::NewtonMetre };
                (size, Reach::Formed, Shape::KNOWN, Support::Reading)
            }
            None => continue,
        };
        if budget.moment_nm.is_none() {
            variance[1] = 0.0;
        }
        if variance.iter().all(|variance| *variance == 0.0) {
            continue;
        }
        let share = |(part, total): (f64, f64)| if total > 0.0 { part / total } else { 0.0 };
        rows.push(BudgetRow {
            term,
            support,
            shape,
            size,
            reach,
            one_sided: lines.iter().any(|line| line.is_one_sided()),
            line_count: lines.len(),
            contribution: variance.map(f64::sqrt),
            share: [0, 1, 2].map(|at| share((variance[at], totals[at]))),
        });
    }
    rows
}

/// The line with most to say of friction, else of the moment or the factor.
fn largest<'a>(budget: &ReadingBudget, lines: &[&'a BudgetLine]) -> Option<&'a BudgetLine> {
    let weight = |line: &BudgetLine| {
        QUANTITIES.map(|quantity| budget.contribution(line, quantity)).iter().sum::<f64>()
    };
    lines.iter().copied().max_by(|a, b| weight(a).total_cmp(&weight(b)))
}
