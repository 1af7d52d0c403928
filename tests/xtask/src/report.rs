//! Times parts, counts tests, and draws the closing table.

use std::time::{Duration, Instant};

/// What the test harness counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Count {
    pub(crate) passed: u64,
    pub(crate) failed: u64,
}

impl Count {
    /// Adds what a line of a test harness says; other lines count nothing.
    pub(crate) fn take_line(&mut self, line: &str) {
        let Some(rest) = line.trim().strip_prefix("test result: ") else { return };
        for part in rest.split([';', '.']) {
            let mut words = part.split_whitespace();
            let (number, what) = (words.next(), words.next());
            let Some(number) = number.and_then(|number| number.parse::<u64>().ok()) else {
                continue;
            };
            match what {
                Some("passed") => self.passed += number,
                Some("failed") => self.failed += number,
                _ => {}
            }
        }
    }
}

struct Part {
    name: String,
    took: Duration,
    count: Count,
}

/// The parts done so far.
#[derive(Default)]
pub(crate) struct Report {
    parts: Vec<Part>,
}

impl Report {
    /// Does one part, with a heading. What fails without having counted a failed test counts as
    /// one; a part that runs no tests counts as one.
    pub(crate) fn part(&mut self, name: &str, work: impl FnOnce(&mut Count) -> Result<(), String>) {
        println!("\n== {name}");
        let started = Instant::now();
        let mut count = Count::default();
        let result = work(&mut count);
        if let Err(why) = &result {
            println!("{name}: {why}");
            count.failed = count.failed.max(1);
        } else if count == Count::default() {
            count.passed = 1;
        }
        self.parts.push(Part { name: name.to_owned(), took: started.elapsed(), count });
    }

    /// Prints the table, what failed, and last the plain count; whether all is well. The error
    /// has no text of its own, so that the count stays the last line.
    pub(crate) fn close(&self) -> Result<(), String> {
        println!("\n{}", self.table());
        let failed: Vec<&str> = self
            .parts
            .iter()
            .filter(|part| part.count.failed > 0)
            .map(|part| part.name.as_str())
            .collect();
        if !failed.is_empty() {
            println!("failed: {}", failed.join(", "));
        }
        let total = self.total();
        println!("{} passed, {} failed", total.passed, total.failed);
        if failed.is_empty() { Ok(()) } else { Err(String::new()) }
    }

    fn total(&self) -> Count {
        self.parts.iter().fold(Count::default(), |sum, part| Count {
            passed: sum.passed + part.count.passed,
            failed: sum.failed + part.count.failed,
        })
    }

    fn table(&self) -> String {
        let width = self.parts.iter().map(|part| part.name.len()).max().unwrap_or(0).max(5);
        let mut text = format!("{:width$}  minutes  passed  failed\n", "part");
        let row = |name: &str, took: Duration, count: Count| {
            let minutes = took.as_secs_f64() / 60.0;
            format!("{name:width$}  {minutes:7.1}  {:6}  {:6}\n", count.passed, count.failed)
        };
        for part in &self.parts {
            text += &row(&part.name, part.took, part.count);
        }
        text + &row("total", self.parts.iter().map(|part| part.took).sum(), self.total())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_what_the_harness_says_and_nothing_else() {
        let mut count = Count::default();
        let lines = [
            "test result: ok. 12 passed; 0 failed; 0 ignored; 0 measured; 0 filtered out; \
             finished in 0.00s",
            "test result: FAILED. 3 passed; 2 failed; 0 ignored; 0 measured; 0 filtered out",
            "the phrase 9 passed; 9 failed elsewhere",
        ];
        for line in lines {
            count.take_line(line);
        }
        assert_eq!(count, Count { passed: 15, failed: 2 });
    }

    #[test]
    fn a_part_that_fails_is_counted_and_named() {
        let mut report = Report::default();
        report.part("fine", |_| Ok(()));
        report.part("tests", |count| {
            count.passed = 7;
            Ok(())
        });
        assert_eq!(report.close(), Ok(()));
        report.part("broken", |_| Err("no".to_owned()));
        assert_eq!(report.total(), Count { passed: 8, failed: 1 });
        assert_eq!(report.close(), Err(String::new()));
    }
}
