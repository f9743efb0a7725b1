//! The rainflow counter on a published example, for host and controller alike.

use bolster_core::ledger::Rainflow;

/// Turning points of the example. Source: ASTM E1049-85, fig. 6.
const SERIES: [f32; 9] = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0];

/// Counts the example: each cycle or half cycle as (range, mean, cycles), in the order in which it is found.
pub fn count_example(mut found: impl FnMut(f32, f32, f32)) {
    let mut flow = Rainflow::new(0.0);
    for load in SERIES {
        flow.step(load, &mut found);
    }
    flow.residue(found);
}
