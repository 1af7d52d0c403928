//! What the user's own work costs: a price file, never a price of ours.
//!
//! Time and money vary widely and are local. What has no price is not compared; without a file no
//! currency appears anywhere.

use serde::Deserialize;
use thiserror::Error;

use super::RemedyKind;
use crate::toml_file;

/// What a file says it is.
const FORMAT: &str = "pinhold.prices";
/// Version of the format that is read.
const VERSION: i64 = 1;
/// No price is larger.
const PRICE_MAX: f64 = 1e9;
/// Most extra tunings a year, and years looked ahead.
const TUNINGS_MAX: f64 = 52.0;
const YEARS_MAX: f64 = 100.0;
/// Longest word for the currency, and longest file, bytes.
const CURRENCY_CHARACTERS_MAX: usize = 12;
const BYTES_MAX: usize = 64 * 1024;

/// A price file, with what each remedy costs the owner, all in.
pub const TEMPLATE: &str = "\
format = \"pinhold.prices\"
version = 1
# What each costs the owner, all in: work, parts, tunings that go with it. Remove the # where you
# have a price; what has none is not compared.
currency = \"\"                # the word printed behind amounts
# tuning = 0                 # one tuning
# extra_tunings_a_year = 2   # more than usual while it does not hold
# horizon_years = 5          # how far to look ahead

[remedy]
# climate = 0                # steadying the room, and reading again
# elsewhere = 0              # looking for a fault elsewhere
# treat_pin = 0              # each pin treated
# larger_pin = 0             # each larger pin, fitted and tuned in
# rebush = 0
# restring = 0
# repair_block = 0
# plank = 0                  # with strings and whatever goes with it

[look]                       # what finding out costs; nothing where it stands as a remark
# tune = 0                   # asking whether it holds its tune
# diameters = 0              # measuring pins with a calliper
# stain = 0                  # looking for oil, stain and glue
# room = 0                   # logging humidity for some weeks
# plank = 0                  # looking at edges and joints, drawing a pin
# trials = 0                 # fitting a few larger pins and reading them again
";

/// Why a file is no price file.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum PricesError {
    /// Longer than any price file.
    #[error("the file is longer than any price file; is it another file?")]
    TooLong,
    /// Not TOML, a name that is not known, or no number where one belongs.
    #[error("line {line}: {what}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// Another format, or none named.
    #[error("the first lines do not say format = \"{FORMAT}\" and version = 1")]
    OtherFormat,
    /// An amount out of bounds.
    #[error("{name} must be from 0 to {most}")]
    Amount {
        /// Its name.
        name: &'static str,
        /// The most it may be.
        most: f64,
    },
    /// A currency that is no short word.
    #[error("currency must be a word of at most {CURRENCY_CHARACTERS_MAX} characters")]
    Currency,
    /// No remedy has a price.
    #[error("no remedy has a price; fill in at least one under [remedy]")]
    Empty,
}

/// What each remedy costs, in any currency. `None`: not compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RemedyPrices {
    climate: Option<f64>,
    elsewhere: Option<f64>,
    treat_pin: Option<f64>,
    larger_pin: Option<f64>,
    rebush: Option<f64>,
    restring: Option<f64>,
    repair_block: Option<f64>,
    plank: Option<f64>,
}

/// What finding out costs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LookPrices {
    /// Asking whether it holds its tune.
    #[serde(default)]
    pub tune: f64,
    /// Measuring pins with a calliper.
    #[serde(default)]
    pub diameters: f64,
    /// Looking for oil, stain and glue.
    #[serde(default)]
    pub stain: f64,
    /// Logging humidity for some weeks.
    #[serde(default)]
    pub room: f64,
    /// Looking at edges and joints, drawing a pin.
    #[serde(default)]
    pub plank: f64,
    /// Fitting a few larger pins and reading them again.
    #[serde(default)]
    pub trials: f64,
}

/// The user's rates.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Prices {
    format: String,
    version: i64,
    /// Word printed behind amounts; untrusted text.
    #[serde(default)]
    pub currency: String,
    /// One tuning; `None`: living with it is not compared with doing the work over.
    pub tuning: Option<f64>,
    /// Tunings a year beyond the usual while it does not hold.
    #[serde(default)]
    pub extra_tunings_a_year: f64,
    /// Years looked ahead; `None`: the profile's.
    pub horizon_years: Option<f64>,
    #[serde(default)]
    remedy: RemedyPrices,
    /// What finding out costs.
    #[serde(default)]
    pub look: LookPrices,
}

impl Prices {
    /// Reads a price file.
    ///
    /// # Errors
    /// When it is no price file, an amount is out of bounds, or no remedy has a price.
    pub fn read(text: &str) -> Result<Prices, PricesError> {
        if text.len() > BYTES_MAX {
            return Err(PricesError::TooLong);
        }
        let prices: Prices = toml::from_str(text).map_err(|error: toml::de::Error| {
            let (line, what) = toml_file::fault(text, &error);
            match what.contains("`format`") || what.contains("`version`") {
                true => PricesError::OtherFormat,
                false => PricesError::Syntax { line, what },
            }
        })?;
        if prices.format != FORMAT || prices.version != VERSION {
            return Err(PricesError::OtherFormat);
        }
        prices.check()?;
        Ok(prices)
    }

