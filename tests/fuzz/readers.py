"""The readers, what a file for each looks like, and what must hold of what they give."""

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from tests.fuzz.mutations import mutated
from tests.fuzz.trees import tree
from tests.profiles.test_instrument import some_instrument
from xrdorder.crystals import phase
from xrdorder.description.new_study import new_study
from xrdorder.description.study import read_study
from xrdorder.material.strain_free import read_directions
from xrdorder.material.tin_scale_files import read_known_samples, read_tin_scale
from xrdorder.patterns import read_pattern
from xrdorder.patterns.nexus import read_nexus
from xrdorder.profiles import read_instrument, write_instrument
from xrdorder.relations.own import read_relations
from xrdorder.treatments.logged import read_log


@dataclass(frozen=True)
class Reader:
    """How to make a file of that name out of random numbers, and how to read it."""

    name: str
    file: str
    make: Callable[[np.random.Generator], bytes]
    read: Callable[[Path], Any]
    quick: int = 100
    """Cases of the quick tests."""
    lines: bool = False
    """Whether a complaint may have several lines, one for each fault."""


def _pattern(path: Path) -> None:
    pattern = read_pattern(path)
    assert np.isfinite(pattern.values).all() and (pattern.values >= 0.0).all()
    assert (pattern["variance"].values > 0.0).all()
    assert (np.diff(pattern["two_theta"].values) >= 0.0).all()
    str(pattern.attrs).encode()


def _nexus_here(path: Path) -> None:
    read_nexus(path.read_bytes(), path.name)


def _study(path: Path) -> None:
    read_study(path.parent)


def _table(path: Path) -> None:
    (path.parent / "study.toml").write_text(
        'samples_table = "samples.csv"\n[instrument]\nfile = "a.toml"\n[lots.a]\n', encoding="utf-8"
    )
    read_study(path.parent)


ROWS = "".join(f"{20 + 0.02 * k:.2f} {(k * 7919) % 97 + 3}\n" for k in range(40))
TEXTS = [
    ROWS,
    f"# radiation: cu-ka\n# counting_time_s: 2\n# flags: [[\"a\", \"b\"]]\n{ROWS}\n# counting_time_s: 3\n{ROWS}",
    ROWS.replace(".", ",").replace(" ", ";"),
    "2theta counts su\n" + "".join(f"{line} 3.5\n" for line in ROWS.splitlines()),
    "# wavelength: 1.5406 A\n# temperature: 22 °C\n# geometry: transmission\n# number_of_points: 40\n"
    + ROWS.replace(" ", ","),
    "".join(reversed(ROWS.splitlines(keepends=True))),
]  # fmt: skip
_LOOP = "loop_\n_pd_meas_2theta_scan\n_pd_meas_counts_total\n" + ROWS
CIFS = [
    "data_a\n" + _LOOP,
    "data_a\n_diffrn_radiation_type 'Cu K\\a'\n_diffrn_radiation_wavelength 1.5406\n_pd_meas_step_count_time 2\n"
    "_diffrn_ambient_temperature 295(1)\n_pd_spec_mount_mode reflection\n_pd_meas_number_of_points 40\n" + _LOOP,
    "data_a\n_pd_meas_2theta_range_min 20\n_pd_meas_2theta_range_max 20.78\n_pd_meas_2theta_range_inc 0.02\nloop_\n"
    "_pd_proc_intensity_total\n_pd_proc_ls_weight\n" + "".join(f"{k}.5(12) 0.{k + 1}\n" for k in range(40)),
    "#\\#CIF_2.0\ndata_a\n_x '''a\nb'''\n_y [1 {'a':2}]\n" + _LOOP.replace("_pd_meas_", "_pd_meas."),
    f"data_a\n_diffrn_source.source 'sealed tube'\n;\ntext\n;\n{_LOOP}data_b\n{_LOOP}",
]
STRUCTURES = [
    "data_s\n_cell_length_a 6.2931(4)\n_cell_length_b 6.2931(4)\n_cell_length_c 6.2931(4)\n_cell_angle_alpha 90\n"
    "_cell_angle_beta 90\n_cell_angle_gamma 90\n_space_group_name_H-M_alt 'F m -3 m'\nloop_\n_atom_site_label\n"
    "_atom_site_type_symbol\n_atom_site_fract_x\n_atom_site_fract_y\n_atom_site_fract_z\n_atom_site_occupancy\n"
    "_atom_site_U_iso_or_equiv\nK1 K 0 0 0 1 0.0270\nCl1 Cl 0.5 0.5 0.5 1 0.0260\n",
    "#\\#CIF_2.0\ndata_s\n_cell.length_a 2.5\n_cell.length_b 2.5\n_cell.length_c 4.1\n_cell.angle_alpha 90\n"
    "_cell.angle_beta 90\n_cell.angle_gamma 120\n_space_group.IT_number 194\n_a [1]\nloop_\n"
    "_space_group_symop.operation_xyz\nx,y,z\n'-x,-y,z+1/2'\nloop_\n_atom_site.label\n_atom_site.fract_x\n"
    "_atom_site.fract_y\n_atom_site.fract_z\nCo 1/3 0.6667 0.25\n",
]  # fmt: skip
_PHASES = Path(__file__).parents[2] / "xrdorder" / "crystals" / "phases"
RELATIONS = """[[relation]]
name = "our-tc"
kind = "tc-from-tin"
title = "twelve bronze wires"
expression = "Tc0 - 12 / (1 + exp((beta - 0.22) / 0.009))"
inputs = [{ name = "beta", usual = 0.24 }, { name = "Tc0", meaning = "highest Tc", unit = "K", usual = 18.1 }]
source = "laboratory notebook 12, page 40"
equation = "fit of June 2026"
valid = [0.20, 0.25]
scatter = 0.2
wire = "Ta"

[[adjustment]]
of = "godeke-2006-boltzmann"
name = "godeke-2006-boltzmann-ours"
offset = 0.2
u_offset = 0.1
source = "ten wires of 2026"
samples = ["wire-1", "wire-2"]
"""
SCALE = """name = "ours"
a_at_24_nm = 0.5287
slope_nm = 0.014
covariance = [[4e-10, 1e-8], [1e-8, 1e-6]]
source = "invented"
samples = ["a", "b"]
"""
KNOWN = [
    "# c\nsample,a_nm,u_a_nm,tin_at_percent,u_tin_at_percent\na,0.5285,1e-5,22.5,0.3\n\"b\",0.5288,1e-5,24.0,0.3\n",
    "sample;a_nm;u_a_nm;tin_at_percent;u_tin_at_percent;x\na;0.5285;1e-5;22.5;0.3;\n",
]  # fmt: skip
DIRECTIONS = "angle_deg,a_nm,u_a_nm\n0,0.5285,1e-5\n45,0.5286,1e-5\n90,0.5287,1e-5\n"
LOGS = [
    "time_h,temperature_c\n0,25\n1,650\n100,650\n",
    "Zeit;t [s];T (°C)\n1;0;25,5\n2;3600;650\n3;7200;650,1\n",
    "time / h\ttemperature / °C\n0\t25\n5\t700\n",
]
SAMPLES = [
    "name,pattern,lot,treatment,hold_c,hours,measured.Tc_K,fit.strain\na,a.xy,a,,650,100,17.9,true\nb,b.xy,,650/100,,,,\n",
    "name;pattern;position_m;temperature_c\na;a.xy|b.xy;1,5;22,5\n# c\n\nb;c.xy;;\n",
]  # fmt: skip


