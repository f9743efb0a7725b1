"""Where the spectrum of a free decay peaks, by NumPy.

Reads [{"file", "column", "from", "to"}]: a data logger's file (tab-separated, seconds first), one of its columns and the
part to look at, in seconds since the sum of columns 1 and 2 last fell through half its peak. Prints the frequency of each.
"""

import json
import sys

import numpy as np
import pandas as pd

frequencies = []
for given in json.load(sys.stdin):
    # The first row of a file has a fourth value.
    table = pd.read_csv(given["file"], sep="\t", header=None, names=["time", "left", "right", "more"])
    loads = table[["left", "right"]] - table[["left", "right"]].head(1000).mean()
    total, rate = loads.sum(axis=1).to_numpy(), 1 / np.median(np.diff(table["time"]))
    peak = total.argmax()
    zero = peak + np.flatnonzero(total[peak:] > 0.5 * total[peak])[-1]
    start, end = (zero + int(round(given[side] * rate)) for side in ("from", "to"))
    part = loads[given["column"]].to_numpy()[start:end]
    time = np.linspace(-1, 1, len(part))
    part = part - np.polyval(np.polyfit(time, part, 2), time)
    window = np.cos(np.pi * np.arange(len(part)) / 2 / len(part)) ** 2
    lines = np.abs(np.fft.rfft(part * window, 1 << 20))
    frequencies.append(float(np.fft.rfftfreq(1 << 20, 1 / rate)[lines.argmax()]))
json.dump(frequencies, sys.stdout)
