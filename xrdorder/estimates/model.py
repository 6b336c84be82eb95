"""Joint draws of tin, order, Tc and Bc2 of all wires of a study, from which everything is read.

What is shared by whom::

    study    offset, slope and widening of the a(tin) line, bias of the microprobe, levels of tin and order, change of
             Bc2 over Tc with Tc, sources
    lot      level and spread of tin and order, offset of the lattice, offsets from the relations, dopant content
    treatment in a lot   where a dopant sits, in part
    wire     tin, order, its own sources, scatter of lattice, Tc and Bc2

Differences are differences of draws, intervals are their quantiles; there is no other arithmetic of uncertainty.

How it is computed: `evidence` arranges the wires, `likelihood` integrates each wire out, `sampler` draws what is
shared, and here tin and order of every wire are drawn given that, and Tc and Bc2 from them. Of what no data of a lot
speak (its offsets from the relations, where nothing was anchored), the draws are exactly uncorrelated between lots.

Wires are sorted before anything is drawn, and random numbers go by name: the order of wires plays no part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from xrdorder.estimates import anchors as anchors_of
from xrdorder.estimates import evidence as evidence_of
from xrdorder.estimates import remarks, sampler, streams, unknowns
from xrdorder.estimates.hyperparameters import PUBLISHED, Hyperparameters
from xrdorder.estimates.likelihood import Likelihood
from xrdorder.estimates.properties import critical_temperature, field_ratio
from xrdorder.estimates.wires import Wire, checked
from xrdorder.exceptions import Flag, UnknownNameError, ValidityError
from xrdorder.relations import Relation, bc2_of_temperature
from xrdorder.uncertainty import Array, standard_normal

DRAWS = 4000
"""Resolve a probability to 1 in 4000 and an interval to 2 % of its width."""

TARGETS = ("tin_fraction", "S_a", "site_order", "Tc_K", "Bc2_0K_T")

_LARGEST = 60_000
"""Walkers times wires held at once; larger studies have fewer walkers, of each several draws."""
_FEWEST = 250
_DRAWS_FOR_REMARKS = 500
_PORTION = 6000
"""Draws times wires whose tin and order are drawn at once; random numbers come in this order."""
_TRIES = 6
"""Metropolis moves of tin and order of each wire from Laplace's proposal, of which nine in ten are accepted."""


@dataclass(frozen=True)
class JointDraws:
    """What all wires of a study together say.

    Attributes
    ----------
    samples : tuple of str
        Names of the wires, in the order they were given.
    values : dict of target to array, (samples, draws)
        Targets are `TARGETS`.
    shared : dict of name to array, (draws,)
        What the study shares, in its unit: offset of the a(tin) line (pm), its slope (pm per at.%), widening by
        disorder (pm per unit S_a), bias of the microprobe (at.%).
    by_lot : dict of lot to dict of name to array, (draws,)
        How each lot lies about the relations: tin offset of Tc (at.%), offset of Tc (K), Bc2(0) over Tc (T/K).
    flags : dict of sample to tuple of Flag
    seed : int
    law : Relation
        Temperature law of Bc2.
    """

    samples: tuple[str, ...]
    values: Mapping[str, Array]
    shared: Mapping[str, Array]
    by_lot: Mapping[str, Mapping[str, Array]]
    flags: Mapping[str, tuple[Flag, ...]]
    seed: int
    law: Relation

    def of(self, sample: str, target: str) -> Array:
        """Draws of one target of one sample, (draws,).

        Raises
        ------
        UnknownNameError
            There is no such sample or target.
        """
        if sample not in self.samples or target not in self.values:
            raise UnknownNameError(
                f"no draws of {target!r} of '{sample}'; there are {', '.join(self.values)} of {', '.join(self.samples)}"
            )
        return np.asarray(self.values[target][self.samples.index(sample)])

    def field(self, temperature_k: float) -> Array:
        """Bc2 at a temperature, T, (samples, draws), by the temperature law of these draws."""
        temperature = np.array(float(temperature_k))
        return np.asarray(self.law.function(temperature, self.values["Bc2_0K_T"], self.values["Tc_K"]))

    def slope(self) -> Array:
        """Slope of Bc2 at Tc, T/K, (samples, draws).

        Bc2(0) = 0.693 Tc slope: dirty limit without paramagnetic limit, C. Senatore, R. Flükiger, Appl. Phys. Lett. 102
        (2013) 012602, eq. (4).
        """
        return np.asarray(self.values["Bc2_0K_T"] / (0.693 * self.values["Tc_K"]))

    def resistivity(self, relation: Relation) -> Array:
        """Normal resistivity, microohm cm, (samples, draws), by a relation from order or from tin.

        NaN where a draw lies outside the validity of the relation.
        """
        target = "tin_fraction" if relation.kind == "resistivity-from-tin" else "site_order"
        return relation.evaluate(self.values[target])


