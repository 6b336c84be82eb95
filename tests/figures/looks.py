"""Pictures that guard the look of figures: ``python -m tests.figures.looks`` draws them anew.

Draw them anew only after looking at what has changed. Words are left out: their letters hang on the version of
matplotlib, and what they say is tested elsewhere.
"""

from pathlib import Path

from matplotlib.text import Text

from tests.figures import made
from xrdorder.drawing.layout import ONE_COLUMN, TWO_COLUMN
from xrdorder.figures import fit_figure, trend_figure
from xrdorder.figures.budget import budget_figure

FOLDER = Path(__file__).parent / "looks"
DPI = 60

FIGURES = {
    "fit": lambda: fit_figure(made.curves(), made.lines(), made.phases(), size=TWO_COLUMN),
    "fit-one-column": lambda: fit_figure(made.curves(), made.lines(), made.phases(), size=ONE_COLUMN),
    "trends": lambda: trend_figure(made.results(), size=TWO_COLUMN),
    "budget": lambda: budget_figure(made.results(), size=TWO_COLUMN),
}


def draw(name: str, path: Path) -> None:
    """Draw a figure without its words."""
    figure = FIGURES[name]()
    for text in figure.findobj(Text):
        text.set_visible(False)
    for axes in figure.axes:
        axes.tick_params(which="both", label1On=False, label2On=False)  # ticks are made anew when drawn
    figure.savefig(path, dpi=DPI, metadata={"Software": None})


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for each in FIGURES:
        draw(each, FOLDER / f"{each}.png")
