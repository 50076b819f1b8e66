"""Sweeps of a lossless 50-ohm line with a resistor in series, by scikit-rf.

Reads {"frequency_hz": [...], "velocity_factor": v, "before_m": a, "behind_m": b,
"ohm": r, "load_gamma": g} and prints the reflection as [[re, im], ...].
"""
import json
import sys

import numpy as np

# Older releases of scikit-rf use names that numpy has dropped.
for name, kind in {"complex": complex, "float": float, "int": int, "bool": bool}.items():
    if name not in np.__dict__:
        setattr(np, name, kind)

import skrf
from skrf.media import DefinedGammaZ0

task = json.load(sys.stdin)
hertz = np.array(task["frequency_hz"])
band = skrf.Frequency.from_f(hertz, unit="hz")
line = DefinedGammaZ0(band, z0=50, gamma=2j * np.pi * hertz / (299792458.0 * task["velocity_factor"]))
total = line.line(task["before_m"], "m") ** line.resistor(task["ohm"]) ** line.line(task["behind_m"], "m") ** line.load(task["load_gamma"])
print(json.dumps([[v.real, v.imag] for v in total.s[:, 0, 0]]))
