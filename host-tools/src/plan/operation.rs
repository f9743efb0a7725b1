//! Reads what a station does: the tables `pierce`, `blank`, `bend`, `draw`, `coin` and `pad` of a station.

use core::f64::consts::PI;

use super::field::{Fields, Found};
use super::job::{Bend, BendKind, Coin, Cut, Draw, Operation, Pad, Stock};
use super::quantity::Kind;

/// Every operation of a station.
pub(super) fn read(station: &Fields<'_>, stock: &Stock) -> Found<Vec<Operation>> {
    let mut all = Vec::new();
    for key in ["pierce", "blank"] {
        if let Some(fields) = station.inner(key)? {
            all.push(Operation::Cut(cut(&fields, stock)?));
        }
    }
    if let Some(fields) = station.inner("bend")? {
        all.push(Operation::Bend(bend(&fields, stock)?));
    }
    if let Some(fields) = station.inner("draw")? {
        all.push(Operation::Draw(draw(&fields, stock)?));
    }
    if let Some(fields) = station.inner("coin")? {
        all.push(Operation::Coin(coin(&fields, stock)?));
    }
    if let Some(fields) = station.inner("pad")? {
        all.push(Operation::Pad(pad(&fields)?));
    }
    if all.is_empty() {
        return Err(station.missing("pierce", "a station needs pierce, blank, bend, draw, coin or pad"));
    }
    Ok(all)
}

fn cut(fields: &Fields<'_>, stock: &Stock) -> Found<Cut> {
    fields.only(&[
        "perimeter",
        "holes",
        "punches",
        "contact",
        "entry",
        "stagger",
        "shear",
        "shear_angle_deg",
        "punch_width",
        "stripping_percent",
    ])?;
    let (holes_mm, holes) = holes(fields)?;
    let perimeter_mm = match (fields.length("perimeter")?, holes_mm) {
        (Some(_), Some(_)) => return Err(fields.wrong("perimeter", "give it or `holes`, not both")),
        (Some(perimeter), None) => perimeter,
        (None, Some(holes)) => holes,
        (None, None) => return Err(fields.missing("perimeter", "give the length of cut, or `holes`")),
    };
    let punches = match holes {
        Some(count) if !fields.has("punches") => count,
        _ => fields.whole_or("punches", 10_000, 1, "one punch")?,
    };
    let t = stock.thickness_mm;
    let contact_mm = match (fields.length("contact")?, fields.quantity("entry", Kind::Length, 0.0, 1000.0)?) {
        (Some(_), Some(_)) => return Err(fields.wrong("entry", "give it or `contact`, not both")),
        (Some(contact), None) => contact,
        (None, Some(entry)) => entry + t,
        (None, None) => {
            let entry = (0.5 * t).max(1.0);
            fields.defaulted(
                "entry",
                format!("{} mm", super::field::short(entry)),
                "half a thickness past the sheet, 1 mm at least (common practice, no source)",
            );
            entry + t
        }
    };
    let stagger_mm = fields.length_or("stagger", 0.0, "all punches alike")?;
    if stagger_mm > 0.0 && punches < 2 {
        return Err(fields.wrong("stagger", "needs at least two punches"));
    }
    let shear_mm = shear(fields)?;
    // A punch that is still above the sheet at the bottom cuts nothing.
    if stagger_mm + shear_mm >= contact_mm {
        return Err(fields.wrong(
            "stagger",
            &format!(
                "stagger and shear together ({} mm) reach the height of contact ({} mm): the last punch would not cut",
                super::field::short(stagger_mm + shear_mm),
                super::field::short(contact_mm)
            ),
        ));
    }
    if contact_mm - stagger_mm - shear_mm < stock.penetration * t {
        fields
            .remark("does not go deep enough to cut through at every punch; check entry, stagger and shear");
    }
    let stripping_percent = fields.number_or(
        "stripping_percent",
        0.0,
        50.0,
        7.0,
        "1.7 US tons a square inch of cut on 25 of cutting load (read); 2.5 to 20 is found (memory)",
    )?;
    Ok(Cut { perimeter_mm, punches, contact_mm, stagger_mm, shear_mm, stripping_percent })
}

fn shear(fields: &Fields<'_>) -> Found<f64> {
    let angle = fields.number("shear_angle_deg", 0.0, 45.0)?;
    match (angle, fields.has("shear")) {
        (Some(_), true) => Err(fields.wrong("shear", "give it or `shear_angle_deg`, not both")),
        (Some(angle), false) => {
            let width = fields.needed_length("punch_width", "the angle needs the width it runs over")?;
            Ok(angle.to_radians().tan() * width)
        }
        (None, _) => fields.length_or("shear", 0.0, "flat punches"),
    }
}

/// Length of cut and number of a list of holes.
fn holes(fields: &Fields<'_>) -> Found<(Option<f64>, Option<u32>)> {
    let Some(list) = fields.list("holes")? else { return Ok((None, None)) };
    let (mut length, mut total) = (0.0, 0_u32);
    for hole in &list {
        hole.only(&["count", "diameter", "width", "height"])?;
        let count = hole.whole_or("count", 10_000, 1, "")?;
        let around = match (hole.length("diameter")?, hole.length("width")?, hole.length("height")?) {
            (Some(diameter), None, None) => PI * diameter,
            (None, Some(width), Some(height)) => 2.0 * (width + height),
            _ => return Err(hole.missing("diameter", "give a diameter, or width and height")),
        };
        length += f64::from(count) * around;
        total = total.saturating_add(count);
    }
    if total == 0 {
        return Err(fields.wrong("holes", "is empty"));
    }
    Ok((Some(length), Some(total)))
}

