//! The whole way once: release firmware under QEMU, a simulated technician on its feed, the
//! `pinhold survey` binary on its line, and the native core on the same samples.

use std::time::Duration;

use pinhold::store::{LeverReading, Store};
use pinhold_e2e::Result;
use pinhold_e2e::build::{firmware_elf, host_binary};
use pinhold_e2e::emulator::Emulator;
use pinhold_e2e::host::{Host, INSTRUMENT};
use pinhold_e2e::recording::{Fed, Recording};
use pinhold_e2e::technician::{Technician, pin_of};
use pinhold_lever::Identity;
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX, SampleCoverage, encode_record};
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::Hand;
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};
use tempfile::TempDir;

/// Longest time for the whole survey; it takes about half a minute.
const SURVEY_LIMIT: Duration = Duration::from_secs(300);
const SEED: u64 = 23;
const SOUND_PIN_COUNT: usize = 10;
const LOOSE_PIN_COUNT: usize = 3;

const IDENTITY: Identity =
    Identity { device: 0xfedc_ba98_7654_3210, epoch: 3, sample_period_ns: 1_000_000 };

/// Which pins are surveyed: loose ones among sound ones, spread over the compass.
fn chosen(piano: &Piano) -> Vec<usize> {
    let pick = |loose: bool, count: usize| {
        let all: Vec<usize> =
            (0..piano.pins.len()).filter(|index| piano.pins[*index].loose == loose).collect();
        assert!(all.len() >= count, "{} pins to pick {count} from", all.len());
        let stride = all.len() / count;
        (0..count).map(move |number| all[number * stride]).collect::<Vec<_>>()
    };
    let mut indices = pick(true, LOOSE_PIN_COUNT);
    indices.extend(pick(false, SOUND_PIN_COUNT));
    indices.sort_unstable();
    indices
}

/// What was recorded, and what the binary stored.
struct Surveyed {
    recording: Recording,
    bench: Workbench,
    indices: Vec<usize>,
    stored: Vec<LeverReading>,
}

fn survey() -> Result<Surveyed> {
    let (elf, binary) = (firmware_elf()?, host_binary()?);
    let data = TempDir::new()?;
    let piano = Piano::invent(SEED, Fault::Scattered, Severity::Plain);
    let indices = chosen(&piano);
    let pins: Vec<Pin> = indices.iter().filter_map(|index| pin_of(&piano, *index)).collect();
    let lever = LeverModel::drawn(SEED, Posture::level_grand());
    let bench = Workbench::new(piano, lever, Hand::default(), SEED);

    Host::add_instrument(&binary, data.path())?;
    let mut emulator = Emulator::boot(&elf, IDENTITY)?;
    let port = emulator.port().to_owned();
    let mut host = Host::survey(&binary, data.path(), port.as_ref(), &pins, true)?;
    let mut technician = Technician::new(bench, IDENTITY);
    let mut ended = None;
    technician
        .work(&mut emulator, SURVEY_LIMIT, |_| {
            ended = host.ended()?;
            Ok(ended.is_some())
        })
        .map_err(|error| format!("{error}\nthe host printed:\n{}", host.output()))?;
    let ended = ended.ok_or("the host never ended")?;
    assert!(ended.success(), "{ended}:\n{}", host.output());
    let (recording, bench) = technician.finish(&mut emulator)?;

    let store = Store::open(data.path())?;
    let instrument = store.find_instrument(INSTRUMENT)?;
    let survey = store.latest_survey(instrument.id)?.ok_or("no survey was stored")?;
    let stored = store.readings_of(survey.id)?.lever;
    Ok(Surveyed { recording, bench, indices, stored })
}

fn bytes_of(stored: &LeverReading) -> Vec<u8> {
    let mut bytes = [0; RECORD_BYTES_MAX];
    let len = encode_record(&stored.reading, &mut bytes).expect("a record always fits");
    bytes[..len].to_vec()
}

#[test]
fn survey_over_the_emulator_stores_what_the_native_core_makes_of_the_same_samples() -> Result<()> {
    let Surveyed { recording, bench, indices, stored } = survey()?;
    let pin_count = SOUND_PIN_COUNT + LOOSE_PIN_COUNT;
    assert_eq!(stored.len(), pin_count);
    for (stored, index) in stored.iter().zip(&indices) {
        assert_eq!(Some(stored.reading.pin), pin_of(bench.piano(), *index));
        assert_eq!(stored.device, IDENTITY.device);
        assert_eq!(stored.epoch, IDENTITY.epoch);
        assert_eq!(stored.reading.samples, SampleCoverage::Complete);
    }

    let native = recording.replay()?;
    assert_eq!(recording.signals(), native.signals);
    assert_eq!(recording.sent_byte_count(), native.sent_byte_count);
    assert_eq!(native.records.len(), pin_count);
    for stored in &stored {
        let (checksum, bytes) = &native.records[&stored.number];
        assert_eq!((&stored.crc32, &bytes_of(stored)), (checksum, bytes));
    }

    // The comparison can fail: with every torque one part in a thousand larger, no record is left
    // as it was.
    let mut other = recording.clone();
    for fed in &mut other.fed {
        if let Fed::Sample(sample) = fed {
            sample.bridge_code += sample.bridge_code / 1000;
        }
    }
    let other = other.replay().map(|replayed| replayed.records).unwrap_or_default();
    for stored in &stored {
        let same = other.get(&stored.number).is_some_and(|(_, bytes)| *bytes == bytes_of(stored));
        assert!(!same, "{:?}", stored.reading.pin);
    }

    // The three loose pins are the three of least friction.
    let mut by_friction: Vec<(f64, bool)> = Vec::new();
    for (stored, index) in stored.iter().zip(&indices) {
        let friction = stored.reading.friction.or(stored.reading.flat);
        let friction = friction.ok_or_else(|| format!("no friction: {:?}", stored.reading))?;
        by_friction.push((friction.newton_metres(), bench.truth(*index).loose));
    }
    by_friction.sort_by(|one, other| one.0.total_cmp(&other.0));
    let loose: Vec<bool> = by_friction.iter().map(|(_, loose)| *loose).collect();
    let expected: Vec<bool> = (0..pin_count).map(|place| place < LOOSE_PIN_COUNT).collect();
    assert_eq!(loose, expected, "{by_friction:?}");
    Ok(())
}
