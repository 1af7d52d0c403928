//! Remedies compared in the user's rates, for `pinhold verdict`.

use std::path::Path;

use serde_json::{Value, json};

use super::exit::{CliError, Exit};
use super::files::text_of;
use crate::analysis::verdict::costs::{CostComparison, compare};
use crate::analysis::verdict::evidence::loose_pins;
use crate::analysis::verdict::look::is_sized;
use crate::analysis::verdict::prices::Prices;
use crate::analysis::{Assessment, Profile};
use crate::condition::ConditionRecord;
use crate::report::terminal::wrap;
use crate::text::printable;
use crate::words::{Said, pages, remedies};

/// Reads a price file.
///
/// # Errors
/// When the file is not there or is no price file.
pub(super) fn read(path: &Path) -> Result<Prices, CliError> {
    let refused = |why: String| {
        let path = printable(&path.to_string_lossy());
        let hint = "`pinhold verdict --price-template` prints one to fill in";
        CliError::new(Exit::Refused, format!("{path} is no price file: {why}; {hint}"))
    };
    Prices::read(&text_of(path)?).map_err(|error| refused(printable(&error.to_string())))
}

/// The remedies of an assessment in the rates of a file.
///
/// # Errors
/// When the file is no price file, or prices nothing that could be compared.
pub(super) fn wanted(
    path: &Path,
    assessment: &Assessment,
    profile: &Profile,
) -> Result<CostComparison, CliError> {
    compared(assessment, &read(path)?, profile).ok_or_else(|| {
        let path = printable(&path.to_string_lossy());
        let sentence = format!("{path} prices no remedy that is open here; fill in [remedy]");
        CliError::new(Exit::Refused, sentence)
    })
}

/// The remedies of an assessment in these rates.
pub(super) fn compared(
    assessment: &Assessment,
    prices: &Prices,
    profile: &Profile,
) -> Option<CostComparison> {
    let verdict = &assessment.verdict;
    let listed: usize = verdict.parts.iter().map(|line| line.pin_count).sum();
    let loose = loose_pins(&assessment.pins).count();
    // A parts list of the whole instrument is no measure of how many single pins want work.
    let is_whole = listed == assessment.pins.len();
    let pin_count = if is_whole { loose } else { listed.max(loose) };
    let sized = is_sized(&assessment.pins);
    let horizon_years = profile.horizon_years.value;
    compare(verdict, prices, (pin_count, sized), horizon_years)
}

/// As a document; amounts are in the file's currency.
pub(super) fn value(compared: &CostComparison) -> Value {
    json!({
        "currency": printable(&compared.currency),
        "horizon_years": compared.horizon_years,
        "remedies": compared.remedies.iter().map(|row| json!({
            "remedy": row.remedy.word(), "price": row.price, "holds": row.holds,
            "expected": row.expected,
        })).collect::<Vec<_>>(),
        "unpriced": compared.unpriced.iter().map(|remedy| remedy.word()).collect::<Vec<_>>(),
        "ruled_out": compared.ruled_out.iter().map(|(remedy, why)| json!({
            "remedy": remedy.word(), "why": &**why,
        })).collect::<Vec<_>>(),
        "looks": compared.looks.iter().map(|look| json!({
            "look": look.look.word(), "price": look.price, "net": look.net,
        })).collect::<Vec<_>>(),
        "certainty_worth": compared.certainty_worth,
    })
}

/// As text.
pub(super) fn text(compared: &CostComparison, recorded: &ConditionRecord, width: usize) -> String {
    let currency = printable(&compared.currency);
    let unit = if currency.is_empty() { String::new() } else { format!(" {currency}") };
    let amount = |amount: f64| format!("{amount:.0}{unit}");
    let mut text = format!("\nIn your rates, looking {:.0} years ahead\n", compared.horizon_years);
    text += "  remedy          now      holds   expected in all\n";
    for row in &compared.remedies {
        text += &format!(
            "  {:<12} {:>8.0} {:>6.0} %   {:>8.0}{unit}\n",
            row.remedy.word(),
            row.price,
            100.0 * row.holds,
            row.expected
        );
    }
    let mut say = |sentence: String| text += &wrap(&sentence, "", width);
    if !compared.unpriced.is_empty() {
        let words: Vec<Said> =
            compared.unpriced.iter().map(|remedy| remedies::name(*remedy).said()).collect();
        say(pages::unpriced(Said::joined(&words, ", ")).to_string());
    }
    for (remedy, why) in &compared.ruled_out {
        say(pages::ruled_out(remedies::name(*remedy), *why).to_string());
    }
    if let Some(best) = compared.best() {
        say(format!(
            "Least expected cost: {} ({}). How surely each holds is this program's estimate.",
            best.remedy.word(),
            amount(best.expected)
        ));
        if let Some(ceiling) =
            recorded.amount("owner.ceiling").filter(|ceiling| best.price > *ceiling)
        {
            say(format!("That is above the owner's ceiling of {}.", amount(ceiling)));
        }
    }
    match compared.look_first() {
        Some(first) => say(format!(
            "Before acting it pays to {}: worth {} beyond its price; knowing for certain would be \
             worth {}.",
            first.look.question(),
            amount(first.net),
            amount(compared.certainty_worth)
        )),
        None => say(pages::NOTHING_PAYS_FIRST.to_string()),
    }
    text
}
