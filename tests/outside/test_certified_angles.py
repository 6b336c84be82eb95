"""Lines of certified powders that must not be there; those that are stand in the table (tests/outside/rows)."""

from tests.outside.rows.certificates import SILICON_640, silicon


def test_silicon_lines_between_the_listed_ones_are_absent() -> None:
    # 222 and 442 vanish for spherical atoms, 333 stands with 511, 622 is absent as 222 is.
    assert set(silicon()) == set(SILICON_640) | {"333", "444"}
