//! Claims about imports.

mod cuts;
mod forms;
mod outside;

use std::path::PathBuf;

use super::{ImportError, ImportPlan, ImportReport, import};
use crate::recording::{Header, Reader, Row};

/// A folder that holds foreign files and the recording made of them.
struct Bench {
    folder: tempfile::TempDir,
    files: Vec<PathBuf>,
}

type Made = (ImportReport, Header, Vec<Row>);

impl Bench {
    fn of(texts: &[&[u8]]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let files = texts
            .iter()
            .enumerate()
            .map(|(index, text)| {
                let path = folder.path().join(format!("foreign-{index}.txt"));
                std::fs::write(&path, text).unwrap();
                path
            })
            .collect();
        Self { folder, files }
    }

    fn run(&self, plan: &ImportPlan) -> Result<Made, ImportError> {
        let out = self.folder.path().join("rec.csv");
        let report = import(&self.files, plan, &out, &mut |_, _| {})?;
        let mut reader = Reader::open(&out)?;
        let (mut row, mut rows) = (Row::default(), Vec::new());
        while reader.next(&mut row)? {
            rows.push(row);
        }
        assert_eq!(rows.len() as u64, report.rows_written);
        Ok((report, *reader.header(), rows))
    }

    /// Nothing but the foreign files is left in the folder.
    fn is_clean(&self) -> bool {
        std::fs::read_dir(self.folder.path()).unwrap().count() == self.files.len()
    }
}

/// A plan with these maps and nothing else said.
fn plan(maps: &[&str]) -> ImportPlan {
    ImportPlan { map: maps.iter().map(|map| map.parse().unwrap()).collect(), ..ImportPlan::default() }
}

fn said(texts: &[&[u8]], plan: &ImportPlan) -> String {
    let bench = Bench::of(texts);
    let why = bench.run(plan).unwrap_err().to_string();
    assert!(bench.is_clean(), "an import that fails writes nothing");
    assert_eq!(why.lines().count(), 1, "{why}");
    why
}
