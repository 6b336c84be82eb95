"""Pages for users keep to the words of the field, and are short enough to be read."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [
    ROOT / "README.md",
    *(
        page
        for page in (ROOT / "docs").rglob("*.md")
        if page.parent.name not in {"contributing", "reference"}
    ),
]
BETTER = {
    r"more than chance|beyond chance": "significant (at 0.05)",
    r"verdicts?": "grade, answer, significance",
    r"taken for granted": "assumptions",
    r"second opinions?": "cross-checks",
    r"other routes": "independent analyses",
    r"hangs? (?:on|together)": "depends on, is correlated",
    r"unless told|is told|are told": "by default, not given, stated",
    r"in equal parts": "equally weighted",
    r"what samples share cancels": "correlated errors cancel",
    r"(?:own|common) uncertaint(?:y|ies)": "independent, shared uncertainty",
    r"change places": "cross over",
    r"lines? nobody asked for|foreign lines?": "unindexed reflections",
    r"drawn towards the mean": "shrunk towards the mean",
    r"knows? tin": "gives an estimate of tin",
    r"before the measurement": "prior",
    r"how sure": "uncertainty",
    r"swings?": "oscillation",
    r"doubts?": "uncertainty",
    r"witness(?:es)?": "independent evidence",
    r"stray(?:s)? from": "scatter about",
}
QUOTED = re.compile(r"```.*?```|`[^`]*`|\]\([^)]*\)", re.DOTALL)
LONGEST = 200
"""Lines of a page; what is longer answers more than one question."""


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_pages_speak_the_language_of_the_field(page: Path) -> None:
    prose = " ".join(QUOTED.sub(" ", page.read_text(encoding="utf-8")).split())
    found = {}
    for words, better in BETTER.items():
        found.update({match[0]: better for match in re.finditer(rf"\b(?:{words})\b", prose, re.IGNORECASE)})
    assert not found


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_pages_are_short(page: Path) -> None:
    limit = {"README.md": 110, "tutorial.md": 260}.get(page.name, LONGEST)
    assert page.read_text(encoding="utf-8").count("\n") <= limit
