"""Independent readings of sweep files, for the tests of dsp/sweep.

Usage: reference.py DIR

Reads every .s1p and .s2p file in DIR with scikit-rf and computes the views of
its first port; converts random two-ports between parameters, too. Prints one
JSON object. Units: Hz, ohm, siemens, degrees, seconds.
"""
import glob
import json
import os
import sys
import warnings

warnings.simplefilter("ignore")
sys.stdout, out = sys.stderr, sys.stdout  # what the libraries say goes elsewhere
import numpy as np

if not hasattr(np, "complex"):
    np.complex = complex  # older scikit-rf asks for the name that newer NumPy dropped
import skrf as rf


def pairs(values):
    return [[float(v.real), float(v.imag)] for v in np.asarray(values).ravel()]


files = {}
for path in sorted(glob.glob(os.path.join(sys.argv[1], "*.s[12]p"))):
    network = rf.Network(path)
    s11 = network.s[:, 0, 0]
    phase = np.degrees(np.unwrap(np.angle(s11)))
    first = network.s11
    files[os.path.basename(path)] = {
        "f": network.f.tolist(),
        "z0": [float(z.real) for z in network.z0[0]],
        "s": pairs(network.s),  # point by point, row by row
        "db": first.s_db.ravel().tolist(),
        "vswr": first.s_vswr.ravel().tolist(),
        "phase": first.s_deg.ravel().tolist(),
        "z": pairs(first.z),
        "y": pairs(first.y),
        "unwrapped": phase.tolist(),
        "delay": (-np.gradient(phase, network.f, edge_order=2) / 360).tolist(),
    }

generator = np.random.default_rng(7)
s = (generator.normal(size=(20, 2, 2)) + 1j * generator.normal(size=(20, 2, 2))) / 3
z0 = [50.0, 75.0]
conversions = {
    "z0": z0,
    "s": pairs(s),
    "z": pairs(rf.s2z(s, np.array([z0] * 20))),
    "y": pairs(rf.s2y(s, np.array([z0] * 20))),
}
json.dump({"version": rf.__version__, "files": files, "conversions": conversions}, out)