def joint_draws(
    wires: Sequence[Wire],
    *,
    seed: int = 0,
    n: int = DRAWS,
    hyper: Hyperparameters = PUBLISHED,
    law: Relation = bc2_of_temperature.POWER,
) -> JointDraws:
    """Draw tin, order, Tc and Bc2 of all wires jointly.

    Parameters
    ----------
    wires : sequence of Wire
    seed : int
    n : int
        Number of draws.
    hyper : Hyperparameters
    law : Relation
        Of kind "bc2-temperature": carries measured Bc2 to 0 K, and draws to a temperature.

    Raises
    ------
    ValidityError
        There is no wire, two have the same name, or the relation is none of Bc2 at a temperature.
    """
    if not wires:
        raise ValidityError("no wire to estimate; give at least one")
    if law.kind != "bc2-temperature":
        raise ValidityError(
            f"relation '{law.name}' is none of Bc2 at a temperature; give one of kind bc2-temperature"
        )
    kept, flags = checked(wires)
    likelihood = _likelihood(kept, hyper, law)
    study, lots = _shared(likelihood, seed, n)
    values = _drawn(likelihood, study, lots, seed)
    remarks.add(flags, likelihood.evidence, hyper, values["tin_fraction"])
    if remarks.with_rivals(kept):
        remarks.contradictions(flags, kept, _by_x_rays(kept, hyper, law, seed))
    place = {wire.name: k for k, wire in enumerate(kept)}
    order = [place[wire.name] for wire in wires]
    return JointDraws(
        tuple(wire.name for wire in wires),
        {target: np.ascontiguousarray(draws[order]) for target, draws in values.items()},
        _of_study(hyper, study),
        _of_lots(likelihood, study, lots),
        {wire.name: _one_of_each(flags[wire.name]) for wire in wires},
        seed,
        law,
    )


def _one_of_each(flags: Sequence[Flag]) -> tuple[Flag, ...]:
    """Flags of one name as one, so that whoever shows a message for each name shows all of them."""
    messages: dict[str, list[str]] = {}
    for flag in flags:
        messages.setdefault(flag.name, []).append(flag.message)
    return tuple(Flag(name, "; ".join(message)) for name, message in messages.items())


def _likelihood(wires: Sequence[Wire], hyper: Hyperparameters, law: Relation) -> Likelihood:
    evidence = evidence_of.gather(wires, hyper)
    return Likelihood(evidence, anchors_of.gather(wires, evidence.lot_of, law.function, hyper), hyper)


def _by_x_rays(wires: Sequence[Wire], hyper: Hyperparameters, law: Relation, seed: int) -> dict[str, Array]:
    """Draws of what was measured on wires as if it had not been, (wires, draws)."""
    bare = [replace(wire, tc_k=None, bc2_t=None, tin_at_percent=None) for wire in wires]
    likelihood = _likelihood(bare, hyper, law)
    study, lots = _shared(likelihood, seed, _DRAWS_FOR_REMARKS)
    values = _drawn(likelihood, study, lots, seed)
    at = np.array([[wire.bc2_t.temperature_k if wire.bc2_t else 0.0] for wire in wires])
    return {
        "tin_at_percent": 100.0 * values["tin_fraction"] + hyper["probe_bias"],
        "tc_k": values["Tc_K"],
        "bc2_t": law.function(at, values["Bc2_0K_T"], values["Tc_K"]),
    }


