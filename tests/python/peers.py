"""General-purpose detectors beside this one, on the same recordings, and the time both take.

    python tests/python/peers.py FOLDER BOLSTER

FOLDER holds fast-train.csv.gz, fast-test.csv.gz, fast-test.truth.csv and fast-press.toml; BOLSTER is the program.
Needs numpy, pandas and scikit-learn. Peers see signatures of 64 equal bins of angle and column, made by NumPy. Each is
shown twice: with its limit from the learning file (the largest of 300 strokes held out of ten-fold models, widened to
1e-4 by an exponential tail), as a shop has to set it, and with a limit set in hindsight so that 0.1 % of good test
strokes stop. Ours has no hindsight. Percentages of strokes stopped.
"""

import json
import os
import subprocess
import sys
import tempfile
import time

import numpy as np
import pandas as pd
from sklearn.covariance import MinCovDet
from sklearn.decomposition import PCA
from sklearn.ensemble import IsolationForest
from sklearn.model_selection import KFold
from sklearn.neighbors import LocalOutlierFactor

BINS = 64
ASKED = 1e-4
HINDSIGHT = 1e-3
COMPONENTS = 8


def signatures(path):
    """One row a stroke: means of 64 equal bins of angle, every column; and the stroke numbers."""
    frame = pd.read_csv(path)
    columns = [name for name in frame.columns if name.endswith("_kn")]
    edges = np.linspace(frame.angle_deg.quantile(0.001), frame.angle_deg.quantile(0.999), BINS + 1)
    place = np.clip(np.searchsorted(edges, frame.angle_deg.to_numpy(), "right") - 1, 0, BINS - 1)
    strokes, first = np.unique(frame.stroke.to_numpy(), return_inverse=True)
    cell = first * BINS + place
    count = np.maximum(np.bincount(cell, minlength=len(strokes) * BINS), 1)
    bins = [np.bincount(cell, frame[name], len(strokes) * BINS) / count for name in columns]
    return np.stack(bins, 1).reshape(len(strokes), -1), strokes


class Band:
    """Largest deviation from the mean in standard deviations."""

    def fit(self, x):
        self.mean, self.spread = x.mean(0), np.maximum(x.std(0, ddof=1), 1e-3)
        return self

    def score(self, x):
        return np.abs((x - self.mean) / self.spread).max(1)


class Residual:
    """Squared residual beside principal components (Q)."""

    def fit(self, x):
        self.pca = PCA(COMPONENTS).fit(x)
        return self

    def score(self, x):
        return ((x - self.pca.inverse_transform(self.pca.transform(x))) ** 2).sum(1)


class Hotelling(Residual):
    """Hotelling's T² within principal components."""

    def score(self, x):
        return (self.pca.transform(x) ** 2 / self.pca.explained_variance_).sum(1)


class Robust(Residual):
    """Mahalanobis distance of component scores by the minimum covariance determinant."""

    def fit(self, x):
        super().fit(x)
        self.robust = MinCovDet(random_state=0).fit(self.pca.transform(x))
        return self

    def score(self, x):
        return self.robust.mahalanobis(self.pca.transform(x))


class Forest:
    """Isolation forest."""

    def fit(self, x):
        self.forest = IsolationForest(n_estimators=200, random_state=0).fit(x)
        return self

    def score(self, x):
        return -self.forest.score_samples(x)


class Neighbours:
    """Local outlier factor."""

    def fit(self, x):
        self.factor = LocalOutlierFactor(20, novelty=True).fit(x)
        return self

    def score(self, x):
        return -self.factor.score_samples(x)


PEERS = {
    "band, largest deviation": Band,
    "PCA residual (Q)": Residual,
    "PCA T²": Hotelling,
    "robust covariance": Robust,
    "isolation forest": Forest,
    "local outlier factor": Neighbours,
}


def limit(peer, train):
    """A limit as a shop can set it: from held-out strokes of the learning file, with an exponential tail."""
    scores = np.empty(len(train))
    for kept, held in KFold(10).split(train):
        scores[held] = peer().fit(train[kept]).score(train[held])
    start = np.quantile(scores, 0.85)
    tail = (scores[scores > start] - start).mean()
    return max(scores.max(), start + tail * np.log(0.15 / ASKED))


