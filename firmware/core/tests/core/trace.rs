//! The bins of a stroke in bounded memory.

use pinhold_lever::sample::Bin;
use pinhold_lever::stroke::trace::{TRACE_BIN_COUNT_MAX, Trace};

fn filled(count: usize) -> Trace {
    let mut trace = Trace::default();
    for index in 0..count {
        trace.push(Bin { torque_nm: index as f32, angle_rad: -(index as f32) });
    }
    trace
}

#[test]
fn a_full_trace_is_halved_and_keeps_its_beginning() {
    let full = filled(TRACE_BIN_COUNT_MAX);
    assert_eq!((full.bins().len(), full.merge()), (TRACE_BIN_COUNT_MAX, 1));
    let halved = filled(TRACE_BIN_COUNT_MAX + 1);
    assert_eq!((halved.bins().len(), halved.merge()), (TRACE_BIN_COUNT_MAX / 2, 2));
    // Bins 0 and 1 became one, and so on.
    assert_eq!(halved.bins()[0], Bin { torque_nm: 0.5, angle_rad: -0.5 });
    assert_eq!(halved.bins()[191], Bin { torque_nm: 382.5, angle_rad: -382.5 });
    // Bin 384 waits for 385.
    let on = filled(TRACE_BIN_COUNT_MAX + 2);
    assert_eq!(on.bins().len(), TRACE_BIN_COUNT_MAX / 2 + 1);
    assert_eq!(on.bins()[192], Bin { torque_nm: 384.5, angle_rad: -384.5 });
}

#[test]
fn every_bin_stands_for_as_many_as_the_others_however_long_the_stroke() {
    for count in [700, 1024, 1025, 1500, 2049, 5000, 20_000] {
        let trace = filled(count);
        let merge = trace.merge() as usize;
        assert!(trace.bins().len() <= TRACE_BIN_COUNT_MAX);
        assert_eq!(trace.bins().len(), count / merge, "{count}");
        for (index, bin) in trace.bins().iter().enumerate() {
            let middle = (index * merge) as f32 + (merge as f32 - 1.0) / 2.0;
            assert_eq!((bin.torque_nm, bin.angle_rad), (middle, -middle), "{count}, bin {index}");
        }
    }
}

#[test]
fn clearing_starts_over_at_full_resolution() {
    let mut trace = filled(3000);
    assert!(trace.merge() > 1);
    trace.clear();
    assert_eq!((trace.bins().len(), trace.merge()), (0, 1));
    trace.push(Bin { torque_nm: 4.0, angle_rad: 1.0 });
    assert_eq!(trace.bins(), [Bin { torque_nm: 4.0, angle_rad: 1.0 }]);
}
