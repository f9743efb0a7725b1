//! What a scenario's numbers must be.

use super::{Scenario, ScenarioError};

/// A number, where it stands, and the range it must lie in.
fn within(field: &str, value: f64, low: f64, high: f64) -> Result<(), ScenarioError> {
    // NaN fails both comparisons and is refused.
    if value >= low && value <= high {
        return Ok(());
    }
    Err(ScenarioError::Field {
        field: field.to_owned(),
        problem: format!("must be from {low} to {high}, not {value}"),
    })
}

fn refuse(field: String, problem: &str) -> ScenarioError {
    ScenarioError::Field { field, problem: problem.to_owned() }
}

impl Scenario {
    /// Checks every number.
    ///
    /// # Errors
    /// [`ScenarioError::Field`] for the first that cannot be.
    pub fn check(&self) -> Result<(), ScenarioError> {
        within("strokes", f64::from(self.strokes), 1.0, 1e9)?;
        within("sample_hz", self.sample_hz, 500.0, 100_000.0)?;
        within("angle_from_deg", self.angle_from_deg, 0.0, 179.0)?;
        within("angle_to_deg", self.angle_to_deg, 181.0, 360.0)?;
        let press = crate::press::spec(self)?;
        self.check_machine()?;
        self.check_strip()?;
        self.check_front_end()?;
        if self.stations.is_empty() {
            return Err(refuse("station".to_owned(), "list is empty: a die needs at least one"));
        }
        for i in 0..self.stations.len() {
            self.check_station(i)?;
        }
        let sites: usize = self.stations.iter().map(|s| s.repeat as usize).sum();
        within("station repeats, all together,", sites as f64, 1.0, 1000.0)?;
        for (i, sensor) in self.sensors.iter().enumerate() {
            let at = |name: &str| format!("sensor[{i}].{name}");
            within(&at("input"), f64::from(sensor.input), 1.0, 8.0)?;
            within(&at("on_deg"), sensor.on_deg, 0.0, 360.0)?;
            within(&at("off_deg"), sensor.off_deg, sensor.on_deg, 360.0)?;
            within(&at("jitter_deg"), sensor.jitter_deg, 0.0, 20.0)?;
        }
        for (i, fault) in self.faults.iter().enumerate() {
            let at = |name: &str| format!("fault[{i}].{name}");
            within(&at("severity"), fault.severity, 0.0, 1.0)?;
            within(&at("probability"), fault.probability.unwrap_or(0.5), 0.0, 1.0)?;
            within(&at("from"), f64::from(fault.from), 1.0, f64::from(u32::MAX))?;
            within(
                &at("to"),
                f64::from(fault.to.unwrap_or(u32::MAX)),
                f64::from(fault.from),
                f64::from(u32::MAX),
            )?;
            within(&at("station"), fault.station.unwrap_or(1) as f64, 1.0, sites as f64)?;
            if let Some(name) = &fault.column
                && !press.columns.names().contains(&name.as_str())
            {
                let names = press.columns.names().join(", ");
                return Err(refuse(at("column"), &format!("is {name}; this press has {names}")));
            }
        }
        Ok(())
    }

