"""The gallery of figures; ``python -m tests.docs.gallery STUDY`` makes it of a report with ``--format png``."""

import sys
from collections.abc import Iterator
from pathlib import Path

from PIL import Image

from xrdorder.reports.gallery import NAMES

DOCS = Path(__file__).parents[2] / "docs"
PICTURES = DOCS / "figures" / "gallery"
COLOURS = 128  # of a picture's palette: a quarter of the size, and nothing of the figure lost


def page(folder: Path) -> Iterator[str]:
    """The page, of the figures and captions that stand in a folder, in the order of the report."""
    yield "# Gallery of figures"
    yield (
        "Figures of the invented demo, as `xrdorder report STUDY --size two-column` draws them, with the captions "
        "written beside them. `--only NAME` draws one alone; sizes and formats: [reports](howto/reports.md)."
    )
    for name in NAMES:
        caption = folder / f"{name}.txt"
        if (folder / f"{name}.png").is_file():
            yield f"## {name}"
            yield f"![{name}](figures/gallery/{name}.png)"
            yield " ".join(caption.read_text(encoding="utf-8").split())


def main(study: Path) -> None:
    """Copy the figures, as pictures of few colours, and write the page."""
    report = study / "results" / "report"
    PICTURES.mkdir(parents=True, exist_ok=True)
    for name in NAMES:
        if (report / f"{name}.png").is_file():
            with Image.open(report / f"{name}.png") as picture:
                picture.convert("RGB").quantize(COLOURS).save(PICTURES / f"{name}.png", optimize=True)
    (DOCS / "gallery.md").write_text("\n\n".join(page(report)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
