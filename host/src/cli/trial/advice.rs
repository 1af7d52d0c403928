//! `pinhold trial advice`: which size where, and whether more trial pins are worth it.

use clap::Args;
use serde_json::{Value, json};

use super::with_unit;
use crate::analysis::gain::{MoreTrials, SizeOutlook, more_trials};
use crate::analysis::verdict::PlaceSizes;
use crate::analysis::{Assessment, PinResult};
use crate::cli::context::{Context, shell_quoted};
use crate::cli::correct::pin_value;
use crate::cli::exit::CliError;
use crate::cli::parsers::name_parser;
use crate::cli::show;
use crate::instrument::InstrumentKind;
use crate::report::{self, terminal::wrap};
use crate::units::TorqueUnit;

/// Arguments of `pinhold trial advice`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
For every place with loose pins: what each larger size would come to there, in friction and in
holding factor (a larger pin gives the string a longer arm, so the factor gains less), the chance
that the middle loose pin reaches what is wanted, the size that risks least, and how many more trial
pins are worth their trouble. Before any trial all of it rests on one documented case in another
plank. Trial pins in bad holes of a place speak for it; others tell less. Where they gained next to
nothing, no size is advised.

Examples:
  pinhold trial advice parlour
  pinhold trial advice parlour --reamed
  pinhold --json trial advice parlour")]
pub struct AdviceArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// The holes will be reamed first
    #[arg(long)]
    pub reamed: bool,
}

/// A place with what more trial pins there are worth.
struct Advised {
    sizes: PlaceSizes,
    more: Option<MoreTrials>,
}

/// Runs the command.
///
/// # Errors
/// When there is no survey of the instrument, or the store fails.
pub(super) fn run(context: &Context, arguments: &AdviceArguments) -> Result<(), CliError> {
    let loaded = context.load(&context.open_store()?, &arguments.name)?;
    let assessment = show::assessed(&loaded);
    let places: Vec<Advised> = assessment
        .verdict
        .sizes
        .iter()
        .map(|sizes| {
            let sizes = if arguments.reamed { sizes.clone().reamed() } else { sizes.clone() };
            let more = more_trials(&sizes.gain, &sizes.place);
            Advised { sizes, more }
        })
        .collect();
    let trial_count = loaded.condition.trials.len();
    let cautions = cautions(loaded.record.instrument.kind, arguments.reamed);
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.trial.advice",
            "version": 1,
            "trial_count": trial_count,
            "reamed": arguments.reamed,
            "unsized_pin_count": unsized_count(&assessment),
            "places": places.iter().map(place_value).collect::<Vec<_>>(),
            "cautions": cautions,
        }));
    }
    let width = show::width();
    let mut text = wrap(&known_words(trial_count), "", width);
    for place in &places {
        text.push_str(&place_text(place, context.unit, width));
    }
    text.push_str(&rest_words(&assessment, &places, &arguments.name, width));
    if !places.is_empty() {
        text.push_str("\nmind\n");
        for caution in cautions {
            text.push_str(&wrap(caution, "  - ", width));
        }
    }
    context.print(&text)
}

fn known_words(trial_count: usize) -> String {
    match trial_count {
        0 => "no trial pin yet: what a larger pin gains rests on one documented case in another \
              plank; fit trial pins before a whole order"
            .to_owned(),
        1 => "1 trial pin so far".to_owned(),
        count => format!("{count} trial pins so far"),
    }
}

/// Loose pins whose diameter nobody entered.
fn unsized_count(assessment: &Assessment) -> usize {
    let loose = |pin: &&PinResult| pin.read && pin.judgement.doubtful_chance > 0.5;
    let pins = assessment.pins.iter().filter(loose);
    pins.filter(|pin| pin.site.diameter_um.is_none()).count()
}

/// What stands beside the places.
fn rest_words(assessment: &Assessment, places: &[Advised], name: &str, width: usize) -> String {
    let name = shell_quoted(name);
    match unsized_count(assessment) {
        0 if places.is_empty() => wrap("no pin is loose: no larger size is asked for", "", width),
        0 => String::new(),
        count => {
            let told = format!(
                "{count} loose pins have no diameter: measure and enter it, as in 'pinhold \
                 instrument edit {name} --pin-um 7160'"
            );
            format!("\n{}", wrap(&told, "", width))
        }
    }
}

