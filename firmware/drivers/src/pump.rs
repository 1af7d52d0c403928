//! From data-ready counts to the core's inputs: what every board does between its two data-ready
//! lines and the lever.
//!
//! The two sensors run on two oscillators. Each conversion of the bridge is paired with the latest
//! rate, which is *held*: that is right because the lever, the host's replay and the record all
//! see the same pairs, so results stay the same bits, and because nothing is invented between two
//! values. What it costs: at 1666 rates to 1000 conversions a rate is 0 to 0.6 ms old, 0.3 ms in
//! the mean, so the angle lags by 0.003° at 10 °/s and by nothing at rest; and two rates of five
//! are not used, which makes the angle's random walk √1.67 = 1.3 times that of all of them (DER).
//!
//! Deliberately not here: interrupts, time, periods (the core measures both from counts and time).
//!
//! Invariants: a conversion not read in time, or not read right, is handed on as missed and never
//! made up; counts handed on add up to the counts that came in, silence included.

use embedded_hal::spi::SpiDevice;
use pinhold_lever::Input;

use crate::sensors::Sensors;

/// Conversions between two looks at attitude and temperature.
pub const SLOW_CONVERSION_COUNT: u32 = 64;
/// New rates told at the latest, where no conversions come.
const MOTION_COUNT_MAX: u32 = 2 * SLOW_CONVERSION_COUNT;
/// Conversions let go by after a start: the gyro needs up to 80 ms (MEM), inputs settle sooner.
pub const START_CONVERSION_COUNT: u32 = 128;

/// How often each sensor was ready, ever, wrapping.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ready {
    /// Conversions of the bridge.
    pub bridge_count: u32,
    /// New values of the motion sensor.
    pub motion_count: u32,
}

/// What was taken of it so far.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pump {
    seen: Ready,
    to_let_go: u32,
    to_slow: u32,
    motion_untold: u32,
}

impl Pump {
    /// Starts at these counts, with sensors just switched on.
    pub const fn starting_at(ready: Ready) -> Pump {
        Pump { seen: ready, to_let_go: START_CONVERSION_COUNT, to_slow: 0, motion_untold: 0 }
    }

    /// Nothing came since the last look.
    pub fn is_idle(&self, ready: Ready) -> bool {
        self.seen == ready
    }

