"""A press frame by SciPy's initial-value solver: rigid slide on elastic, damped columns, from the press's figures.

Reads {"cases": [{"mass_kg", "rated_kn", "stretch_mm", "damping", "gib_share", "gib_factor", "half_mm": [x, y],
"slide_mm": [x, y], "columns": [{"x", "y", "stiffness", "factor"}], "step_s", "force_kn", "at_mm": [x, y]}]};
prints for each case the load of each column at each step, kN. Units: mm, kN, s.
"""

import json
import sys

import numpy as np
from scipy.integrate import solve_ivp


def response(case):
    mass = case["mass_kg"] * 1e-6
    whole = case["rated_kn"] / case["stretch_mm"]
    share = 2.0 * case["damping"] / np.sqrt(whole / mass)
    columns = case["columns"]
    shape = np.array([[1.0, c["x"], c["y"]] for c in columns])
    healthy = np.array([whole / len(columns) * c["stiffness"] for c in columns])
    spring = healthy * np.array([c["factor"] for c in columns])
    stiffness = shape.T @ np.diag(spring) @ shape
    damping = shape.T @ np.diag(healthy * share) @ shape
    masses = [mass]
    for axis in (0, 1):
        held = float(np.sum(shape[:, axis + 1] ** 2 * spring)) * case["gib_share"]
        if not np.any(shape[:, axis + 1]):
            held = 0.5 * whole
        stiffness[axis + 1, axis + 1] += held * case["gib_factor"]
        damping[axis + 1, axis + 1] += held * case["gib_factor"] * share
        # A thin plate about its middle, seen from where the columns stand.
        masses.append(mass * case["slide_mm"][axis] ** 2 / 12.0 / case["half_mm"][axis] ** 2)
    force = np.array(case["force_kn"])
    step = case["step_s"]
    time = np.arange(len(force)) * step
    where = np.array([1.0, case["at_mm"][0] / case["half_mm"][0], case["at_mm"][1] / case["half_mm"][1]])

    def rate(t, state):
        load = np.interp(t, time, force) * where
        moving = (load - stiffness @ state[:3] - damping @ state[3:]) / masses
        return np.concatenate([state[3:], moving])

    done = solve_ivp(
        rate, (0.0, time[-1]), np.zeros(6), method="DOP853", t_eval=time, max_step=step, rtol=1e-8, atol=1e-10
    )
    return (np.diag(spring) @ shape @ done.y[:3]).T.tolist()


given = json.load(sys.stdin)
json.dump([response(case) for case in given["cases"]], sys.stdout)
