"""The gallery of figures; ``python -m tests.docs.gallery STUDY`` draws it of a study that was run (the demo)."""

import sys
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO
from pathlib import Path

from PIL import Image

from tests.figures import every
from xrdorder.drawing.layout import TWO_COLUMN
from xrdorder.reports.gallery import MAKERS
from xrdorder.reports.of_fits import fit_pictures
from xrdorder.reports.pictures import Picture, Scene
from xrdorder.results.open_study import open_study

DOCS = Path(__file__).parents[2] / "docs"
PICTURES = DOCS / "figures" / "gallery"
COLOURS = 128  # of a picture's palette: a quarter of the size, and nothing of the figure lost
INTRODUCTION = (
    "Figures of the invented demo, as `xrdorder report STUDY --size two-column` draws them, with the captions written "
    "beside them. `--only NAME` draws one alone; single panels, sizes and formats: [reports](howto/reports.md)."
)
NOT_IN_THE_DEMO = "Currents invented for this figure: the demo has none."


def figures(study: Path) -> Iterator[Picture]:
    """All figures of a study that are no single panels, in the order of the report; what it has no data for is made."""
    scene = Scene.of(open_study(study), TWO_COLUMN)
    yield from fit_pictures(scene)
    for one in MAKERS:
        if not one.alone or one.name in ("courses", "currents"):
            picture = one.make(scene)
            yield picture or one.draw(replace(every.scene(), size=TWO_COLUMN))


def main(study: Path) -> None:
    """Copy the figures, as pictures of few colours, and write the page."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    page = ["# Gallery of figures", INTRODUCTION]
    for one in figures(study):
        name = "fit" if one.name.startswith("fit-") else one.name
        with Image.open(BytesIO(one.content("png"))) as picture:
            picture.convert("RGB").quantize(COLOURS).save(PICTURES / f"{name}.png", optimize=True)
        invented = f" {NOT_IN_THE_DEMO}" if name == "kramer" else ""
        page += [f"## {name}", f"![{one.alt}](figures/gallery/{name}.png)", f"{one.caption}{invented}"]
    (DOCS / "gallery.md").write_text("\n\n".join(page) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
