"""Peaks and cycles of recorded signals of real machines, by pandas.

Reads {"impact": [files], "fatigue": file, "loadcell": file}; prints the strokes of each as they are in the files.
"""

import json
import sys

import pandas as pd

given = json.load(sys.stdin)

impacts = []
for name in given["impact"]:
    # The first row of a file has a fourth value.
    table = pd.read_csv(name, sep="\t", header=None, names=["time", "left", "right", "more"])
    loads = table[["left", "right"]] - table[["left", "right"]].head(1000).mean()
    total = loads.sum(axis=1)
    impacts.append({"rows": len(table), "peak": total.max(), "lowest": total.min(), "columns_peak": loads.max().tolist()})

table = pd.read_csv(given["fatigue"], encoding="utf-8-sig", low_memory=False)
table = table[["Machine_N_cycles", "Machine_Load"]].dropna()
cycles = table.groupby("Machine_N_cycles")["Machine_Load"].agg(["count", "max", "min"]).reset_index()
fatigue = [
    {"stroke": int(row["Machine_N_cycles"]), "rows": int(row["count"]), "peak": row["max"], "lowest": row["min"]}
    for _, row in cycles.iterrows()
]

table = pd.read_csv(given["loadcell"], header=None)[[0, 10, 11]]
table.columns = ["time", "left", "right"]
sound = table[(table["left"] >= -1e5) & (table["right"] >= -1e5)]
loads = sound[["left", "right"]] - sound[["left", "right"]].head(20).mean()
total = loads.sum(axis=1)
# A stroke begins where the load rises to the level, and ends below half of it.
loaded = total.map(lambda load: 1.0 if load >= 40000 else (0.0 if load < 20000 else None)).ffill()
loadcell = {
    "read": len(table),
    "missing": len(table) - len(sound),
    "rises": int((loaded.diff() == 1).sum()),
    "peak": total.max(),
    "columns_peak": loads.max().tolist(),
}
json.dump({"impact": impacts, "fatigue": fatigue, "loadcell": loadcell}, sys.stdout)