    fn check(&self) -> Result<(), PricesError> {
        let remedy = &self.remedy;
        let remedies = [
            ("climate", remedy.climate),
            ("elsewhere", remedy.elsewhere),
            ("treat_pin", remedy.treat_pin),
            ("larger_pin", remedy.larger_pin),
            ("rebush", remedy.rebush),
            ("restring", remedy.restring),
            ("repair_block", remedy.repair_block),
            ("plank", remedy.plank),
        ];
        let LookPrices { tune, diameters, stain, room, plank, trials } = self.look;
        let others = [
            ("tuning", self.tuning.unwrap_or(0.0)),
            ("look.tune", tune),
            ("look.diameters", diameters),
            ("look.stain", stain),
            ("look.room", room),
            ("look.plank", plank),
            ("look.trials", trials),
        ];
        let amounts = remedies.iter().filter_map(|(name, price)| Some((*name, (*price)?)));
        let within = |value: f64, most: f64| (0.0..=most).contains(&value);
        let bound = |name, value, most| match within(value, most) {
            true => Ok(()),
            false => Err(PricesError::Amount { name, most }),
        };
        for (name, price) in amounts.chain(others) {
            bound(name, price, PRICE_MAX)?;
        }
        bound("extra_tunings_a_year", self.extra_tunings_a_year, TUNINGS_MAX)?;
        bound("horizon_years", self.horizon_years.unwrap_or(0.0), YEARS_MAX)?;
        if self.currency.chars().count() > CURRENCY_CHARACTERS_MAX {
            return Err(PricesError::Currency);
        }
        match remedies.iter().any(|(_, price)| price.is_some()) {
            true => Ok(()),
            false => Err(PricesError::Empty),
        }
    }

    /// What a remedy costs when it goes to so many pins; leaving costs nothing.
    pub fn of(&self, remedy: RemedyKind, pin_count: usize) -> Option<f64> {
        let prices = &self.remedy;
        let each = |price: Option<f64>| price.map(|price| price * pin_count.max(1) as f64);
        match remedy {
            RemedyKind::Leave => Some(0.0),
            RemedyKind::Climate => prices.climate,
            RemedyKind::Elsewhere => prices.elsewhere,
            RemedyKind::Treat => each(prices.treat_pin),
            RemedyKind::Larger => each(prices.larger_pin),
            RemedyKind::Rebush => prices.rebush,
            RemedyKind::Restring => prices.restring,
            RemedyKind::RepairBlock => prices.repair_block,
            RemedyKind::Plank => prices.plank,
            RemedyKind::NotWorth | RemedyKind::Undecided => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "format = \"pinhold.prices\"\nversion = 1\n";

    fn read(rest: &str) -> Result<Prices, PricesError> {
        Prices::read(&format!("{HEAD}{rest}"))
    }

    #[test]
    fn the_template_is_a_price_file_once_a_price_is_filled_in() {
        assert_eq!(Prices::read(TEMPLATE), Err(PricesError::Empty));
        let filled = TEMPLATE.replace("# ", "");
        let all: String = filled
            .lines()
            .filter(|line| !line.starts_with("What each") && !line.starts_with("have a price"))
            .map(|line| format!("{line}\n"))
            .collect();
        // Trailing remarks lost their sign with the rest; cut them.
        let cut: String = all
            .lines()
            .map(|line| match line.split_once("  ") {
                Some((key, _)) => format!("{key}\n"),
                None => format!("{line}\n"),
            })
            .collect();
        let prices = Prices::read(&cut).expect(&cut);
        for remedy in RemedyKind::WEIGHED {
            let priced = prices.of(remedy, 3).is_some();
            assert_eq!(priced, remedy != RemedyKind::NotWorth, "{remedy:?}");
        }
    }

    #[test]
    fn pins_are_priced_each() {
        let prices = read("[remedy]\ntreat_pin = 4\nplank = 9000.5\n").expect("prices");
        assert_eq!(prices.of(RemedyKind::Treat, 7), Some(28.0));
        assert_eq!(prices.of(RemedyKind::Treat, 0), Some(4.0));
        assert_eq!(prices.of(RemedyKind::Plank, 7), Some(9000.5));
        assert_eq!(prices.of(RemedyKind::Larger, 7), None);
        assert_eq!(prices.of(RemedyKind::Leave, 7), Some(0.0));
    }

    #[test]
    fn what_is_no_price_is_refused_by_name_or_line() {
        assert_eq!(Prices::read("[remedy]\nplank = 1\n"), Err(PricesError::OtherFormat));
        let odd = read("[remedy]\nplank = -1\n");
        assert_eq!(odd, Err(PricesError::Amount { name: "plank", most: PRICE_MAX }));
        for text in ["[remedy]\nplank = nan\n", "tuning = inf\n[remedy]\nplank = 1\n"] {
            assert!(matches!(read(text), Err(PricesError::Amount { .. })), "{text}");
        }
        assert!(matches!(read("[remedy]\nplonk = 1\n"), Err(PricesError::Syntax { line: 4, .. })));
        assert_eq!(
            read("currency = \"thirteen long\"\n[remedy]\nplank=1\n"),
            Err(PricesError::Currency)
        );
        assert_eq!(Prices::read(&"#".repeat(70_000)), Err(PricesError::TooLong));
    }
}
