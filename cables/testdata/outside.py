"""Answers tasks, read as a JSON list from standard input, with scikit-rf or scipy.

cascade: {"frequency_hz": [...], "elements": [...], "load_ohm": R}
         -> [[re, im], ...], the reflection in 50 ohm
fit:     {"columns": [[...], ...]}
         -> the non-negative least-squares solution of columns . x = 1
The answers are the last line printed; libraries may print notes before it.
"""
import json
import sys

import numpy as np

# Older releases of scikit-rf use names that numpy has dropped.
for name, kind in {"complex": complex, "float": float, "int": int, "bool": bool}.items():
    if name not in np.__dict__:
        setattr(np, name, kind)


def cascade(task):
    import skrf
    from skrf.media import DefinedGammaZ0, DistributedCircuit

    hertz = np.array(task["frequency_hz"])
    band = skrf.Frequency.from_f(hertz, unit="hz")
    ideal = DefinedGammaZ0(band, z0=50, gamma=2j * np.pi * hertz / 299792458.0)
    total = ideal.thru()
    for e in task["elements"]:
        kind = e["kind"]
        if kind == "line":
            z = np.array(e["series_real"]) + 1j * np.array(e["series_imag"])
            y = np.array(e["shunt_real"]) + 1j * np.array(e["shunt_imag"])
            omega = 2 * np.pi * hertz
            medium = DistributedCircuit(band, R=z.real, L=z.imag / omega, G=y.real, C=y.imag / omega)
            part = medium.line(e["length_m"], "m")
            part.renormalize(50, s_def="traveling")
        else:
            place, value = kind.split("-")[0], e["value"]
            part = {"resistor": ideal.resistor, "inductor": ideal.inductor, "capacitor": ideal.capacitor}[kind.split("-")[1]](value)
            if place == "shunt":
                part = ideal.shunt(part ** ideal.short())
        total = total ** part
    end = ideal.load((task["load_ohm"] - 50) / (task["load_ohm"] + 50))
    return [[v.real, v.imag] for v in (total ** end).s[:, 0, 0]]


def fit(task):
    from scipy.optimize import nnls

    columns = np.array(task["columns"], dtype=float).T
    scale = np.linalg.norm(columns, axis=0)
    return list(nnls(columns / scale, np.ones(len(columns)))[0] / scale)


answers = {"cascade": cascade, "fit": fit}
print(json.dumps([answers[task["task"]](task) for task in json.load(sys.stdin)]))