    fn check_machine(&self) -> Result<(), ScenarioError> {
        let frame = &self.frame;
        within("frame.slide_mass_kg", frame.slide_mass_kg, 1.0, 1e6)?;
        within("frame.stretch_at_rated_mm", frame.stretch_at_rated_mm, 0.01, 20.0)?;
        within("frame.damping", frame.damping, 0.0, 0.9)?;
        within("frame.gib_share", frame.gib_share, 0.0, 100.0)?;
        for (i, k) in frame.column_stiffness.iter().enumerate() {
            within(&format!("frame.column_stiffness[{i}]"), *k, 0.1, 10.0)?;
        }
        let count = frame.column_stiffness.len();
        if count != 0 && count != self.press.columns {
            let problem = format!("has {count} entries; this press has {} columns", self.press.columns);
            return Err(refuse("frame.column_stiffness".to_owned(), &problem));
        }
        for size in frame.slide_mm.unwrap_or([1000.0; 2]) {
            within("frame.slide_mm", size, 10.0, 20_000.0)?;
        }
        let drive = &self.drive;
        within("drive.speed_spm", drive.speed_spm, self.press.speed_spm[0], self.press.speed_spm[1])?;
        let ranges = [
            ("drive.scatter_percent", drive.scatter_percent, 0.0, 5.0),
            ("drive.flywheel_kj", drive.flywheel_kj.unwrap_or(1.0), 0.001, 1e6),
            ("drive.motor_kw", drive.motor_kw, 0.0, 1e5),
            ("drive.slip_percent", drive.slip_percent, 0.5, 40.0),
            ("drive.friction_j", drive.friction_j, 0.0, 1e6),
            ("drive.clutch_s", drive.clutch_s, 0.005, 2.0),
            ("drive.brake_s", drive.brake_s, 0.005, 2.0),
            ("drive.pause_s", drive.pause_s, 0.0, 3600.0),
            ("drive.stop_s", drive.stop_s, 0.0, 360_000.0),
            ("drive.inch_on_s", drive.inch_on_s, 0.01, 10.0),
            ("drive.inch_off_s", drive.inch_off_s, 0.0, 60.0),
            ("drive.inch_speed", drive.inch_speed, 0.05, 1.0),
        ];
        for (field, value, low, high) in ranges {
            within(field, value, low, high)?;
        }
        if drive.inch_back_every != 0 {
            // With every second pulse backwards the press would get nowhere.
            within("drive.inch_back_every", f64::from(drive.inch_back_every), 3.0, 1e6)?;
        }
        if drive.flywheel_kj.is_some() {
            // Without a motor the flywheel would run down for good.
            within("drive.motor_kw", drive.motor_kw, 0.001, 1e5)?;
        }
        // The brake must stop the crank within the part of the turn that is left after the bottom.
        let brake_deg = 180.0 * drive.speed_spm / 60.0 * drive.brake_s;
        within("drive.brake_s (as an angle at full speed, degrees)", brake_deg, 0.0, 90.0)
    }

    fn check_strip(&self) -> Result<(), ScenarioError> {
        let strip = &self.strip;
        if crate::material::find(&strip.material).is_none() {
            let names: Vec<_> = crate::material::all().iter().map(|m| m.name.as_str()).collect();
            let problem = format!("is \"{}\"; known are {}", strip.material, names.join(", "));
            return Err(refuse("strip.material".to_owned(), &problem));
        }
        within("strip.thickness_mm", strip.thickness_mm, 0.05, 30.0)?;
        within("strip.strokes_per_coil", f64::from(strip.strokes_per_coil), 1.0, 1e9)?;
        let percents = [
            ("strip.coil_thickness_percent", strip.coil_thickness_percent),
            ("strip.coil_strength_percent", strip.coil_strength_percent),
            ("strip.drift_percent", strip.drift_percent),
            ("strip.scatter_thickness_percent", strip.scatter_thickness_percent),
            ("strip.scatter_strength_percent", strip.scatter_strength_percent),
            ("strip.scatter_station_percent", strip.scatter_station_percent),
            ("strip.scatter_friction_percent", strip.scatter_friction_percent),
        ];
        for (field, value) in percents {
            // Three deviations of each must still leave a strip.
            within(field, value, 0.0, 10.0)?;
        }
        within("strip.joint_severity", strip.joint_severity, 0.0, 1.0)?;
        within("strip.warm_up_mm", strip.warm_up_mm, 0.0, 1.0)?;
        within("strip.warm_up_strokes", strip.warm_up_strokes, 1.0, 1e6)?;
        within("strip.regrind_every", f64::from(strip.regrind_every.unwrap_or(1)), 1.0, 1e9)?;
        within("strip.wear_per_100k", strip.wear_per_100k, 0.0, 100.0)
    }

    fn check_front_end(&self) -> Result<(), ScenarioError> {
        let f = &self.front_end;
        let ranges = [
            ("front_end.strain_at_rated", f.strain_at_rated, 1.0, 5000.0),
            ("front_end.gauge_factor", f.gauge_factor, 0.5, 200.0),
            ("front_end.poisson", f.poisson, 0.0, 0.5),
            ("front_end.excitation_v", f.excitation_v, 0.5, 20.0),
            ("front_end.gain", f.gain, 1.0, 1000.0),
            ("front_end.reference_v", f.reference_v, 0.5, 10.0),
            ("front_end.noise_uv", f.noise_uv, 0.0, 1000.0),
            ("front_end.hum_uv", f.hum_uv, 0.0, 1000.0),
            ("front_end.mains_hz", f.mains_hz, 10.0, 500.0),
            ("front_end.gain_error_percent", f.gain_error_percent, 0.0, 20.0),
            ("front_end.zero_mv_per_v", f.zero_mv_per_v, 0.0, 2.0),
            ("front_end.drift_percent", f.drift_percent, 0.0, 100.0),
            // A corner above the sample rate is the same as none; far below it there is no signal left.
            ("front_end.bandwidth_hz", f.bandwidth_hz, 10.0, 1e6),
            ("front_end.settling", f64::from(f.settling), 1.0, 3.0),
            ("front_end.crosstalk_percent", f.crosstalk_percent, 0.0, 20.0),
            ("front_end.encoder_steps", f64::from(f.encoder_steps), 36.0, 1e7),
        ];
        for (field, value, low, high) in ranges {
            within(field, value, low, high)?;
        }
        Ok(())
    }

