//! `bolster accept`: a named engineer accepts a die card.

use std::io::Write as _;
use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::learn::summary;
use super::{CAUTION, Failure, print};
use crate::card::die::{Acceptance, DieCard, ReviewedStrokes, Standing};
use crate::output::Output;

/// Accept a die card by name: its limits may then hold a press
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster accept bracket.toml --by \"A. Engineer\" --reason \"no good stroke of last week came near\"\n\nThe card records who, when, why, and a hash of what was accepted: whatever is changed in it later makes it a draft\nagain. Show its limits against recorded strokes first (bolster learn --draft bracket.toml --review REC); a card that\nwas not shown is accepted with --unreviewed only, and says so. Comments of the file are not kept."
)]
pub struct AcceptArgs {
    /// Die card; it is rewritten, whole, at the end
    pub die: PathBuf,
    /// Name of the engineer who accepts it
    #[arg(long, value_name = "NAME", value_parser = words)]
    pub by: String,
    /// Why these limits
    #[arg(long, value_name = "TEXT", value_parser = words)]
    pub reason: String,
    /// Accept limits that were not shown against recorded strokes
    #[arg(long)]
    pub unreviewed: bool,
    /// Print the acceptance as JSON
    #[arg(long)]
    pub json: bool,
}

/// What the command prints as JSON.
#[derive(Serialize)]
struct Json<'a> {
    die: &'a str,
    standing: Standing,
    acceptance: &'a Option<Acceptance>,
    reviews: Vec<&'a ReviewedStrokes>,
}

/// Text on one line with something in it.
fn words(text: &str) -> Result<String, String> {
    let text = text.trim();
    match text.chars().any(char::is_control) || text.is_empty() {
        true => Err("a few words on one line".to_owned()),
        false => Ok(text.to_owned()),
    }
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for a bad card, one not reviewed, or an output that cannot be written.
pub fn run(args: &AcceptArgs) -> Result<(), Failure> {
    let mut card = DieCard::load_alone(&args.die)?;
    let reviewed: u64 = card.current_reviews().map(|review| review.strokes).sum();
    if reviewed == 0 && !args.unreviewed {
        return Err(Failure::Message(format!(
            "{}: these limits were not yet shown against recorded strokes; run bolster learn --draft {} --press PRESS \
             --review REC and look, or say --unreviewed",
            args.die.display(),
            args.die.display()
        )));
    }
    let mut output = Output::create(&args.die)?;
    let now = jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string();
    card.accept(&args.by, &args.reason, now);
    output.write_all(card.to_toml()?.as_bytes())?;
    output.commit()?;
    if args.json {
        let json = Json {
            die: &card.die.name,
            standing: card.standing(),
            acceptance: &card.acceptance,
            reviews: card.current_reviews().collect(),
        };
        return print(&format!("{}\n", serde_json::to_string_pretty(&json)?));
    }
    let mut text = summary(&card);
    for review in card.current_reviews() {
        text += &format!(
            "shown against {}: {} strokes, {} noted, {} stopped\n",
            review.recording, review.strokes, review.noted, review.stopped
        );
    }
    if reviewed == 0 {
        text += "not shown against any recorded stroke\n";
    }
    let hash = card.acceptance.as_ref().map_or("", |accepted| accepted.sha256.as_str());
    print(&format!("{text}{}\nhash of what was accepted: {hash}\n\n{CAUTION}\n", card.standing_says()))
}