def row(name, stopped, kinds, severity):
    good = kinds == "good"
    cells = [100 * stopped[good].mean(), 100 * stopped[~good].mean()]
    cells += [100 * stopped[~good & (severity == level)].mean() for level in (0.05, 0.15, 0.5)]
    print(f"{name:<54}" + "".join(f"{cell:9.1f}" for cell in cells))


def ours(program, folder, test, train):
    press = os.path.join(folder, "fast-press.toml")
    with tempfile.TemporaryDirectory() as into:
        die, out = os.path.join(into, "die.toml"), os.path.join(into, "out.jsonl")
        began = time.perf_counter()
        learn = [program, "learn", train, "--press", press, "--die", "peers", "--out", die]
        subprocess.run(learn, check=True, capture_output=True)
        learnt = time.perf_counter()
        replay = [program, "replay", test, "--press", press, "--die", die, "--jsonl", out]
        subprocess.run(replay, check=True, capture_output=True)
        judged = time.perf_counter()
        with open(out, encoding="utf-8") as lines:
            verdicts = {entry["stroke"]: entry["verdict"] for entry in map(json.loads, lines)}
    return verdicts, learnt - began, judged - learnt


def unmarked(path, into):
    """The recording without its coil column."""
    pd.read_csv(path).drop(columns="coil").to_csv(into, index=False)
    return into


def repeated(path, strokes, into):
    """The recording over and over until it holds so many strokes, plain CSV."""
    frame = pd.read_csv(path)
    many = frame.stroke.nunique()
    parts = []
    for n in range(-(-strokes // many)):
        part = frame.copy()
        part["stroke"] += n * (frame.stroke.max() - frame.stroke.min() + 1)
        parts.append(part)
    whole = pd.concat(parts)
    last = np.sort(whole.stroke.unique())[strokes - 1]
    whole[whole.stroke <= last].to_csv(into, index=False)
    return into


def main():
    folder, program = sys.argv[1:3]
    at = lambda name: os.path.join(folder, name)
    truth = pd.read_csv(at("fast-test.truth.csv")).set_index("stroke")
    train, _ = signatures(at("fast-train.csv.gz"))
    test, strokes = signatures(at("fast-test.csv.gz"))
    kinds = truth.loc[strokes, "kind"].to_numpy()
    severity = truth.loc[strokes, "severity"].to_numpy()
    print(f"{'% of strokes stopped':<54}" + "".join(f"{head:>9}" for head in ("good", "faulty", "at 5 %", "15 %", "50 %")))
    with tempfile.TemporaryDirectory() as into:
        plain = [unmarked(at(f"fast-{n}.csv.gz"), os.path.join(into, f"{n}.csv")) for n in ("test", "train")]
        for name, files in (
            ("bolster, coil changes marked", (at("fast-test.csv.gz"), at("fast-train.csv.gz"))),
            ("bolster, not marked", plain),
        ):
            verdicts, _, _ = ours(program, folder, *files)
            row(name, np.array([verdicts[s] in ("hold", "trip") for s in strokes]), kinds, severity)
        for name, peer in PEERS.items():
            scores = peer().fit(train).score(test)
            row(f"{name}, limit from the learning file", scores > limit(peer, train), kinds, severity)
            hindsight = np.quantile(scores[kinds == "good"], 1 - HINDSIGHT)
            row(f"{name}, limit in hindsight", scores > hindsight, kinds, severity)
        big = repeated(at("fast-test.csv.gz"), 10_000, os.path.join(into, "10000.csv"))
        _, learn, judge = ours(program, folder, big, at("fast-train.csv.gz"))
        began = time.perf_counter()
        train, _ = signatures(at("fast-train.csv.gz"))
        models = [peer().fit(train) for peer in (Band, Residual)]
        limits = [limit(peer, train) for peer in (Band, Residual)]
        learnt = time.perf_counter()
        test, _ = signatures(big)
        for model, bound in zip(models, limits):
            (model.score(test) > bound).sum()
        judged = time.perf_counter()
    print("\nseconds: learn 300 strokes, judge 10,000 (both read the recordings; judging includes every feature and check)")
    print(f"{'bolster':<54}{learn:9.2f}{judge:9.2f}")
    print(f"{'NumPy and pandas: band and PCA':<54}{learnt - began:9.2f}{judged - learnt:9.2f}")


if __name__ == "__main__":
    main()
