"""Files that a user names: checked before any work is done, so that nothing is lost to a slip in the name.

The folder must be there: a name misspelt in its folder is told and not made.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from xrdorder.cli.console import File, show

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PICTURES = ("png", "pdf", "svg", "eps", "jpg", "tif")
"""Formats of pictures, by the ending of the name; a choice from those that the drawing library writes."""


class NamedFile(click.Path):
    """A file to write, in a folder that is there.

    Parameters
    ----------
    new : bool
        Refuse a file that is there already.
    endings : tuple of str
        Endings that the name may have; all of them if empty.
    """

    def __init__(self, *, new: bool = False, endings: tuple[str, ...] = ()) -> None:
        super().__init__(dir_okay=False, path_type=Path)
        self.new, self.endings = new, endings

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Turn the text into a path, and refuse what could not be written in the end."""
        path = Path(str(super().convert(value, param, ctx)))
        if not path.parent.is_dir():
            self.fail(f"{path}: there is no folder {path.parent}; make it, or choose another place", param, ctx)
        if self.new and path.exists():
            self.fail(f"{path}: is there already; name another file", param, ctx)
        if self.endings and path.suffix.casefold().lstrip(".") not in self.endings:
            known = ", ".join(self.endings)
            self.fail(f"{path}: its ending is no format of pictures; end the name in one of {known}", param, ctx)
        return path


NEW_FILE = NamedFile(new=True)
PICTURE = NamedFile(endings=PICTURES)


def save_figure(figure: "Figure", path: Path) -> None:
    """Save a figure, and say where."""
    from xrdorder.reports.pictures import save

    save(figure, path)
    show(File("Figure", str(path)))