fn place_text(Advised { sizes, more }: &Advised, unit: TorqueUnit, width: usize) -> String {
    let PlaceSizes { name, pins, place, gain, trial_counts: (here, elsewhere), outlook } = sizes;
    let factor = place.friction_nm.value / place.moment_nm.value;
    let head = format!(
        "{name}: {} pins of {}, middle loose one {} (holding factor {factor:.1}); {here} trial \
         pins speak for this place, {elsewhere} stood elsewhere",
        pins.len(),
        report::diameter(place.from_um.round() as u32),
        report::torque(place.friction_nm.value, unit),
    );
    let mut text = format!("\n{}", wrap(&head, "", width));
    if outlook.sizes.is_empty() {
        text.push_str(&wrap("no larger size fits there", "  ", width));
        return text;
    }
    for size in &outlook.sizes {
        text.push_str(&wrap(&size_words(size, unit), "  ", width));
    }
    let no_grip = gain.no_grip_chance();
    text.push_str(&wrap(
        &format!("chance that the wood no longer grips there: {:.0} %", 100.0 * no_grip),
        "  ",
        width,
    ));
    let risk = 100.0 * outlook.wrong_size_risk;
    let advised = match outlook.advised_size() {
        Some(size) => format!(
            "advised: {}; chance that this is not the right size: {risk:.0} %",
            report::diameter(size.to_um)
        ),
        None => format!(
            "advised: no larger pin; another remedy is wanted. Chance that a larger one would do \
             all the same: {risk:.0} %"
        ),
    };
    text.push_str(&wrap(&advised, "  ", width));
    if let Some(more) = more {
        text.push_str(&wrap(&more_words(more), "  ", width));
    }
    text
}

fn size_words(size: &SizeOutlook, unit: TorqueUnit) -> String {
    format!(
        "{}: friction {}, holding factor {:.1} ± {:.1}; {} is wanted: reached with chance {:.0} % \
         in the middle, {:.0} % in one hole",
        report::diameter(size.to_um),
        with_unit(size.friction_nm, unit),
        size.holding_factor.value,
        size.holding_factor.u,
        report::torque(size.target_nm, unit),
        100.0 * size.chance,
        100.0 * size.hole_chance,
    )
}

fn more_words(more: &MoreTrials) -> String {
    let size = report::diameter(more.to_um);
    match more.count {
        0 => "no more trial pins are worth their trouble there".to_owned(),
        1 => format!(
            "worth its trouble: 1 more trial pin, {size} in a bad hole there; then ask again"
        ),
        count => format!(
            "worth their trouble: {count} more trial pins, {size} in bad holes there; ask again \
             after each"
        ),
    }
}

fn cautions(kind: InstrumentKind, reamed: bool) -> Vec<&'static str> {
    let mut list = vec![
        "A larger pin cannot be undone: the old size will not hold in its hole again.",
        "Two sizes up at once can split a dry, thick-ply plank (one report): decide after driving \
         a few.",
        "New fits relax: read them again after some weeks.",
        "A breaking wire whips: protect the eyes, keep the face out of the plane of the strings.",
    ];
    if reamed {
        list.insert(1, "Reaming cannot be undone: it trues an oval hole and takes wood away.");
    }
    match kind {
        InstrumentKind::Grand => {
            list.push("Support the plank and the keybed before any pin is driven.");
        }
        InstrumentKind::Upright => {
            list.push("An upright can fall backwards: nobody behind it, two to tilt it.");
        }
    }
    list
}

fn place_value(Advised { sizes, more }: &Advised) -> Value {
    let PlaceSizes { name, pins, place, gain, trial_counts: (here, elsewhere), outlook } = sizes;
    json!({
        "place": name,
        "pins": pins.iter().map(|pin| pin_value(Some(*pin))).collect::<Vec<_>>(),
        "from_um": place.from_um.round(),
        "friction_nm": place.friction_nm.value,
        "moment_at_pitch_nm": place.moment_nm.value,
        "trials_here": here,
        "trials_elsewhere": elsewhere,
        "no_grip_chance": gain.no_grip_chance(),
        "sizes": outlook.sizes.iter().map(size_value).collect::<Vec<_>>(),
        "advised_um": outlook.advised_size().map(|size| size.to_um),
        "wrong_size_risk": outlook.wrong_size_risk,
        "expected_loss": outlook.loss,
        "more_trials": more.map(|more| json!({
            "count": more.count,
            "to_um": more.to_um,
            "expected_fall": more.fall,
            "expected_fall_of_one": more.fall_of_one,
        })),
    })
}

fn size_value(size: &SizeOutlook) -> Value {
    json!({
        "to_um": size.to_um,
        "friction_nm": size.friction_nm.value,
        "friction_u_nm": size.friction_nm.u,
        "holding_factor": size.holding_factor.value,
        "holding_factor_u": size.holding_factor.u,
        "target_nm": size.target_nm,
        "chance": size.chance,
        "hole_chance": size.hole_chance,
    })
}
