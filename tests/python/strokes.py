"""Features of a recording's strokes by pandas, and its filtered peaks by SciPy.

Reads {"recording", "stroke_mm", "rod_mm", "share", "sample_hz"}; prints one object a stroke. `share` is how far each
stage of the low-pass moves on in a reading; without it nothing is filtered.
"""

import json
import sys

import numpy as np
import pandas as pd
from scipy import signal

given = json.load(sys.stdin)
table = pd.read_csv(given["recording"])
gauges = [name for name in table.columns if name.endswith("_kn")]
r, l = given["stroke_mm"] / 2, given["rod_mm"]
angle = np.deg2rad(table["angle_deg"])
table["height"] = r * (1 + np.cos(angle)) + l - np.sqrt(l**2 - (r * np.sin(angle)) ** 2)
table["total"] = table[gauges].sum(axis=1)
strokes = []
for number, rows in table.groupby("stroke"):
    entry = {
        "stroke": int(number),
        "peak": rows["total"].max(),
        "reverse": -rows["total"].min(),
        "columns_peak": rows[gauges].max().tolist(),
        "columns_reverse": (-rows[gauges].min()).tolist(),
        "work": -np.trapezoid(rows["total"], rows["height"]) / 1000,
        "rows": len(rows),
    }
    if given.get("share"):
        sos = np.tile([given["share"], 0, 0, 1, given["share"] - 1, 0], (2, 1))
        loads = rows[gauges].to_numpy()
        zi = signal.sosfilt_zi(sos)[:, :, None] * loads[0]
        smooth, _ = signal.sosfilt(sos, loads, axis=0, zi=zi)
        total = smooth.sum(axis=1)
        entry["filtered"] = {
            "peak": total.max(),
            "reverse": -total.min(),
            "columns_peak": smooth.max(axis=0).tolist(),
            "columns_reverse": (-smooth.min(axis=0)).tolist(),
        }
    strokes.append(entry)
json.dump(strokes, sys.stdout)
