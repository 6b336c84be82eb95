"""The gallery of figures; ``python -m tests.docs.gallery STUDY`` makes it of a report with ``--format png``."""

import sys
from collections.abc import Iterator
from pathlib import Path

from PIL import Image

from xrdorder.reports.gallery import NAMES

DOCS = Path(__file__).parents[2] / "docs"
PICTURES = DOCS / "figures" / "gallery"
COLOURS = 128  # of a picture's palette: a quarter of the size, and nothing of the figure lost
INTRODUCTION = (
    "Figures of the invented demo, as `xrdorder report STUDY --size two-column` draws them, with the captions written "
    "beside them. `--only NAME` draws one alone; sizes and formats: [reports](howto/reports.md)."
)


def figures(report: Path) -> Iterator[tuple[str, Path]]:
    """Names and files of the figures of a report, in its order; of fits, whose files name the sample, the first."""
    for name in ("fit", *NAMES):
        yield from [
            (name, file) for file in sorted(report.glob("fit-*.png" if name == "fit" else f"{name}.png"))[:1]
        ]


def main(study: Path) -> None:
    """Copy the figures, as pictures of few colours, and write the page."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    page = ["# Gallery of figures", INTRODUCTION]
    for name, file in figures(study / "results" / "report"):
        with Image.open(file) as picture:
            picture.convert("RGB").quantize(COLOURS).save(PICTURES / f"{name}.png", optimize=True)
        caption = " ".join(file.with_suffix(".txt").read_text(encoding="utf-8").split())
        page += [f"## {name}", f"![{name}](figures/gallery/{name}.png)", caption]
    (DOCS / "gallery.md").write_text("\n\n".join(page) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
