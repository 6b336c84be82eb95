"""What the material says for and against the verdict of a fit."""

import pytest

from xrdorder.exceptions import Flag
from xrdorder.running.interpretation import weighed_words


@pytest.mark.parametrize(
    ("words", "flags", "said"),
    [
        ("trustworthy", [], "trustworthy"),
        ("", ["order-above-one"], ""),
        ("trustworthy", ["tin-scale"], "use with care: order and lattice contradict each other about tin"),
        ("use with care: 2 unindexed lines", ["niobium-lattice"],
         "use with care: 2 unindexed lines; the Nb lattice parameter deviates from the reference"),
        ("trustworthy", ["order-above-one"], "do not use: order exceeds one"),
        ("use with care: 2 unindexed lines", ["tin-scale", "order-above-one"],
         "do not use: order exceeds one; 2 unindexed lines; order and lattice contradict each other about tin"),
        ("do not use: chi squared is 30", ["tin-scale"],
         "do not use: chi squared is 30; order and lattice contradict each other about tin"),
    ],
)  # fmt: skip
def test_flags_of_the_material_weigh_on_the_verdict(words: str, flags: list[str], said: str) -> None:
    assert weighed_words(words, [Flag(name, "") for name in flags]) == said
