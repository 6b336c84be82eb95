"""What stands in the model of a fit is said in words, with what was asked for and did not come in."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from tests.explanation import explained
from tests.results import made
from xrdorder.forward_model.roles import Kind
from xrdorder.results.sample_file import failure
from xrdorder.running.model_summary import model_words

MAIN = {
    "nb3sn_order_contrast": ("nb3sn", Kind.CONTRAST),
    "nb3sn_scale": ("nb3sn", Kind.SCALE),
    "nb3sn_a_nm": ("nb3sn", Kind.LENGTH),
    "nb_scale": ("nb", Kind.SCALE),
    "nb_a_nm": ("nb", Kind.LENGTH),
    "cu_sn_scale": ("cu-sn", Kind.SCALE),
}
MORE = {
    "nb_texture_4": ("nb", Kind.HARMONIC),
    "nb_texture_6": ("nb", Kind.HARMONIC),
    "nb_march_r": ("nb", Kind.MARCH),
    "nb_strain_anisotropy": ("nb", Kind.ANISOTROPY),
    "nb_b_iso_2a_nm2": ("nb", Kind.B_ISO),
    "nb3sn_b_iso_2a_nm2": ("nb3sn", Kind.B_ISO),
    "nb3sn_lattice_tail_nm": ("nb3sn", Kind.TAIL),
    "nb3sn_depth_slope": ("nb3sn", Kind.DEPTH),
    "nb3sn_elastic_shift": ("nb3sn", Kind.ELASTIC),
    "stray_k_beta_share": ("", Kind.CONTAMINATION),
}


def sample(*free, held=(), choices=None, more=None, **options):
    """A stored fit of three phases with these parameters free; copper-tin was looked for and not found."""
    found = explained.sample()
    names = np.array([*MAIN, *free, *held], dtype=object)
    here = np.array([*MAIN, *free], dtype=object)
    parameters = xr.Dataset(
        {
            "value": ("parameter", np.full(len(names), 0.1)),
            "vary": ("parameter", np.array([name in here for name in names], np.int8)),
            **made.roles([(MAIN | MORE)[name] for name in names]),
        },
        coords={"parameter": names, "free": here},
    )
    phases = xr.Dataset(
        {"present": ("phase", np.array([1, 1, 0], np.int8))},
        coords={"phase": np.array(["nb3sn", "nb", "cu-sn"], dtype=object)},
    )
    return replace(
        found,
        values={**found.values, **(more or {})},
        groups={"parameters": parameters, "phases": phases},
        provenance=replace(found.provenance, options={"fit": choices or {}, **options}),
    )


def test_phases_found_come_first_and_effects_held_at_nothing_are_not_in():
    assert model_words(sample(held=("nb_texture_4", "nb3sn_depth_slope", "stray_k_beta_share"))) == (
        "phases nb3sn, nb",
    )


@pytest.mark.parametrize(
    ("free", "choices", "more", "said"),
    [
        (("nb3sn_lattice_tail_nm",), {}, {}, "tail of the A15 lattice parameters"),
        (("nb3sn_lattice_tail_nm",), {"lattice_distribution": "tail"}, {},
         "tail of the A15 lattice parameters (asked for)"),
        ((), {}, {"rich_share": 0.4}, "two populations of A15"),
        ((), {"lattice_distribution": "single"}, {}, "one A15 lattice parameter (asked for)"),
        ((), {"lattice_distribution": "two-populations"}, {},
         "not in: two-populations of the A15 lattice, though asked for"),
        (("nb3sn_depth_slope",), {"depth_gradient": True}, {}, "A15 lattice that changes with depth (asked for)"),
        ((), {"depth_gradient": True}, {}, "not in: A15 lattice that changes with depth, though asked for"),
        (("nb3sn_elastic_shift",), {"elastic_shifts": True}, {}, "elastic shifts of A15 grains (asked for)"),
        (("nb_texture_4", "nb_texture_6"), {}, {}, "texture of nb by cubic harmonics up to order 6"),
        (("nb_march_r",), {"texture_axes": {"nb": [1, 1, 0]}}, {},
         "texture of nb about (1 1 0) by March's function (asked for)"),
        ((), {"texture_axes": {"cu-sn": [1, 1, 1]}}, {}, "not in: texture of cu-sn, though asked for"),
        (("nb_strain_anisotropy",), {}, {}, "microstrain by direction of nb"),
        (("nb_b_iso_2a_nm2",), {}, {}, "displacement parameters of nb"),
        (("nb3sn_b_iso_2a_nm2",), {}, {}, "displacement parameters of nb3sn"),
        (("stray_k_beta_share",), {}, {}, "K-beta of the tube"),
        ((), {"roughness": [0.3, 0.05]}, {}, "surface roughness p = 0.3, q = 0.05 (as given)"),
        ((), {"mu_r": 0.8}, {}, "µR = 0.8 (as given)"),
        ((), {"mu_t": 0.0}, {}, "µt = 0 (as given)"),
        ((), {"particle_size_um": 3.0}, {}, "microabsorption of particles of 3 µm (as given)"),
        ((), {"measured_dispersion": {"Nb": [-2.1, 0.6]}}, {}, "f' and f'' of Nb (as given)"),
        ((), {"tube_lines": False}, {}, "not looked for: K-beta and tungsten lines of the tube"),
    ],
)  # fmt: skip
def test_each_effect_has_its_words(free, choices, more, said):
    assert model_words(sample(*free, choices=choices, more=more)) == ("phases nb3sn, nb", said)


def test_the_standard_mixed_in_is_named():
    assert model_words(sample(internal_standard="srm-640c"))[-1] == "angles by srm-640c mixed in"


def test_nothing_is_said_without_a_fit():
    assert model_words(failure("x", "why", explained.sample().provenance)) == ()
