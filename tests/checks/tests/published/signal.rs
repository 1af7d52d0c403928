//! Decoding of the sensors.

use pinhold_checks::Case;
use pinhold_drivers::ads1220::{Range, decode};
use pinhold_drivers::bridge::{InputRange, Nameplate};
use pinhold_drivers::lsm6dso::RateRange;

fn code_bytes(text: &str) -> [u8; 3] {
    let code = u32::from_str_radix(text.trim_start_matches("0x"), 16).expect("code");
    let [0, high, middle, low] = code.to_be_bytes() else { panic!("{text} has over 24 bits") };
    [high, middle, low]
}

fn bridge_codes(case: &Case) {
    for row in case.rows() {
        let conversion = decode(code_bytes(row.text("code_hex")));
        case.tolerance("").check_printed(f64::from(conversion.code), row.text("signed"));
        let expected = match row.text("flag") {
            "saturated high" => Range::SaturatedHigh,
            "saturated low" => Range::SaturatedLow,
            "" => Range::Within,
            other => panic!("flag {other}"),
        };
        assert_eq!(conversion.range, expected, "{}", row.text("code_hex"));
    }
}

fn code_to_torque(case: &Case) {
    for index in 0..case.count("/inputs/cases") {
        let at = |name: &str| format!("/inputs/cases/{index}/{name}");
        let supply_fraction = match case.text(&at("full_scale")) {
            "+-0.5*V_exc/gain" => 0.5,
            "+-1*V_exc/gain" => 1.0,
            other => panic!("full scale {other}"),
        };
        let range = InputRange { supply_fraction, gain: case.number(&at("gain")) };
        let code = decode(code_bytes(case.text(&at("code")))).code;
        let ratio = range.millivolt_per_volt(code);
        case.check(ratio, &format!("/expected/mV_per_V/{index}"), "");
        let nameplate = Nameplate {
            rated_millivolt_per_volt: case.number(&at("rated_mV_per_V")),
            rated_torque_nm: case.number(&at("rated_torque_Nm")),
            zero_millivolt_per_volt: case.number(&at("zero_mV_per_V")),
        };
        case.check(nameplate.torque_nm(ratio), &format!("/expected/torque_Nm/{index}"), "");
    }
}

fn rate_counts(case: &Case) {
    let ranges = [RateRange::Dps125, RateRange::Dps250, RateRange::Dps2000];
    assert_eq!(case.count("/inputs/mdps_per_lsb"), ranges.len());
    for (column, range) in ranges.into_iter().enumerate() {
        let sensitivity = case.number(&format!("/inputs/mdps_per_lsb/{column}"));
        assert_eq!(range.millidegrees_per_second(), sensitivity);
        for row in 0..case.count("/inputs/counts") {
            let count = case.number(&format!("/inputs/counts/{row}")) as i16;
            let expected = format!("/expected/deg_per_s/{column}/{row}");
            case.check(range.degrees_per_second(count), &expected, "");
        }
    }
}

cases! {
    "10_signal":
    "SIG-P04" bridge_converter_codes, "`pinhold_drivers::ads1220::decode`", bridge_codes;
    "SIG-P05" bridge_code_to_torque,
        "`pinhold_drivers::bridge`: `millivolt_per_volt`, `torque_nm`", code_to_torque;
    "SIG-P08" rate_sensor_counts, "`pinhold_drivers::lsm6dso::RateRange::degrees_per_second`",
        rate_counts;
}
