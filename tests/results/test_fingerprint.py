"""A result is renewed when the program that made it was changed, and not otherwise."""

from pathlib import Path

import pytest

import xrdorder
from xrdorder.results.fingerprint import OF_FIT, OF_RESULT, code_hash, fingerprint, import_closure

PACKAGE = Path(xrdorder.__file__).parent


@pytest.fixture
def package(tmp_path):
    """A fit that imports a line shape, lazily and through a package, which reads a table; and a page beside it."""
    for name, text in {
        "__init__.py": "",
        "fit.py": "def f():\n    from small.shapes import voigt\n",
        "shapes/__init__.py": "",
        "shapes/voigt.py": "x = 1\n",
        "shapes/widths.toml": "w = 1\n",
        "page.py": "import small.fit\n",
    }.items():
        path = tmp_path / "small" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return tmp_path / "small"


def hashed(package, modules=("small.fit",)):
    code_hash.cache_clear()
    return code_hash(modules, package)


@pytest.mark.parametrize("name", ["fit.py", "shapes/__init__.py", "shapes/voigt.py", "shapes/widths.toml"])
def test_what_the_fit_imports_counts(package, name):
    before = hashed(package)
    whole = (package / name).read_text()
    (package / name).write_text(f"{whole}# changed\n")
    assert hashed(package) != before
    (package / name).write_text(whole)
    assert hashed(package) == before


def test_what_it_does_not_import_does_not(package):
    before = hashed(package)
    (package / "page.py").write_text("")
    assert hashed(package) == before


def test_a_module_that_moved_leaves_no_stale_fit(package):
    before = hashed(package)
    (package / "shapes/voigt.py").rename(package / "shapes/lines.py")
    (package / "fit.py").write_text("def f():\n    from small.shapes import lines\n")
    assert hashed(package) != before
    with pytest.raises(ModuleNotFoundError, match=r"there is no module small\.gone"):
        hashed(package, ("small.gone",))


def test_a_fit_does_not_hang_on_what_is_made_of_it():
    of_fit, of_result = (set(import_closure(modules, PACKAGE)) for modules in (OF_FIT, OF_RESULT))
    assert of_fit < of_result
    rooms = {path.relative_to(PACKAGE).parts[0] for path in of_fit}
    assert {"fitting", "forward_model", "profiles", "patterns", "xrays"} <= rooms
    assert not {"material", "relations", "superconductivity", "estimates", "results", "running", "cli"} & rooms
    assert fingerprint({}, {}, OF_FIT) != fingerprint({}, {}, OF_RESULT)


def test_names_of_files_do_not_count_and_options_do():
    assert fingerprint({"a.xy": "1"}, {"x": 1}) == fingerprint({"b.xy": "1"}, {"x": 1})
    assert fingerprint({"a.xy": "1"}, {"x": 1}) != fingerprint({"a.xy": "1"}, {"x": 2})
