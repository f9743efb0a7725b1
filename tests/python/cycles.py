"""Cycle counts of ASTM E1049-85 by the package rainflow.

Reads a list of series; prints for each the list of [range, cycles], ranges rising, equal ranges together.
"""

import json
import sys

import rainflow

json.dump([rainflow.count_cycles(series) for series in json.load(sys.stdin)], sys.stdout)
