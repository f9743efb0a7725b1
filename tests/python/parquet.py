"""Reads a Parquet file with pyarrow and compares it, cell by cell, with the same table as CSV."""

import csv
import datetime
import io
import json
import sys

import pyarrow.parquet

given = json.load(sys.stdin)
table = pyarrow.parquet.read_table(given["file"])
rows = list(csv.DictReader(io.StringIO(given["csv"])))
differences = []
for name in table.column_names:
    for line, (found, row) in enumerate(zip(table[name].to_pylist(), rows)):
        text = row[name]
        if found is None:
            same = text == ""
        elif isinstance(found, float):
            same = float(text) == found
        elif isinstance(found, int):
            same = int(text) == found
        elif isinstance(found, datetime.datetime):
            same = found.isoformat(timespec="milliseconds").replace("+00:00", "Z") == text
        else:
            same = text in (found, "'" + found)
        if not same:
            differences.append([name, line, str(found), text])
json.dump(
    {
        "rows": table.num_rows,
        "csv_rows": len(rows),
        "differences": differences[:10],
        "types": {field.name: str(field.type) for field in table.schema},
    },
    sys.stdout,
)
