"""Tables of docs/contributing that scripts write, and of which state of the model, or of the code, each is."""

import ast
import hashlib
import json
import re
import subprocess
import tempfile
import tomllib
from pathlib import Path
from typing import Any, NamedTuple

from xrdorder.files.atomic import write_atomically

ROOT = Path(__file__).parents[2]
PAGES = ROOT / "docs" / "contributing"
PAGE, COVERAGE, ROBUSTNESS = (PAGES / f"{name}.md" for name in ("evidence", "coverage", "robustness"))
DECIDES = ("anchors", "evidence", "hyperparameters", "likelihood", "model", "populations", "properties", "sampler",
           "streams", "unknowns", "wires")  # fmt: skip
"""Modules of `xrdorder.estimates` that decide what is drawn."""
SAMPLES = ROOT / "xrdorder" / "relations" / "published_samples.toml"


def fingerprint(*more: Path) -> str:
    """First digits of the SHA-256 of the model's code and other files without comments and docstrings."""
    content = hashlib.sha256()
    for path in (*(ROOT / "xrdorder" / "estimates" / f"{name}.py" for name in DECIDES), *more):
        text = path.read_text(encoding="utf-8")
        content.update((_bare(text) if path.suffix == ".py" else repr(tomllib.loads(text))).encode())
    return content.hexdigest()[:12]


def commit() -> str:
    """Which state of the code a campaign ran on, for tables that hang on all of it."""
    asked = ["git", "rev-parse", "--short=12", "HEAD"]
    return subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True).stdout.strip()


def _bare(code: str) -> str:
    tree = ast.parse(code)
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            node.body = [one for one in body if not _is_text(one)]  # type: ignore[attr-defined]
    return ast.dump(tree)


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


class Kept:
    """Results of a run of one state of the model, kept outside the project so that an interrupted run goes on.

    Parameters
    ----------
    name : str
        Of the table.
    of : str
        Fingerprint; results of another are not found.
    draws : int
    """

    def __init__(self, name: str, of: str, draws: int) -> None:
        self.path = Path(tempfile.gettempdir()) / f"xrdorder-{name}-{of}-{draws}.json"
        self.found: dict[str, Any] = json.loads(self.path.read_text()) if self.path.exists() else {}

    def get(self, key: str) -> Any:
        """Result of this name; None where it was not found yet."""
        return self.found.get(key)

    def put(self, key: str, result: object) -> None:
        """Keep a result; anything JSON holds, tuples become lists."""
        self.found[key] = result
        write_atomically(self.path, lambda path: path.write_text(json.dumps(self.found)))


def rows(name: str, page: Path = PAGE) -> list[str]:
    """Lines of a table between its marks."""
    return _parts(name, page)[1].strip("\n").splitlines()


def numbers(line: str) -> list[float]:
    """Numbers with a decimal point in a line."""
    return [float(text) for text in re.findall(r"(?<![\d.])[-+]?\d+\.\d+", line)]


class Published(NamedTuple):
    """A row of the table of published samples: shares inside, and limits for independent and for clustered samples."""

    samples: str
    inside_68: float
    of_68: tuple[float, float]
    of_68_clustered: tuple[float, float]
    inside_95: float
    of_95: tuple[float, float]
    of_95_clustered: tuple[float, float]
    width: float
    bias: float
    crps: float


def published() -> dict[str, Published]:
    """Rows of the table of published samples, by question."""
    found = {}
    for line in rows("published"):
        x, cells = numbers(line), [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("|") and x:
            one, two = ((x[k], (x[k + 1], x[k + 2]), (x[k + 3], x[k + 4])) for k in (0, 5))
            found[cells[0]] = Published(cells[1], *one, *two, *x[10:13])
    return found


def made_by(name: str, page: Path = PAGE) -> str:
    """Fingerprint that stands at the head of a table."""
    return re.findall(rf"<!-- {name}: begin, (\w*) -->", page.read_text(encoding="utf-8"))[0]


def write(name: str, lines: list[str], of: str, page: Path = PAGE) -> None:
    """Put a table in its place, with the fingerprint of what it is of."""
    before, _, after = _parts(name, page)
    body = "\n".join(lines)
    page.write_text(f"{before}<!-- {name}: begin, {of} -->\n{body}\n<!-- {name}: end -->{after}", encoding="utf-8")


def _parts(name: str, page: Path) -> tuple[str, str, str]:
    text = page.read_text(encoding="utf-8")
    found = re.fullmatch(rf"(.*)<!-- {name}: begin, \w* -->\n(.*)<!-- {name}: end -->(.*)", text, flags=re.S)
    if found is None:
        raise ValueError(f"{page} has no table {name}")
    before, body, after = found.groups()
    return before, body, after
