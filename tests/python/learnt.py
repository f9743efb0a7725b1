"""What learning found in signatures, by scikit-learn and SciPy from the same signatures.

Reads {"signatures": [[...]], "coils": [...], "left_out": [indices], "sigma": [...], "factors": [[...]], "judged": n,
"statistics": s, "false_stop", "allowed": k}; prints reference, spread and angles of the factors, and the limits.
"""

import json
import sys

import numpy as np
from scipy import linalg, stats
from sklearn.decomposition import PCA

given = json.load(sys.stdin)
x, coils = np.array(given["signatures"]), np.array(given["coils"])
factors = np.array(given["factors"])
reference = np.mean([np.median(x[coils == coil], axis=0) for coil in np.unique(coils)], axis=0)
out = set(given["left_out"])
later = [n for n in range(1, len(x)) if coils[n] == coils[n - 1] and n not in out and n - 1 not in out]
differences = np.array([x[n] - x[n - 1] for n in later]) / np.sqrt(2) / np.array(given["sigma"])
# Each difference with its negative: their mean is zero, as that of differences is taken to be.
count = len(differences)
pca = PCA(n_components=len(factors), svd_solver="full").fit(np.vstack([differences, -differences]))
spread = np.sqrt(pca.explained_variance_ * (2 * count - 1) / (2 * count))
s, judged = given["statistics"], given["judged"]
supported = stats.beta.ppf(0.95, s, judged - s + 1)
answer = {
    "reference": reference.tolist(),
    "spread": spread.tolist(),
    "angles": linalg.subspace_angles(pca.components_.T, factors.T).tolist(),
    "first": abs(float(pca.components_[0] @ factors[0])),
    "supported": supported,
    # Wilks: with this share beyond the limits, fewer than s strokes there are seen in one of twenty such recordings.
    "wilks": stats.binom.cdf(s - 1, judged, supported),
    "allowed_limit": 1.3 * stats.chi2.ppf(1 - given["false_stop"], given["allowed"]),
}
json.dump(answer, sys.stdout)
