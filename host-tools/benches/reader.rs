//! Nanoseconds a row of the recording reader: four columns, seven fields, uncompressed and gzip.

#![allow(
    clippy::unwrap_used,
    missing_docs,
    reason = "a bench stops at the first failure; criterion's macros carry no docs"
)]

use std::io::Write as _;
use std::path::Path;

use bolster::recording::{Header, Precision, Reader, Row, Writer};
use bolster_core::press::Columns;
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

const ROWS: u64 = 400_000;

/// A recording with digits as real ones have them: two decimals, changing lengths and signs.
fn recording() -> Vec<u8> {
    let header = Header { has_coil: true, ..Header::over_angle(Columns::Corners) };
    let precision = Precision::Decimals { angle: 2, time: 6, load: 2 };
    let mut writer = Writer::new(Vec::new(), header, precision).unwrap();
    let mut noise = 1_u64;
    for index in 0..ROWS {
        let turn = (index % 1300) as f64 / 1300.0;
        let pulse = 180.0 * (-(turn - 0.5).powi(2) * 400.0).exp();
        let loads = std::array::from_fn(|_| {
            noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            pulse + (noise >> 40) as f64 / (1 << 24) as f64 - 0.5
        });
        let row = Row {
            stroke: 1 + index / 1300,
            angle_deg: 95.0 + 165.0 * turn,
            coil: 1,
            loads,
            ..Row::default()
        };
        writer.write(&row).unwrap();
    }
    writer.finish().unwrap()
}

fn read(path: &Path) -> f64 {
    let mut reader = Reader::open(path).unwrap();
    let (mut row, mut sum) = (Row::default(), 0.0);
    while reader.next(&mut row).unwrap() {
        sum += row.loads[0] + row.angle_deg;
    }
    sum
}

fn rows(bench: &mut Criterion) {
    let folder = tempfile::tempdir().unwrap();
    let plain = folder.path().join("plain.csv");
    let bytes = recording();
    println!("{:.1} bytes a row", bytes.len() as f64 / ROWS as f64);
    std::fs::write(&plain, &bytes).unwrap();
    let packed = folder.path().join("packed.csv.gz");
    let file = std::fs::File::create(&packed).unwrap();
    let mut encoder = flate2::write::GzEncoder::new(file, flate2::Compression::default());
    encoder.write_all(&bytes).unwrap();
    encoder.finish().unwrap();

    let mut group = bench.benchmark_group("reader");
    group.throughput(Throughput::Elements(ROWS)).sample_size(20);
    group.bench_function("plain", |bench| bench.iter(|| read(&plain)));
    group.bench_function("gzip", |bench| bench.iter(|| read(&packed)));
    group.finish();
}

criterion_group!(benches, rows);
criterion_main!(benches);
