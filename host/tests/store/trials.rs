//! Trial pins: kept as they are, withdrawn and not changed.

use pinhold::analysis::gain::Trial;
use pinhold::analysis::input::Estimate;
use pinhold::store::{NewTrial, Store, StoreError, SurveySource, TrialSource};
use tempfile::TempDir;

use crate::sample::{instrument, survey, trial};

#[test]
fn trial_pins_come_back_as_they_were_and_withdrawn_ones_count_no_more() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let other = store.create_instrument(&instrument("y")).unwrap();
    let survey = store.begin_survey(id, &survey(1, SurveySource::Import)).unwrap();
    let pins = instrument("x").instrument.pins;
    let first = trial(pins[0].pin);
    let second = NewTrial {
        before: TrialSource::Survey(survey),
        after: TrialSource::Survey(survey),
        ..trial(pins[1].pin)
    };
    let a = store.keep_trial(id, &first).unwrap();
    let b = store.keep_trial(id, &second).unwrap();
    let stored = store.trials_of(id).unwrap();
    assert_eq!((&stored[0].new, &stored[1].new), (&first, &second));
    assert_eq!(store.counting_trials(id).unwrap(), [first.trial, second.trial]);
    store.withdraw_trial(id, a, "2026-01-02T00:00:00Z", "wrong pin").unwrap();
    assert_eq!(store.counting_trials(id).unwrap(), [second.trial]);
    let withdrawn = store.trials_of(id).unwrap()[0].withdrawn.clone();
    assert_eq!(withdrawn, Some(("2026-01-02T00:00:00Z".to_string(), "wrong pin".to_string())));
    for (of, number) in [(id, a), (other, b)] {
        let refused = store.withdraw_trial(of, number, "now", "").unwrap_err();
        assert!(matches!(refused, StoreError::NoSuchTrial { .. }), "{refused:?}");
    }
    assert_eq!(store.trials_of(other).unwrap(), []);
}

#[test]
fn what_is_no_trial_is_not_stored() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let good = trial(instrument("x").instrument.pins[0].pin);
    let with = |trial: Trial| NewTrial { trial, ..good.clone() };
    for wild in [f64::NAN, f64::INFINITY, 1e9] {
        let after_nm = Estimate { value: wild, u: 0.1 };
        let refused = store.keep_trial(id, &with(Trial { after_nm, ..good.trial })).unwrap_err();
        assert!(matches!(refused, StoreError::NotStorable { .. }), "{refused:?}");
    }
    let smaller = with(Trial { to_um: good.trial.from_um, ..good.trial });
    assert!(matches!(store.keep_trial(id, &smaller), Err(StoreError::Database { .. })));
    assert_eq!(store.trials_of(id).unwrap(), []);
}
