"""Which lattice parameters occur in a phase, and how much of each? Composition gradients and populations."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.polynomial.legendre import leggauss

# Panels of the exponential tail in decay lengths; what lies beyond the last is 1e-6 of the tail.
_TAIL_PANELS = (0.0, 0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 14.0)
_NODES_PER_PANEL = 3


@dataclass(frozen=True)
class LatticeComponent:
    """Mass share of material with one lattice parameter (nm) and, where it has its own, domain size (nm)."""

    a_nm: float
    weight: float
    domain_size_nm: float | None = None


@dataclass(frozen=True)
class LatticeDistribution:
    """Any discrete set of lattice parameters; weights are mass shares and made to sum to one."""

    components: tuple[LatticeComponent, ...]

    def __post_init__(self) -> None:
        total = sum(part.weight for part in self.components)
        if not self.components or min(part.weight for part in self.components) < 0.0 or total <= 0.0:
            raise ValueError("a distribution needs components of positive weight")
        scaled = tuple(replace(part, weight=part.weight / total) for part in self.components)
        object.__setattr__(self, "components", scaled)

    @property
    def mean_nm(self) -> float:
        """Mean over mass."""
        return sum(part.weight * part.a_nm for part in self.components)

    @property
    def rms_nm(self) -> float:
        """Standard deviation."""
        return math.sqrt(self._moment(2))

    @property
    def skewness(self) -> float:
        """Third central moment over rms³: negative with a tail toward small lattice parameters."""
        return self._moment(3) / self.rms_nm**3

    def _moment(self, order: int) -> float:
        return sum(part.weight * (part.a_nm - self.mean_nm) ** order for part in self.components)

    def scaled(self, factor: float) -> "LatticeDistribution":
        """Every lattice parameter times a factor: thermal expansion."""
        return LatticeDistribution(tuple(replace(p, a_nm=p.a_nm * factor) for p in self.components))

    def at_mean(self, a_nm: float) -> "LatticeDistribution":
        """Same shape, shifted to this mean."""
        shift = a_nm - self.mean_nm
        return LatticeDistribution(tuple(replace(p, a_nm=p.a_nm + shift) for p in self.components))

    @classmethod
    def exponential_tail(cls, a_nm: float, share: float, decay_nm: float) -> "LatticeDistribution":
        """A mass share exponentially spread below the lattice parameter `a_nm` of all the rest.

        Mean a - share decay; variance share (2 - share) decay².
        """
        node, part = leggauss(_NODES_PER_PANEL)
        parts = [LatticeComponent(a_nm, 1.0 - share)]
        for low, high in pairwise(_TAIL_PANELS):
            depth = (low + high) / 2.0 + (high - low) / 2.0 * node
            mass = share * part * (high - low) / 2.0 * np.exp(-depth)
            parts += [
                LatticeComponent(a_nm - decay_nm * float(x), float(m))
                for x, m in zip(depth, mass, strict=True)
            ]
        return cls(tuple(parts))

    @classmethod
    def graded(cls, a_low_nm: float, a_high_nm: float, slope: float = 0.0, nodes: int = 24) -> "LatticeDistribution":
        """Everything between two sharp edges, density ∝ 1 + slope u with u from -1 (low) to 1 (high).

        With the half width h: mean in the middle plus slope h / 3, variance h² (1/3 - slope² / 9).
        """
        if abs(slope) > 1.0:
            raise ValueError("the slope of a gradient lies between -1 and 1")
        middle, half = (a_low_nm + a_high_nm) / 2.0, (a_high_nm - a_low_nm) / 2.0
        u, part = leggauss(nodes)
        mass = part * (1.0 + slope * u)
        return cls(
            tuple(
                LatticeComponent(middle + half * float(x), float(m)) for x, m in zip(u, mass, strict=True)
            )
        )

    @classmethod
    def two_populations(
        cls,
        a_lean_nm: float,
        a_rich_nm: float,
        rich_share: float,
        domain_lean_nm: float | None = None,
        domain_rich_nm: float | None = None,
    ) -> "LatticeDistribution":
        """Two kinds of grains, each of one composition and size; `rich_share` is a mass share."""
        return cls(
            (
                LatticeComponent(a_lean_nm, 1.0 - rich_share, domain_lean_nm),
                LatticeComponent(a_rich_nm, rich_share, domain_rich_nm),
            )
        )

    @classmethod
    def mixture(cls, *parts: tuple[float, "LatticeDistribution"]) -> "LatticeDistribution":
        """Several distributions, each with its mass share."""
        total = sum(share for share, _ in parts)
        return cls(
            tuple(
                replace(one, weight=one.weight * share / total)
                for share, distribution in parts
                for one in distribution.components
            )
        )
