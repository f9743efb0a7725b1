//! The options of `bolster import`.

use std::path::{Path, PathBuf};

use super::error::ImportError;
use super::mapping::Mapping;
use super::plan::{Cut, ImportPlan};
use super::text::Delimiter;

/// What `bolster import` is told on its command line. Options given win over the recipe's.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct ImportArgs {
    /// Files to import, in order; gzip is read as it is
    #[arg(required = true, value_name = "FOREIGN")]
    pub files: Vec<PathBuf>,
    /// What a column means: `TARGET=COLUMN[:UNIT][:gain=G][:offset=O][:neg][:min=A][:max=B]`, such as total=2:kn,
    /// time=1:ms, left="Load cell A":lbf, angle=Enc:counts/4096, stroke=Cycle; repeat for each column
    #[arg(long, value_name = "MAP")]
    pub map: Vec<String>,
    /// The recording to write; a name ending in .gz is compressed
    #[arg(long, value_name = "REC.csv")]
    pub out: PathBuf,
    /// A TOML file with these options under the same names (map is a list); for files that come often
    #[arg(long, value_name = "RECIPE.toml")]
    pub recipe: Option<PathBuf>,
    /// What stands between fields [found from the first line if not given]
    #[arg(long, value_enum)]
    pub delimiter: Option<Delimiter>,
    /// Numbers are written with a comma, as 1,5
    #[arg(long)]
    pub decimal_comma: bool,
    /// Whether the first line names the columns [found from that line if not given]
    #[arg(long, value_name = "true|false")]
    pub header: Option<bool>,
    /// Lines to pass over before the header row or the first row
    #[arg(long, value_name = "N")]
    pub skip_lines: Option<u64>,
    /// Lines to pass over after the header row, such as a row of units
    #[arg(long, value_name = "N")]
    pub skip_after_header: Option<u64>,
    /// Skip rows with words where a number belongs, as rows with missing values are
    #[arg(long)]
    pub skip_bad: bool,
    /// Samples a second, where the file has no time column
    #[arg(long, value_name = "HZ")]
    pub rate_hz: Option<f64>,
    /// Take the mean of the first N rows of each file off each gauge
    #[arg(long, value_name = "N")]
    pub zero_rows: Option<u64>,
    /// Where strokes are cut [by the stroke column, else the index column, else each file is one]
    #[arg(long, value_enum)]
    pub cut: Option<Cut>,
    /// Total load whose rise starts a stroke (with --cut level), kN or counts
    #[arg(long, value_name = "LOAD")]
    pub level: Option<f64>,
    /// How far below the level the load must fall before the next stroke [half the level if not given]
    #[arg(long, value_name = "LOAD")]
    pub hysteresis: Option<f64>,
    /// Shortest time between two strokes cut by level, s
    #[arg(long, value_name = "S")]
    pub min_gap_s: Option<f64>,
    /// Rows before the rise that belong to the stroke it starts
    #[arg(long, value_name = "N")]
    pub lead_rows: Option<u64>,
    /// Value of the index column that counts as a pulse [0.5 if not given]
    #[arg(long, value_name = "VALUE")]
    pub index_level: Option<f64>,
}

impl ImportArgs {
    /// The plan these options and the recipe make together.
    ///
    /// # Errors
    /// [`ImportError::Recipe`] or [`ImportError::Map`] for what is not understood.
    pub fn plan(&self) -> Result<ImportPlan, ImportError> {
        let mut plan = match &self.recipe {
            Some(path) => read_recipe(path)?,
            None => ImportPlan::default(),
        };
        for text in &self.map {
            let mapping: Mapping = text.parse()?;
            // Within the options a target given twice is refused later; over the recipe it wins.
            if let Some(known) = plan
                .map
                .iter_mut()
                .take_while(|_| self.recipe.is_some())
                .find(|known| known.target == mapping.target)
            {
                *known = mapping;
            } else {
                plan.map.push(mapping);
            }
        }
        plan.delimiter = self.delimiter.unwrap_or(plan.delimiter);
        plan.decimal_comma |= self.decimal_comma;
        plan.header = self.header.or(plan.header);
        plan.skip_lines = self.skip_lines.unwrap_or(plan.skip_lines);
        plan.skip_after_header = self.skip_after_header.unwrap_or(plan.skip_after_header);
        plan.skip_bad |= self.skip_bad;
        plan.rate_hz = self.rate_hz.or(plan.rate_hz);
        plan.zero_rows = self.zero_rows.unwrap_or(plan.zero_rows);
        plan.cut = self.cut.or(plan.cut);
        plan.level = self.level.or(plan.level);
        plan.hysteresis = self.hysteresis.or(plan.hysteresis);
        plan.min_gap_s = self.min_gap_s.unwrap_or(plan.min_gap_s);
        plan.lead_rows = self.lead_rows.unwrap_or(plan.lead_rows);
        plan.index_level = self.index_level.unwrap_or(plan.index_level);
        Ok(plan)
    }
}

fn read_recipe(path: &Path) -> Result<ImportPlan, ImportError> {
    let wrong = |why: String| ImportError::Recipe { path: path.to_owned(), why };
    let text = std::fs::read_to_string(path).map_err(|why| wrong(format!("cannot be read ({why})")))?;
    toml::from_str(&text).map_err(|why| {
        let line =
            why.span().map(|span| 1 + text.bytes().take(span.start).filter(|byte| *byte == b'\n').count());
        let place = line.map(|line| format!("line {line}: ")).unwrap_or_default();
        wrong(format!("{place}{}", why.message().split_whitespace().collect::<Vec<_>>().join(" ")))
    })
}
