"""Pages that are written from the code are current, and every page is reached from the index."""

import re
from pathlib import Path

import pytest

from tests.docs.reference import FOLDER, PAGES, page

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.parametrize("name", PAGES)
def test_the_reference_says_what_the_code_does(name: str) -> None:
    """``python -m tests.docs.reference`` writes it anew."""
    assert (FOLDER / name).read_text(encoding="utf-8") == page(name)


def test_links_lead_somewhere() -> None:
    broken = []
    for file in [*DOCS.rglob("*.md"), DOCS.parent / "README.md", DOCS.parent / "DEVELOPERS.md"]:
        for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)\s]*)?\)", file.read_text(encoding="utf-8")):
            if "://" not in target and not (file.parent / target).exists():
                broken.append(f"{file.relative_to(DOCS.parent)}: {target}")
    assert not broken


def test_the_index_leads_to_every_page() -> None:
    """By its lists for those who read the files, by its tables of contents for those who read the site."""
    index = (DOCS / "index.md").read_text(encoding="utf-8")
    pages = {str(file.relative_to(DOCS)) for file in DOCS.rglob("*.md")} - {"index.md"}
    listed = re.findall(r"^- \[[^]]+\]\(([^)]+)\)", index, flags=re.MULTILINE)
    contents = [f"{name}.md" for name in re.findall(r"^[a-z/-]+$", index, flags=re.MULTILINE)]
    assert listed == contents
    assert set(listed) == pages