def _shared(likelihood: Likelihood, seed: int, n: int) -> tuple[Array, Array]:
    """Draws of what the study and the lots share, (n, p) and (n, lots, q)."""
    evidence = likelihood.evidence
    walkers = int(min(n, max(_FEWEST, _LARGEST // len(evidence.wires))))
    rounds = -(-n // walkers)
    random = streams.generator(seed, "walkers", *(wire.name for wire in evidence.wires))
    study = random.standard_normal((walkers, unknowns.study_size(evidence)))
    lots = random.standard_normal((walkers, len(evidence.lots), unknowns.lot_size(evidence)))
    active = _active(likelihood)
    study, lots = sampler.sample(likelihood, study, lots, active, rounds * walkers, random)
    study, lots = study[:n], lots[:n]
    free = [(lot, k) for lot, k in np.argwhere(~active)]
    names = ["\x00".join((*evidence.lots[lot], _latent(evidence, k))) for lot, k in free]
    for (lot, k), column in zip(free, streams.shared_normals(n, seed, names).T, strict=True):
        lots[:, lot, k] = column
    return study, lots


def _latent(evidence: evidence_of.Evidence, k: int) -> str:
    m = evidence.lot_directions.shape[2]
    return (*unknowns.LOT, *(f"direction {j}" for j in range(m)), *unknowns.RELATIONS)[k]


def _active(likelihood: Likelihood) -> np.ndarray:
    """Latents of each lot that its evidence depends on, (lots, q)."""
    evidence, anchors = likelihood.evidence, likelihood.anchors
    m = evidence.lot_directions.shape[2]
    active = np.ones((len(evidence.lots), unknowns.lot_size(evidence)), dtype=bool)
    for lot in range(len(evidence.lots)):
        used = np.any(evidence.lot_directions[evidence.lot_of == lot] != 0.0, axis=(0, 1))
        active[lot, len(unknowns.LOT) : len(unknowns.LOT) + m] = used
    active[:, len(unknowns.LOT) + m :] = False
    field, tc = anchors.has("field"), anchors.has("tc")
    first = len(unknowns.LOT) + m
    for lot in anchors.lots[field | tc]:
        active[lot, first : first + 2] = True
    for lot in anchors.lots[field]:
        active[lot, first + 2] = True
    return active


def _drawn(likelihood: Likelihood, study: Array, lots: Array, seed: int) -> dict[str, Array]:
    """Draws of the targets, (wires, n) each."""
    n, wires = len(study), likelihood.evidence.wires
    values = {target: np.empty((len(wires), n)) for target in TARGETS}
    random = streams.generator(seed, "wires", *(wire.name for wire in wires))
    scatter = np.array(
        [
            [standard_normal(n, seed, f"estimates/{what}", key=wire.name) for wire in wires]
            for what in ("Tc", "ratio")
        ]
    )
    for part in likelihood.portions(n, _PORTION):
        tin, order = _draw_wires(likelihood, study[part], lots[part], random)
        tc, field = _draw_properties(
            likelihood, study[part], lots[part], tin, scatter[:, :, part].transpose(0, 2, 1)
        )
        for target, draws in zip(TARGETS, (0.01 * tin, order, 0.04 * tin * order, tc, field), strict=True):
            values[target][:, part] = draws.T
    return values


def _draw_wires(
    likelihood: Likelihood, study: Array, lots: Array, random: np.random.Generator
) -> tuple[Array, Array]:
    """Tin (at.%) and order of all wires given what is shared, (draws, wires): Metropolis from Laplace's proposal."""
    given = likelihood.given(study, lots)
    best = given.solve()
    l11 = np.sqrt(best.h_tin)
    l21 = best.h_mixed / l11
    l22 = np.sqrt(best.h_order - l21**2)
    z_tin, z_order, weight = best.z_tin, best.z_order, given.density(best.z_tin, best.z_order)
    for k in range(_TRIES + 1):
        e = random.standard_normal((2, *z_tin.shape))
        d_order = e[1] / l22
        new_tin, new_order = best.z_tin + (e[0] - l21 * d_order) / l11, best.z_order + d_order
        new = 0.5 * np.sum(e**2, axis=0) + given.density(new_tin, new_order)
        # the first is taken as it comes: the start is no draw
        yes = (np.log(random.random(new.shape)) < new - weight) | (k == 0)
        z_tin, z_order = np.where(yes, new_tin, z_tin), np.where(yes, new_order, z_order)
        weight = np.where(yes, new, weight)
    wire = given.state(z_tin, z_order)
    return wire.tin, wire.order


def _draw_properties(
    likelihood: Likelihood, study: Array, lots: Array, tin: Array, normals: Array
) -> tuple[Array, Array]:
    """Tc (K) and Bc2(0) (T) of all wires, (draws, wires), their own scatter included."""
    hyper, anchors = likelihood.hyper, likelihood.anchors
    shared = likelihood.given(study, lots).unknowns
    by_wire = shared.relations.of(likelihood.evidence.lot_of)
    scatter = normals.copy()
    if len(anchors.wires):
        index = anchors.wires
        measured = shared.relations.of(anchors.lots)
        scatter[:, :, index] = anchors.scatter(measured, tin[:, index], normals[:, :, index])
    tc, _ = critical_temperature(tin, by_wire.tin_offset, by_wire.tc_offset)
    tc = tc + hyper["tc_scatter_k"] * scatter[0]
    ratio = field_ratio(hyper, by_wire, tc) + by_wire.ratio_scatter * scatter[1]
    return tc, tc * ratio


def _of_study(hyper: Hyperparameters, study: Array) -> dict[str, Array]:
    offset, slope, widening, bias = (study[:, k] for k in range(4))
    in_units = (
        unknowns.offset_of(hyper, offset),
        hyper["slope_pm"] * np.exp(hyper["slope_spread"] * slope),
        unknowns.widening_of(hyper, widening),
        hyper["probe_bias"] + hyper["u_probe_bias"] * bias,
    )
    return dict(zip(unknowns.STUDY, in_units, strict=False))


def _of_lots(likelihood: Likelihood, study: Array, lots: Array) -> dict[str, dict[str, Array]]:
    relations = likelihood.given(study, lots).unknowns.relations
    parts = relations.tin_offset, relations.tc_offset, relations.ratio
    return {
        _named(likelihood.evidence, lot): {
            name: part[:, k] for name, part in zip(unknowns.RELATIONS, parts, strict=False)
        }
        for k, lot in enumerate(likelihood.evidence.lots)
    }


def _named(evidence: evidence_of.Evidence, lot: tuple[str, str]) -> str:
    """Name of a lot, with its kind where another of that name has another."""
    twice = sum(name == lot[0] for name, _ in evidence.lots) > 1
    return lot[0].lstrip("\x00") + (f" ({lot[1]})" if twice else "")
