"""Pages that are written from the code are current, and every page is reached from the index."""

import re
from pathlib import Path

import pytest

import xrdorder
from tests.docs.reference import FOLDER, PAGES, page
from xrdorder.reports.gallery import MAKERS, NAMES
from xrdorder.results.columns import column_names
from xrdorder.results.sample_file import STATES

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


def test_the_gallery_shows_every_figure_that_reports_draw() -> None:
    text = (DOCS / "gallery.md").read_text(encoding="utf-8")
    shown = re.findall(r"^## (\S+)$", text, flags=re.MULTILINE)
    whole = {"fit", *(one.name for one in MAKERS if not one.alone)}
    assert len(whole) > 15 and set(shown) >= whole, "python -m tests.docs.gallery STUDY"
    assert set(shown) <= {"fit", *NAMES}
    assert [f"figures/gallery/{name}.png" for name in shown] == re.findall(r"\]\((figures/\S+\.png)\)", text)


def test_every_figure_and_panel_is_documented_and_no_other() -> None:
    text = (DOCS / "howto" / "reports.md").read_text(encoding="utf-8")
    tables = re.findall(r"^\| (`[^|]*) \|(.*)\|$", text[text.index("## Figures") :], flags=re.MULTILINE)
    panels = text[text.index("### Single panels") :]
    named = {name for first, _ in tables for name in re.findall(r"`([a-z0-9][a-z0-9-]*)`", first)}
    named |= set(re.findall(r"`([a-z0-9][a-z0-9-]*)`", "".join(re.findall(r"^\| `.*\|$", panels, flags=re.MULTILINE))))
    assert named == {"fit", "pattern", *NAMES} - {"answer"}  # that one stands on the page alone


def test_every_column_and_every_state_is_documented() -> None:
    """Columns as the code lists them, for any study of a phase beside the A15; the tutorial tries real ones."""
    pages = "".join((FOLDER / name).read_text(encoding="utf-8") for name in ("results.md", "quantities.md", "flags.md"))
    written = set(re.findall(r"`([^`]+)`", pages))
    columns = {re.sub(r"(weight_fraction(_limit)?)_[a-z].*", r"\1_<phase>", name) for name in column_names(("nb",))}
    assert len(columns) > 40 and columns - written == set()
    assert len(STATES) >= 3 and {str(state) for state in STATES} <= written


def test_the_record_for_citations_is_of_this_version() -> None:
    record = (DOCS / "CITATION.cff").read_text(encoding="utf-8")
    assert f"\nversion: {xrdorder.__version__}\n" in record
