//! `pinhold lever fit`: the curve through any table of loads and readings, with its covariance.

use std::fmt::Write;
use std::path::PathBuf;

use clap::Args;
use serde_json::{Value, json};

use crate::calibration::load_table::{LoadTable, LoadTableError, fit, parse};
use crate::cli::context::Context;
use crate::cli::exit::{CliError, Exit};
use crate::import::read_file;
use crate::metrology::polynomial::PolynomialFit;
use crate::text::printable;

/// Version of the document.
const VERSION: u32 = 1;

/// Arguments of `pinhold lever fit`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
The file is CSV with the header load,reading; each further line is one point, in any unit. Reading
is regressed on load by least squares, every point counting alike. No lever is asked, nothing is
stored: this is the arithmetic of `pinhold lever calibrate` laid open, to be held against certified
data.

Coefficients come constant first. Standard errors and covariance follow from the scatter of the
residuals; their degrees of freedom are points less coefficients. r² compares with the mean.

Example:
  pinhold lever fit loads.csv --degree 2 --json")]
pub(super) struct FitArguments {
    /// Table of loads and readings
    #[arg(value_name = "FILE.csv")]
    pub file: PathBuf,
    /// 1 for a straight line, 2 for a quadratic
    #[arg(long, value_name = "1|2", default_value_t = 1)]
    #[arg(value_parser = clap::value_parser!(u8).range(1..=2))]
    pub degree: u8,
    /// List what is left at every point as well
    #[arg(long)]
    pub residuals: bool,
}

/// Runs the command.
///
/// # Errors
/// When the file is not there, cannot be read, is no table of loads and readings, or has too few
/// of them.
pub(super) fn run(context: &Context, arguments: &FitArguments) -> Result<(), CliError> {
    let path = &arguments.file;
    let bytes = read_file(path).map_err(|error| CliError::refused(path, &error))?;
    let refused = |error: LoadTableError| match error {
        LoadTableError::File(error) => CliError::refused(path, &error),
        error => {
            let sentence = format!("{}: {error}", path.to_string_lossy());
            CliError::new(Exit::Refused, printable(&sentence))
        }
    };
    let table = parse(&bytes).map_err(refused)?;
    let curve = fit(&table, usize::from(arguments.degree)).map_err(refused)?;
    if context.json {
        return context.print_document(&document(&curve, arguments));
    }
    context.print(&told(&table, &curve, arguments))
}

/// The document; numbers come back from it to the last bit.
fn document(curve: &PolynomialFit, arguments: &FitArguments) -> Value {
    let fit = &curve.fit;
    let mut document = json!({
        "format": "pinhold.lever.fit",
        "version": VERSION,
        "degree": arguments.degree,
        "count": fit.residuals.len(),
        "coefficients": fit.coefficients,
        "standard_errors": fit.standard_errors(),
        "covariance": fit.covariance,
        "residual_sd": fit.residual_sd,
        "r_squared": fit.r_squared,
        "degrees_of_freedom": fit.degrees_of_freedom,
    });
    if arguments.residuals {
        document["residuals"] = json!(fit.residuals);
    }
    document
}

/// Twelve digits, aligned.
fn twelve_digits(value: f64) -> String {
    format!("{:>19}", format!("{value:.11e}"))
}

/// The fit as text.
fn told(table: &LoadTable, curve: &PolynomialFit, arguments: &FitArguments) -> String {
    let fit = &curve.fit;
    let (name, formula) = match arguments.degree {
        1 => ("Straight line", "c0 + c1·load"),
        _ => ("Quadratic", "c0 + c1·load + c2·load²"),
    };
    let mut text = format!(
        "{name} through {} points of {}: reading = {formula}\n\n    {:>19}{:>19}\n",
        fit.residuals.len(),
        printable(&arguments.file.to_string_lossy()),
        "coefficient",
        "standard error",
    );
    // Writing to a String cannot fail.
    for (index, (value, error)) in fit.coefficients.iter().zip(fit.standard_errors()).enumerate() {
        let _ = writeln!(text, "  c{index}{}{}", twelve_digits(*value), twelve_digits(error));
    }
    text.push_str("\nCovariance\n    ");
    for index in 0..fit.coefficients.len() {
        let _ = write!(text, "{:>19}", format!("c{index}"));
    }
    for (index, row) in fit.covariance.iter().enumerate() {
        let cells: String = row.iter().map(|cell| twelve_digits(*cell)).collect();
        let _ = write!(text, "\n  c{index}{cells}");
    }
    let r_squared = if fit.r_squared.is_nan() {
        "not defined: all readings are equal".to_string()
    } else {
        format!("{:.12}", fit.r_squared)
    };
    let _ = writeln!(
        text,
        "\n\nResidual standard deviation  {:.11e}, {} degrees of freedom\nr²  {r_squared}",
        fit.residual_sd, fit.degrees_of_freedom,
    );
    if arguments.residuals {
        text.push_str(&residual_table(table, curve));
    }
    text
}

fn residual_table(table: &LoadTable, curve: &PolynomialFit) -> String {
    let mut text = format!(
        "\n{:>9}{:>19}{:>19}{:>19}{:>19}\n",
        "line", "load", "reading", "fitted", "residual"
    );
    let points = table.lines.iter().zip(&table.loads).zip(&table.readings);
    for (((line, load), reading), residual) in points.zip(&curve.fit.residuals) {
        let numbers = [*load, *reading, curve.value_at(*load), *residual];
        let cells: String = numbers.iter().map(|number| twelve_digits(*number)).collect();
        let _ = writeln!(text, "{line:>9}{cells}");
    }
    text
}