    /// Reads what is new and hands it to `hand`, in order.
    pub fn run<Bridge: SpiDevice, Motion: SpiDevice>(
        &mut self,
        ready: Ready,
        sensors: &mut Sensors<Bridge, Motion>,
        mut hand: impl FnMut(Input<'static>),
    ) {
        let bridge_new = ready.bridge_count.wrapping_sub(self.seen.bridge_count);
        let motion_new = ready.motion_count.wrapping_sub(self.seen.motion_count);
        self.seen = ready;
        if motion_new > 0 {
            sensors.take_rate();
        }
        self.motion_untold = self.motion_untold.saturating_add(motion_new);
        if self.motion_untold >= MOTION_COUNT_MAX {
            self.tell_motion(&mut hand);
        }
        if bridge_new == 0 {
            return;
        }
        // Read even while it is let go by, so that data-ready rises again.
        let sample = sensors.sample();
        if self.to_let_go > 0 {
            self.to_let_go = self.to_let_go.saturating_sub(bridge_new);
            return;
        }
        if self.to_slow == 0 {
            self.to_slow = SLOW_CONVERSION_COUNT;
            self.tell_motion(&mut hand);
            if let Some(motion) = sensors.motion() {
                hand(Input::Motion(motion));
            }
        }
        self.to_slow = self.to_slow.saturating_sub(bridge_new);
        match (sample, bridge_new) {
            (Some(_), 1) => {}
            (Some(_), count) => hand(Input::Missed(count - 1)),
            (None, count) => hand(Input::Missed(count)),
        }
        if let Some(sample) = sample {
            hand(Input::Sample(sample));
        }
    }

    /// Tells the new rates; none is worth telling too: the sensor may be silent.
    fn tell_motion(&mut self, hand: &mut impl FnMut(Input<'static>)) {
        hand(Input::MotionReady(self.motion_untold));
        self.motion_untold = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::{Exchange, device};
    use crate::sensors::tests::{SETTINGS, done};
    use embedded_hal_mock::eh1::spi::Mock;

    const CODE: Exchange<'_> = Exchange::Read(&[0x10], &[0, 0, 7]);
    const RATE: Exchange<'_> = Exchange::Read(&[0xa2], &[0; 6]);
    const ATTITUDE: Exchange<'_> = Exchange::Read(&[0xa8], &[0; 6]);
    const TEMPERATURE: Exchange<'_> = Exchange::Read(&[0xa0], &[0; 2]);

    /// A pump behind its start, one conversion and one rate before the counters wrap.
    fn running() -> Pump {
        let seen = Ready { bridge_count: u32::MAX, motion_count: u32::MAX };
        Pump { to_let_go: 0, ..Pump::starting_at(seen) }
    }

    /// What each look at the counts hands on, as words.
    fn run(
        pump: &mut Pump,
        sensors: &mut Sensors<Mock<u8>, Mock<u8>>,
        looks: &[(u32, u32)],
    ) -> Vec<String> {
        let mut words = Vec::new();
        for (bridge_new, motion_new) in looks {
            let ready = Ready {
                bridge_count: pump.seen.bridge_count.wrapping_add(*bridge_new),
                motion_count: pump.seen.motion_count.wrapping_add(*motion_new),
            };
            pump.run(ready, sensors, |input| {
                words.push(match input {
                    Input::Sample(sample) => format!("sample {}", sample.bridge_code),
                    Input::Missed(count) => format!("missed {count}"),
                    Input::MotionReady(count) => format!("ready {count}"),
                    Input::Motion(_) => "motion".to_owned(),
                    other => format!("{other:?}"),
                });
            });
            assert!(pump.is_idle(ready));
        }
        words
    }

    #[test]
    fn rates_are_read_when_new_and_conversions_too_late_are_missed() {
        let bridge = device(&[CODE, CODE, CODE]);
        let motion = device(&[RATE, ATTITUDE, TEMPERATURE, RATE]);
        let mut sensors = Sensors::new(bridge, motion, SETTINGS);
        let looks = [(0, 1), (1, 0), (3, 0), (0, 0), (1, 2)];
        let words = run(&mut running(), &mut sensors, &looks);
        assert_eq!(words, ["ready 1", "motion", "sample 7", "missed 2", "sample 7", "sample 7"]);
        done(sensors);
    }

    #[test]
    fn a_conversion_without_a_rate_is_missed() {
        let bridge = device(&[CODE]);
        let motion = device(&[ATTITUDE, TEMPERATURE]);
        let mut sensors = Sensors::new(bridge, motion, SETTINGS);
        let words = run(&mut running(), &mut sensors, &[(1, 0)]);
        assert_eq!(words, ["ready 0", "motion", "missed 1"]);
        done(sensors);
    }

    #[test]
    fn attitude_and_counts_come_every_64_conversions() {
        let bridge = device(&vec![CODE; 130]);
        let mut expected = vec![RATE; 130];
        for at in [0, 64, 128] {
            // Each look reads its rate first.
            let at = at + 1 + at / 64 * 2;
            expected.splice(at..at, [ATTITUDE, TEMPERATURE]);
        }
        let mut sensors = Sensors::new(bridge, device(&expected), SETTINGS);
        let words = run(&mut running(), &mut sensors, &[(1, 1); 130]);
        let places: Vec<usize> =
            words.iter().enumerate().filter(|(_, word)| *word == "motion").map(|at| at.0).collect();
        assert_eq!(places, [1, 67, 133]);
        assert_eq!([&words[0], &words[66], &words[132]], ["ready 1", "ready 64", "ready 64"]);
        assert_eq!(words.iter().filter(|word| *word == "sample 7").count(), 130);
        done(sensors);
    }

    #[test]
    fn a_silent_converter_does_not_silence_the_motion_sensor() {
        let mut sensors = Sensors::new(device(&[]), device(&vec![RATE; 260]), SETTINGS);
        let words = run(&mut running(), &mut sensors, &[(0, 1); 260]);
        assert_eq!(words, ["ready 128", "ready 128"]);
        done(sensors);
    }

    #[test]
    fn the_first_conversions_after_a_start_are_let_go_by() {
        let count = START_CONVERSION_COUNT as usize;
        let bridge = device(&vec![CODE; count + 1]);
        let motion = device(&[RATE, ATTITUDE, TEMPERATURE]);
        let mut sensors = Sensors::new(bridge, motion, SETTINGS);
        let mut pump = Pump::starting_at(Ready::default());
        assert!(run(&mut pump, &mut sensors, &vec![(1, 0); count]).is_empty());
        assert_eq!(run(&mut pump, &mut sensors, &[(1, 1)]), ["ready 1", "motion", "sample 7"]);
        done(sensors);
    }
}
