//! The scenarios that come with the simulator: the invented works "Aldermoor Pressings".

/// Name and text of every built-in scenario.
#[must_use]
pub fn built_in() -> &'static [(&'static str, &'static str)] {
    &[
        ("brake-two-dies", include_str!("../../scenarios/brake-two-dies.toml")),
        ("five-station", include_str!("../../scenarios/five-station.toml")),
        ("forty-station", include_str!("../../scenarios/forty-station.toml")),
        ("five-station-faults", include_str!("../../scenarios/five-station-faults.toml")),
        ("forty-station-faults", include_str!("../../scenarios/forty-station-faults.toml")),
        ("five-station-wear", include_str!("../../scenarios/five-station-wear.toml")),
        ("five-station-coils", include_str!("../../scenarios/five-station-coils.toml")),
        ("forty-station-joints", include_str!("../../scenarios/forty-station-joints.toml")),
        ("small-press", include_str!("../../scenarios/small-press.toml")),
    ]
}

/// The text of the built-in scenario of this name.
#[must_use]
pub fn find(name: &str) -> Option<&'static str> {
    built_in().iter().find(|(n, _)| *n == name).map(|(_, text)| *text)
}