    fn check_station(&self, index: usize) -> Result<(), ScenarioError> {
        let Some(station) = self.stations.get(index) else { return Ok(()) };
        let at = |name: &str| format!("station[{index}].{name}");
        let stroke = self.press.stroke_mm;
        let plate = self.press.bolster_mm;
        let last = f64::from(station.repeat.max(1) - 1);
        for i in [0.0, last] {
            let x = station.x_mm + i * station.pitch_mm[0];
            let y = station.y_mm + i * station.pitch_mm[1];
            within(&at("x_mm (with repeats)"), x, -plate[0], plate[0])?;
            within(&at("y_mm (with repeats)"), y, -plate[1], plate[1])?;
        }
        within(&at("repeat"), f64::from(station.repeat), 1.0, 1000.0)?;
        if let Some(d) = &station.pierce {
            within(&at("pierce.perimeter_mm"), d.perimeter_mm, 0.1, 1e6)?;
            within(&at("pierce.punches"), f64::from(d.punches), 1.0, 10_000.0)?;
            within(&at("pierce.entry_mm"), d.entry_mm, 0.0, stroke / 2.0)?;
            within(&at("pierce.stagger_mm"), d.stagger_mm, 0.0, d.entry_mm)?;
            within(&at("pierce.shear_mm"), d.shear_mm, 0.0, d.entry_mm)?;
            within(&at("pierce.clearance_percent"), d.clearance_percent, 2.0, 20.0)?;
            within(&at("pierce.stripping_percent"), d.stripping_percent, 0.0, 40.0)?;
            within(&at("pierce.dullness"), d.dullness, 0.0, 1.0)?;
        }
        if let Some(d) = &station.bend {
            within(&at("bend.length_mm"), d.length_mm, 0.1, 1e6)?;
            within(&at("bend.opening_mm"), d.opening_mm, self.strip.thickness_mm, 1e4)?;
            within(&at("bend.touch_mm"), d.touch_mm, 0.1, stroke / 2.0)?;
        }
        if let Some(d) = &station.coin {
            within(&at("coin.area_mm2"), d.area_mm2, 0.01, 1e7)?;
            within(&at("coin.pressure_factor"), d.pressure_factor, 0.1, 10.0)?;
            within(&at("coin.touch_mm"), d.touch_mm, 0.01, stroke / 2.0)?;
            within(&at("coin.reduction_mm"), d.reduction_mm, 0.01, 10.0)?;
        }
        if let Some(d) = &station.draw {
            within(&at("draw.punch_mm"), d.punch_mm, 1.0, 1e4)?;
            within(&at("draw.blank_mm"), d.blank_mm, 1.05 * d.punch_mm, 2.5 * d.punch_mm)?;
            within(&at("draw.depth_mm"), d.depth_mm, 0.5, stroke / 2.0)?;
            within(&at("draw.die_radius_mm"), d.die_radius_mm, 0.1, 100.0)?;
        }
        if let Some(d) = &station.lance {
            within(&at("lance.cut_mm"), d.cut_mm, 0.1, 1e6)?;
            within(&at("lance.bend_mm"), d.bend_mm, 0.1, 1e6)?;
            within(&at("lance.height_mm"), d.height_mm, self.strip.thickness_mm, stroke / 2.0)?;
        }
        if let Some(d) = &station.restrike {
            within(&at("restrike.length_mm"), d.length_mm, 0.1, 1e6)?;
            within(&at("restrike.radius_mm"), d.radius_mm, 0.0, 100.0)?;
            within(&at("restrike.touch_mm"), d.touch_mm, 0.01, stroke / 2.0)?;
        }
        if let Some(d) = &station.pad {
            within(&at("pad.preload_kn"), d.preload_kn, 0.0, 1e5)?;
            within(&at("pad.rate_kn_per_mm"), d.rate_kn_per_mm, 1e-6, 1e5)?;
            within(&at("pad.touch_mm"), d.touch_mm, 0.1, stroke)?;
        }
        Ok(())
    }
}