fn bend(fields: &Fields<'_>, stock: &Stock) -> Found<Bend> {
    fields.only(&["how", "length", "opening", "contact"])?;
    let how = match fields.text("how")? {
        Some("v") => BendKind::Vee,
        Some("wipe") => BendKind::Wipe,
        Some("air") => BendKind::Air,
        Some(_) => return Err(fields.wrong("how", "must be \"v\", \"wipe\" or \"air\"")),
        None => return Err(fields.missing("how", "say \"v\", \"wipe\" or \"air\"")),
    };
    let length_mm = fields.needed_length("length", "give the length of the bend line")?;
    let t = stock.thickness_mm;
    let opening_mm =
        fields.length_or("opening", 8.0 * t, "eight thicknesses (common practice, no source)")?;
    if opening_mm <= t {
        return Err(fields.wrong("opening", "must be wider than the sheet is thick"));
    }
    let contact_mm =
        fields.length_or("contact", 0.5 * opening_mm, "half the opening: a right angle in a V of 90°")?;
    if contact_mm <= 0.0 {
        return Err(fields.wrong("contact", "must be above the bottom of the stroke"));
    }
    Ok(Bend { how, length_mm, opening_mm, contact_mm })
}

fn draw(fields: &Fields<'_>, stock: &Stock) -> Found<Draw> {
    fields.only(&["punch", "blank", "depth", "die_radius", "holder"])?;
    let punch_mm = fields.needed_length("punch", "give the punch diameter")?;
    let blank_mm = fields.needed_length("blank", "give the blank diameter")?;
    let depth_mm = fields.needed_length("depth", "give the depth of the cup")?;
    if blank_mm <= punch_mm {
        return Err(fields.wrong("blank", "must be wider than the punch"));
    }
    let t = stock.thickness_mm;
    let die_radius_mm =
        fields.length_or("die_radius", 6.0 * t, "six thicknesses (common practice, no source)")?;
    let cushion = match fields.text("holder")? {
        Some("cushion") => true,
        Some("none" | "separate") => false,
        Some(_) => return Err(fields.wrong("holder", "must be \"cushion\", \"separate\" or \"none\"")),
        None => {
            fields.defaulted("holder", "cushion".to_owned(), "its load is carried by the slide");
            true
        }
    };
    if blank_mm / punch_mm > 2.0 {
        fields.remark(
            "the drawing ratio is above 2: one draw is not likely to make this cup (common practice)",
        );
    }
    Ok(Draw { punch_mm, blank_mm, depth_mm, die_radius_mm, cushion })
}

fn coin(fields: &Fields<'_>, stock: &Stock) -> Found<Coin> {
    fields.only(&["area", "pressure", "pressure_factor", "reduction", "contact"])?;
    let area_mm2 = fields
        .quantity("area", Kind::Area, 0.01, 1e7)?
        .ok_or_else(|| fields.missing("area", "give the area squeezed"))?;
    let pressure = fields.quantity("pressure", Kind::Strength, 0.1, 50_000.0)?;
    let factor = fields.number("pressure_factor", 0.1, 20.0)?;
    let pressure_mpa = match (pressure, factor) {
        (Some(_), Some(_)) => return Err(fields.wrong("pressure_factor", "give it or `pressure`, not both")),
        (Some(pressure), None) => pressure,
        (None, Some(factor)) => factor * stock.tensile_mpa,
        (None, None) => {
            return Err(fields.missing(
                "pressure_factor",
                "give it in tensile strengths (flattening about 1, coining 3 to 5: common practice, no source)",
            ));
        }
    };
    let reduction_mm = fields.length_or("reduction", 0.1 * stock.thickness_mm, "a tenth of the thickness")?;
    let contact_mm = fields.length_or(
        "contact",
        reduction_mm,
        "the reduction: the frame's stretch is allowed for in setting",
    )?;
    if reduction_mm <= 0.0 || contact_mm <= 0.0 {
        return Err(fields.wrong("reduction", "reduction and contact must be above zero"));
    }
    Ok(Coin { area_mm2, pressure_mpa, reduction_mm, contact_mm })
}

fn pad(fields: &Fields<'_>) -> Found<Pad> {
    fields.only(&["preload", "rate", "contact"])?;
    let needed = |key: &str, kind: Kind, hint: &str| {
        fields.quantity(key, kind, 0.0, 100_000.0)?.ok_or_else(|| fields.missing(key, hint))
    };
    let preload_kn = needed("preload", Kind::Load, "give the load at first touch")?;
    let rate_kn_per_mm = needed("rate", Kind::Rate, "give the rise of load with travel")?;
    let contact_mm = fields.needed_length("contact", "give the slide height at first touch")?;
    Ok(Pad { preload_kn, rate_kn_per_mm, contact_mm })
}
