//! The job file of a simulated die, as a shop would write it from the die's drawing.

use std::fmt::Write as _;

use bolster_sim::scenario::{BendKind, Scenario};

/// The job file's text; operations that a plan does not know are left out.
pub(crate) fn text(scenario: &Scenario) -> String {
    let mut text = format!(
        "[units]\nlength = \"mm\"\nstrength = \"MPa\"\nload = \"kN\"\n[job]\nname = \"{}\"\nstrokes_per_minute = {}\n\
         [strip]\nmaterial = \"{}\"\nthickness = {}\n",
        scenario.name, scenario.drive.speed_spm, scenario.strip.material, scenario.strip.thickness_mm
    );
    for station in &scenario.stations {
        let _ = write!(
            text,
            "[[station]]\nname = \"{}\"\nx = {}\ny = {}\nrepeat = {}\npitch = [{}, {}]\n",
            station.name,
            station.x_mm,
            station.y_mm,
            station.repeat,
            station.pitch_mm[0],
            station.pitch_mm[1]
        );
        if let Some(cut) = &station.pierce {
            let _ = writeln!(
                text,
                "pierce = {{ perimeter = {}, punches = {}, entry = {}, stagger = {}, shear = {}, stripping_percent = {} }}",
                cut.perimeter_mm,
                cut.punches,
                cut.entry_mm,
                cut.stagger_mm,
                cut.shear_mm,
                cut.stripping_percent
            );
        }
        if let Some(bend) = &station.bend {
            let how = match bend.how {
                BendKind::Vee => "v",
                BendKind::Wipe => "wipe",
                BendKind::Air => "air",
            };
            let _ = writeln!(
                text,
                "bend = {{ how = \"{how}\", length = {}, opening = {}, contact = {} }}",
                bend.length_mm, bend.opening_mm, bend.touch_mm
            );
        }
        if let Some(draw) = &station.draw {
            let _ = writeln!(
                text,
                "draw = {{ punch = {}, blank = {}, depth = {}, die_radius = {}, holder = \"{}\" }}",
                draw.punch_mm,
                draw.blank_mm,
                draw.depth_mm,
                draw.die_radius_mm,
                if draw.holder { "cushion" } else { "none" }
            );
        }
        if let Some(coin) = &station.coin {
            let _ = writeln!(
                text,
                "coin = {{ area = {}, pressure_factor = {}, reduction = {}, contact = {} }}",
                coin.area_mm2, coin.pressure_factor, coin.reduction_mm, coin.touch_mm
            );
        }
        if let Some(pad) = &station.pad {
            let _ = writeln!(
                text,
                "pad = {{ preload = {}, rate = {}, contact = {} }}",
                pad.preload_kn, pad.rate_kn_per_mm, pad.touch_mm
            );
        }
    }
    text
}
