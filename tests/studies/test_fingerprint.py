"""A result is renewed when the program that made it was changed, and not otherwise."""

from xrdorder.studies import fingerprint as module
from xrdorder.studies.fingerprint import OF_FIT, OF_RESULT, code_hash, fingerprint


def test_the_text_of_the_program_counts(tmp_path, monkeypatch):
    package = tmp_path / "xrdorder"
    (package / "fitting").mkdir(parents=True)
    (package / "studies").mkdir()
    (package / "fitting/a.py").write_text("x = 1\n")
    monkeypatch.setattr(module, "__file__", str(package / "studies/fingerprint.py"))
    found = []
    for text in ("x = 1\n", "x = 2\n", "x = 1\n"):
        (package / "fitting/a.py").write_text(text)
        code_hash.cache_clear()
        found.append(fingerprint({"a.xy": "1"}, {}, ("fitting",)))
    code_hash.cache_clear()
    assert found[0] == found[2] != found[1]


def test_a_fit_does_not_hang_on_what_is_made_of_it():
    assert set(OF_FIT) < set(OF_RESULT)
    assert not {"material", "relations", "superconductivity", "studies", "cli"} & set(OF_FIT)
    assert fingerprint({}, {}, OF_FIT) != fingerprint({}, {}, OF_RESULT)


def test_names_of_files_do_not_count_and_options_do():
    assert fingerprint({"a.xy": "1"}, {"x": 1}) == fingerprint({"b.xy": "1"}, {"x": 1})
    assert fingerprint({"a.xy": "1"}, {"x": 1}) != fingerprint({"a.xy": "1"}, {"x": 2})