def _from(*seeds: str | bytes) -> Callable[[np.random.Generator], bytes]:
    files = [seed.encode() if isinstance(seed, str) else seed for seed in seeds]
    return lambda rng: mutated(rng, files)


def _hdf5() -> list[bytes]:
    found = []
    for options in ({}, {"compression": 4, "shuffle": True, "chunks": (10,)}):
        stream = io.BytesIO()
        with h5py.File(stream, "w") as file:
            entry = file.create_group("entry")
            data = entry.create_group("data")
            entry.attrs.update({"NX_class": "NXentry", "default": "data"})
            data.attrs.update({"NX_class": "NXdata", "signal": "counts", "axes": ["two_theta"]})
            data.create_dataset("counts", data=np.arange(40) + 20, **options)
            data.create_dataset("two_theta", data=20.0 + 0.02 * np.arange(40), **options).attrs["units"] = "degree"
            entry["sample/temperature"] = 295.0
        found.append(stream.getvalue())
    return found


def readers(folder: Path) -> list[Reader]:
    """All of them; files to begin with are made in the folder."""
    write_instrument(some_instrument(), folder / "seed.toml")
    instrument = (folder / "seed.toml").read_bytes()
    study = new_study(folder / "seed").read_bytes()
    full = study.replace(b"\n# ", b"\n")
    demo = (Path(__file__).parents[2] / "demo_patterns" / "study.toml").read_bytes()
    phases = [(_PHASES / f"{name}.toml").read_bytes() for name in ("nb3sn", "nb6sn5", "cu6sn5", "corundum")]
    return [
        Reader("text", "a.xy", _from(*TEXTS), _pattern, 200),
        Reader("cif", "a.cif", _from(*CIFS), _pattern, 200),
        Reader("nexus", "a.nxs", _from(*_hdf5()), _pattern, 4),
        Reader("nexus-tree", "a.nxs", tree, _nexus_here, 60),
        Reader("phase-cif", "a.cif", _from(*STRUCTURES), phase),
        Reader("phase-toml", "a.toml", _from(*phases), phase),
        Reader("instrument", "a.toml", _from(instrument), read_instrument),
        Reader("relations", "a.toml", _from(RELATIONS), read_relations),
        Reader("tin-scale", "a.toml", _from(SCALE), read_tin_scale),
        Reader("known-samples", "a.csv", _from(*KNOWN), read_known_samples),
        Reader("directions", "a.csv", _from(DIRECTIONS), read_directions),
        Reader("log", "a.csv", _from(*LOGS), read_log),
        Reader("study", "study.toml", _from(study, full, demo), _study, 60, lines=True),
        Reader("samples", "samples.csv", _from(*SAMPLES), _table, 60, lines=True),
    ]
